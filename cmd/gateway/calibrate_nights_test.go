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

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/cmd/gateway/internal/socket"
	"fabricpot/control/garden"
	"fabricpot/testdata"

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

// TestNightsFromTheJournal: a journal of twelve nights, five of them wet in one
// way each, and a probe that shows -0.2 points per °C. Whatever a wet night says
// is left out; what is found is shown, written when that is said, noted, and
// readings of before no longer count.
func TestNightsFromTheJournal(t *testing.T) {
	file, sock := example(t)
	named := strings.Replace(string(testdata.Terrace), "    calibration:\n      method: two-point\n      points:\n        - { volts: 2.55 V, water: 10 % }\n        - { volts: 1.35 V, water: 60 % }\n", "    calibration: { file: light.calibration.yaml }\n", 1)
	require.NoError(t, os.WriteFile(file, []byte(named), 0o600))
	cal := filepath.Join(filepath.Dir(file), "light.calibration.yaml")
	require.NoError(t, os.WriteFile(cal, []byte("method: two-point\npoints:\n  - { volts: 2.55 V, water: 10 % }\n  - { volts: 1.35 V, water: 60 % }\n"), 0o600))
	u, err := understand([]string{file})
	require.NoError(t, err)
	zone := u.garden.Site.Zone
	path := filepath.Join(t.TempDir(), "j.db")
	j, _, err := journal.Open(path)
	require.NoError(t, err)
	start := time.Date(2026, 7, 1, 12, 0, 0, 0, zone)
	wet := map[int]bool{2: true, 4: true, 6: true, 8: true, 10: true}
	moment := func(at time.Time) garden.Moment { return garden.Moment{Mono: at.Sub(start), Wall: at, Synced: true} }
	for q := range 12 * 24 * 4 {
		at := start.Add(time.Duration(q) * 15 * time.Minute)
		clock := float64(at.Hour()) + float64(at.Minute())/60
		temp := 22 + 5*math.Cos(2*math.Pi*(clock-21)/24) + 0.3*math.Sin(float64(q)*1.7)
		water := 0.4 - 0.00005*float64(q) - 0.002*(temp-20) + 0.0003*math.Sin(float64(q)*2.3)
		if night := q / 96; wet[night] {
			water += 0.01 * (temp - 20) // a lie, to be left out
		}
		require.NoError(t, j.AddSamples(journal.Batch{Zones: []journal.ZoneSample{{Zone: "chilli", At: moment(at), Water: garden.Known(water)}}, Readings: []garden.Reading{{Probe: "chilli-middle", At: moment(at), Volts: 1.9, Water: garden.WaterFraction(water), TempC: garden.Known(temp), Quality: garden.Good}}}))
	}
	evening := func(night, hour int) garden.Moment { return moment(time.Date(2026, 7, 1+night, hour, 5, 0, 0, zone)) }
	o := garden.Order{ID: 1, Line: "chilli", Zone: "chilli", Litres: 1, MaxOn: time.Hour}
	require.NoError(t, j.Intend(o, 2, evening(2, 23)))
	require.NoError(t, j.Settle(garden.Delivery{Order: 1, Line: "chilli", Zone: "chilli", Litres: 1, Open: time.Minute, OpenedAt: evening(2, 23), ClosedAt: evening(2, 23)}))
	require.NoError(t, j.AddAsk(evening(4, 17), garden.Ask{Kind: garden.GardenerWatered, Zone: "chilli", Litres: 2}, ""))
	require.NoError(t, j.AddFeed(journal.Feed{At: evening(6, 21), Zone: "chilli", Recipe: "x", Litres: 1}))
	for _, night := range []int{8, 10} {
		require.NoError(t, j.AddSky(journal.SkySample{At: evening(night, 22), AirC: garden.Known(20), RainMM: garden.Known(3)}))
	}
	require.NoError(t, j.Close())

	args := []string{"calibrate", "nights", "chilli-middle", file, "--journal", path, "--socket", sock}
	code, out, errs := answered(context.Background(), strings.NewReader("no\n"), args...)
	require.Equal(t, exitDone, code, errs.String())
	assert.Contains(t, errs.String(), "7 nights without water")
	assert.Contains(t, errs.String(), "5 with water left out")
	assert.Regexp(t, `-0\.(20\d|199)`, out.String())
	src, err := os.ReadFile(cal)
	require.NoError(t, err)
	assert.NotContains(t, string(src), "temperature-coefficient", "shown, not written")

	lock, err := socket.Listen(sock)
	require.NoError(t, err)
	code, _, errs = answered(context.Background(), strings.NewReader("yes\n"), args...)
	assert.Equal(t, exitFailed, code, "a gateway runs")
	assert.Contains(t, errs.String(), "nothing was written")
	require.NoError(t, lock.Close())

	code, _, errs = answered(context.Background(), strings.NewReader("yes\n"), args...)
	require.Equal(t, exitDone, code, errs.String())
	src, err = os.ReadFile(cal)
	require.NoError(t, err)
	assert.Regexp(t, `temperature-coefficient: -0\.(20|199)`, string(src))
	j, err = journal.OpenReader(path)
	require.NoError(t, err)
	notes, err := j.Notes(start)
	require.NoError(t, err)
	require.NoError(t, j.Close())
	require.Len(t, notes, 1)
	assert.Equal(t, garden.ZoneID("chilli"), notes[0].Zone)
	assert.InDelta(t, -0.2, notes[0].Value.Value, 0.01)

	code, _, errs = answered(context.Background(), strings.NewReader("yes\n"), args...)
	assert.Equal(t, exitFailed, code, "all readings are of before")
	assert.Contains(t, errs.String(), "no good reading")

	code, _, errs = answered(context.Background(), strings.NewReader(""), "calibrate", "nights", "chilli-middle", file, "--hardware", "bench", "--socket", sock)
	assert.Equal(t, exitFailed, code)
	assert.Contains(t, errs.String(), "--journal")
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
