package main

import (
	"context"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"fabricpot/cmd/gateway/internal/units"
	"fabricpot/testdata"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// inGallons is the example with every volume and flow in US gallons and every temperature
// in °F.
func inGallons(t *testing.T, src string) string {
	t.Helper()
	number := regexp.MustCompile(`\b([0-9.]+) (L/h|L|°C)([^a-zA-Z/]|$)`)
	src = number.ReplaceAllStringFunc(src, func(s string) string {
		m := number.FindStringSubmatch(s)
		q, to := units.Volume(), "gal"
		switch m[2] {
		case "L/h":
			q, to = units.Flow(), "gal/h"
		case "°C":
			q, to = units.Temperature(), "°F"
		}
		v, err := q.Parse(m[1] + " " + m[2])
		require.NoError(t, err)
		return q.Format(v, to, 4) + m[3]
	})
	file := filepath.Join(t.TempDir(), "terrace.yaml")
	require.NoError(t, os.WriteFile(file, []byte(src), 0o600))
	return file
}

// TestAGardenInGallons: who writes the garden file in gallons reads check, plan, rounds and
// reports in gallons. A US gallon is 3.785411784 L (NIST SP 811; from memory).
func TestAGardenInGallons(t *testing.T) {
	litres := regexp.MustCompile(`[0-9][ \x{00a0}]L\b|\bL/(day|h)|(mix|refill|pulse|hot day|holiday) L\b`)
	file := inGallons(t, string(testdata.Terrace))
	for _, name := range []string{"check", "plan"} {
		code, out, errs := gateway(context.Background(), name, file)
		require.Equal(t, exitDone, code, errs.String())
		assert.NotRegexp(t, litres, out.String(), name)
		// The aubergine's pot: 75 L are 19.8 gal.
		assert.Regexp(t, `(?m)^ +aubergine +19\.8 `, out.String(), name)
		code, out, errs = gateway(context.Background(), name)
		require.Equal(t, exitDone, code, errs.String())
		assert.Regexp(t, litres, out.String(), "%s of the example, which is in litres", name)
		assert.NotContains(t, out.String(), "gal", name)
	}

	dir := t.TempDir()
	db := filepath.Join(dir, "j.db")
	code, _, errs := gateway(context.Background(), "simulate", file, "--from", "2026-07-01", "--to", "2026-07-03", "--journal", db)
	require.Equal(t, exitDone, code, errs.String())
	read := filepath.Join(dir, "season.html")
	code, _, errs = gateway(context.Background(), "report", file, "--journal", db, "--out", read)
	require.Equal(t, exitDone, code, errs.String())
	html, err := os.ReadFile(read)
	require.NoError(t, err)
	assert.NotRegexp(t, `[0-9][ \x{00a0}]L\b`, string(html))
	assert.Regexp(t, `[0-9][ \x{00a0}]gal\b`, string(html))

	// Rounds of a running gateway, whose file the command is not given.
	socket := filepath.Join(dir, "running")
	ctx, stop := context.WithCancel(context.Background())
	defer stop()
	ended := make(chan int, 1)
	go func() {
		ended <- execute(ctx, streams{in: strings.NewReader(""), out: &output{}, err: &output{}},
			[]string{"run", file, "--speed", "5000", "--socket", socket, "--no-broker", "--no-page"})
	}()
	require.Eventually(t, func() bool {
		code, out, _ := gateway(context.Background(), "rounds", "--json", "--socket", socket)
		return code == exitDone && strings.Contains(out.String(), `"gallons": true`) && strings.Contains(out.String(), `"fahrenheit": true`)
	}, 30*time.Second, 50*time.Millisecond)
	stop()
	require.Equal(t, exitDone, <-ended)

	// Rounds: a can for the chard, asked for while the gateway ran.
	hungry, err := os.ReadFile(hungry(t))
	require.NoError(t, err)
	code, out, errs := gateway(context.Background(), "rounds", inGallons(t, string(hungry)), "--journal", db, "--socket", filepath.Join(dir, "s"))
	require.Equal(t, exitDone, code, errs.String())
	require.NotContains(t, out.String(), "Nothing waits")
	assert.NotRegexp(t, `[0-9] L\b`, out.String())
	assert.True(t, strings.Contains(out.String(), " gal"), out.String())
}
