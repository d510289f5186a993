package main

import (
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Eight invented nights with -0.2 points of water per °C and a steady loss.
func nightTable(perC float64) string {
	var b strings.Builder
	b.WriteString("time,water,temperature\n")
	start := time.Date(2026, 7, 1, 0, 0, 0, 0, time.UTC)
	for h := 0; h < 8*24*4; h++ {
		at := start.Add(time.Duration(h) * 15 * time.Minute)
		clock := math.Mod(float64(h)/4+6, 24)
		temp := 22 + 5*math.Cos(2*math.Pi*(clock-21)/24) + 0.3*math.Sin(float64(h)*1.7)
		fmt.Fprintf(&b, "%s,%.5f,%.2f\n", at.Format(time.RFC3339), 0.4-0.0001*float64(h)+perC*(temp-20)+0.0003*math.Sin(float64(h)*2.3), temp)
	}
	return b.String()
}

func TestNights(t *testing.T) {
	csv := filepath.Join(t.TempDir(), "n.csv")
	require.NoError(t, os.WriteFile(csv, []byte(nightTable(-0.002)), 0o600))
	code, out, errs := gateway(context.Background(), "calibrate", "nights", "chilli-middle", "--readings", csv)
	require.Equal(t, exitDone, code, errs.String())
	assert.Contains(t, out.String(), "-0.20")
	assert.Regexp(t, `temperature-coefficient: -0\.(20|199)`, errs.String(), "shown, not written")

	require.NoError(t, os.WriteFile(csv, []byte(nightTable(0)), 0o600))
	code, _, errs = gateway(context.Background(), "calibrate", "nights", "chilli-middle", "--readings", csv)
	assert.Equal(t, exitFailed, code)
	assert.Contains(t, errs.String(), "no temperature coefficient")
}

func TestReadNightsRefuses(t *testing.T) {
	for src, want := range map[string]string{
		"":             "f:1:1",
		"time,water\n": "no column temperature",
		"time,water,temperature\nyesterday,0.3,20\n":                                         "f:2:1",
		"time,water,temperature\n2026-07-01T00:00:00Z,30,20\n":                               "35 % is 0.35",
		"time,water,temperature\n2026-07-01T00:00:00Z,0.3,NaN\n":                             "temperature NaN",
		"time,water,temperature\n2026-07-01T01:00:00Z,0.3,20\n2026-07-01T00:00:00Z,0.3,20\n": "does not come after",
	} {
		_, err := readNights(strings.NewReader(src), "f", time.UTC)
		assert.ErrorContains(t, err, want, "%q", src)
	}
}
