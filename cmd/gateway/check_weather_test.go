package main

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestCheckSaysHowTheNeedIsFound: the method and every estimate, by what is known.
func TestCheckSaysHowTheNeedIsFound(t *testing.T) {
	// line is one with those that go on with it, which are indented.
	line := func(out, begins string) (whole string) {
		for l := range strings.Lines(out) {
			switch {
			case strings.HasPrefix(l, begins):
				whole = l
			case whole != "" && strings.HasPrefix(l, "  "):
				whole += l
			case whole != "":
				return whole
			}
		}
		return whole
	}
	code, out, _ := gateway(context.Background(), "check")
	require.Equal(t, exitDone, code)
	assert.Contains(t, line(out.String(), "nothing "), "usual climate")
	assert.Contains(t, line(out.String(), "temperatures "), "Hargreaves")
	wind := line(out.String(), "and wind ")
	assert.Contains(t, wind, "FAO-56 Penman-Monteith, daily")
	assert.Contains(t, wind, "radiation from the temperature range")
	assert.NotContains(t, wind, "wind taken as")
	assert.Contains(t, line(out.String(), "and humidity "), "wind taken as 2 m/s")

	file := filepath.Join(t.TempDir(), "w.csv")
	require.NoError(t, os.WriteFile(file, []byte("date,precipitation,temp_max,temp_min,wind\n2026-07-01,0,30,18,\n2026-07-02,0,30,18,3\n2026-07-03,0,31,19,2\n"), 0o600))
	code, out, said := gateway(context.Background(), "check", "--weather", file)
	require.Equal(t, exitDone, code, said.String())
	assert.Regexp(t, `(?m)^1 +\d\.\d +Hargreaves`, out.String())
	assert.Regexp(t, `(?m)^2 +\d\.\d +FAO-56 Penman-Monteith, daily`, out.String())

	code, _, said = gateway(context.Background(), "check", "--weather", filepath.Join(t.TempDir(), "none.csv"))
	assert.Equal(t, exitFailed, code)
	assert.Contains(t, said.String(), "none.csv")
}
