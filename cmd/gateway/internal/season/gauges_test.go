package season

import (
	"context"
	"strings"
	"testing"
	"time"

	"fabricpot/control/alarm"
	"fabricpot/control/garden"
	"fabricpot/sim/bench"
	"fabricpot/sim/terrace"
	"fabricpot/testdata"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// gauged is the synthetic hot garden with keys put under supply and at its end,
// and rows of dry July weather.
func gauged(t *testing.T, supply, end string, days int) (*garden.Garden, Options, *ears) {
	t.Helper()
	const was = "supply:\n  flow: 60 L/h\n"
	require.Contains(t, string(testdata.Heatwave), was)
	g := load(t, "gauged.yaml", []byte(strings.Replace(string(testdata.Heatwave), was, was+supply, 1)+end))
	rows := Climate(1, time.Date(2026, 7, 1, 0, 0, 0, 0, g.Site.Zone), days+2)
	for i := range rows {
		rows[i].RainMM = garden.Known(0)
	}
	e := newEars()
	return g, Options{Seed: 1, Start: rows[0].Date, Weather: rows, Tell: e, Terrace: terrace.Options{StartSuctionCM: 20}}, e
}

// lost is the worst share of what a pot's plants would have drunk and did not.
func lost(t *testing.T, b *Bench, days int) float64 {
	t.Helper()
	res, err := b.Season(context.Background(), days, func() {})
	require.NoError(t, err)
	worst := 0.0
	for _, z := range res.Zones {
		worst = max(worst, 1-z.TranspiredL/z.PotentialTranspirationL)
	}
	return worst
}

// TestRainGaugeStarvesNoPot, whatever fault it has: rain that never fell, a bucket that
// rocks, a reed that chatters, a wire that is broken. Dry weather, with and
// without a gauge.
func TestRainGaugeStarvesNoPot(t *testing.T) {
	if testing.Short() {
		t.Skip("plays six dry fortnights")
	}
	const days = 10
	play := func(gauge string, f bench.ContactFault, amount float64) float64 {
		g, o, _ := gauged(t, "", gauge, days)
		b, err := NewBench(g, o)
		require.NoError(t, err)
		if _, rain, _ := b.Contacts(); rain != nil {
			rain.Fail(f, amount)
		}
		return lost(t, b, days)
	}
	const gauge = "\nrain-gauge: { per-tip: 0.2 mm }\n"
	without := play("", bench.ContactHealthy, 0)
	for _, c := range []struct {
		name   string
		fault  bench.ContactFault
		amount float64
	}{
		{"healthy", bench.ContactHealthy, 0},
		{"dead", bench.ContactDead, 0},
		{"2 mm an hour from nowhere", bench.ContactGhosts, 10},
		{"100 mm an hour from nowhere", bench.ContactGhosts, 500},
	} {
		got := play(gauge, c.fault, c.amount)
		t.Logf("%s: %.4f of the water missed, %.4f without a gauge", c.name, got, without)
		assert.LessOrEqual(t, got, without+0.02, c.name)
	}
}

// TestPumpOnTheBench: a tank runs empty under a pumped garden, with each gauge
// failing in turn. The pump is hardly ever dry, and people are told.
func TestPumpOnTheBench(t *testing.T) {
	const supply = "  meter: 400 pulses/L\n  tank: 120 L\n  float: { debounce: 1 s }\n  pump: { pin: 26 }\n"
	for _, c := range []struct {
		name  string
		fail  func(b *Bench)
		dryS  float64 // the most the pump may run dry in all, s
		ranH  float64 // the least it must have run
		alarm []alarm.Kind
	}{
		// A try of half a minute every six hours: it may be the float that has failed.
		{"healthy until the tank is empty", func(b *Bench) { b.Clock.At(12*time.Hour, func() { b.Terrace.SetTank(0) }) }, 4 * 30, 0.1, []alarm.Kind{alarm.TankLow}},
		{"float stuck: the meter stops it", func(b *Bench) {
			_, _, f := b.Contacts()
			f.Fail(bench.ContactWelded, 0)
			b.Clock.At(12*time.Hour, func() { b.Terrace.SetTank(0) })
		}, 24 * 40, 0.1, []alarm.Kind{alarm.PumpDry}},
		{"float's wire broken: the meter shows that water flows", func(b *Bench) { _, _, f := b.Contacts(); f.Fail(bench.ContactDead, 0) }, 0, 0.1, []alarm.Kind{alarm.TankLow}},
		{"meter loses pulses: the pump runs on", func(b *Bench) { m, _, _ := b.Contacts(); m.Fail(bench.ContactLoses, 0.3) }, 0, 0.1, []alarm.Kind{alarm.GaugeDoubtful}},
		{"meter dead: the pump is stopped until probes show its water", func(b *Bench) { m, _, _ := b.Contacts(); m.Fail(bench.ContactDead, 0) }, 0, 0.1, []alarm.Kind{alarm.PumpDry}},
	} {
		t.Run(c.name, func(t *testing.T) {
			g, o, e := gauged(t, supply, "", 2)
			b, err := NewBench(g, o)
			require.NoError(t, err)
			c.fail(b)
			require.NoError(t, b.Begin())
			b.RunTo(36 * time.Hour)
			b.End()
			ran, dry, shut := b.Terrace.PumpHours()
			t.Logf("ran %.2f h, dry %.0f s, against closed valves %.0f s", ran, dry*3600, shut*3600)
			assert.GreaterOrEqual(t, ran, c.ranH)
			assert.LessOrEqual(t, dry*3600, c.dryS)
			assert.Zero(t, shut)
			assert.NotEmpty(t, e.raised(c.alarm...))
		})
	}
}

// TestPumpWithADeadMeter: ten hot days under a meter that counts nothing, or does not
// answer. At first the pump is stopped as ever, which people are told where the meter has
// no alarm itself; then its float and the probes vouch for it, and once it counts they
// need not.
func TestPumpWithADeadMeter(t *testing.T) {
	if testing.Short() {
		t.Skip("plays three hot weeks")
	}
	const (
		supply = "  meter: 400 pulses/L\n  tank: 5000 L\n  float: { debounce: 1 s }\n  pump: { pin: 26 }\n"
		days   = 10
	)
	for _, c := range []struct {
		name  string
		fault bench.ContactFault
	}{
		{"dead", bench.ContactDead},
		{"does not answer", bench.ContactGone},
	} {
		t.Run(c.name, func(t *testing.T) {
			g, o, e := gauged(t, supply, "", days)
			b, err := NewBench(g, o)
			require.NoError(t, err)
			m, _, _ := b.Contacts()
			m.Fail(c.fault, 0)
			b.Clock.At(8*24*time.Hour, func() { m.Fail(bench.ContactHealthy, 0) })
			got := lost(t, b, days)
			ran, dry, _ := b.Terrace.PumpHours()
			t.Logf("%.4f of the water missed, the pump ran %.1f h", got, ran)
			assert.Less(t, got, 0.05)
			assert.Zero(t, dry)
			pumpDry, doubted := e.raised(alarm.PumpDry), e.raised(alarm.GaugeDoubtful)
			require.NotEmpty(t, doubted)
			assert.Equal(t, "meter", doubted[0].Subject)
			if c.fault == bench.ContactGone {
				assert.Less(t, doubted[0].At.Mono, 10*time.Minute, "no pump need run for that")
				assert.Contains(t, doubted[0].Text, "held by somebody else")
				assert.Empty(t, pumpDry, "it follows from what was told of the meter")
			} else {
				require.NotEmpty(t, pumpDry)
				assert.Less(t, pumpDry[0].At.Mono, doubted[0].At.Mono)
				assert.Contains(t, doubted[0].Text, "mend it soon")
			}
			p := b.Guard.Pump(b.Moment())
			assert.False(t, p.MeterDoubted, "it counts again")
			assert.Zero(t, p.DryRuns)
		})
	}
}
