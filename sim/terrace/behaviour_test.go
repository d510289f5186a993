package terrace

import (
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/control/garden"
	"fabricpot/control/weather"
	"fabricpot/sim/terrace/column"
)

// ideal is a terrace without spreads.
func ideal(g *garden.Garden, rows []garden.DayWeather) Options {
	return Options{Seed: 1, Weather: rows, EmitterSpread: garden.Known(0), SupplyDroop: garden.Known(0)}
}

var may1 = time.Date(2014, 5, 1, 0, 0, 0, 0, time.FixedZone("here", -8*3600))

func build(t testing.TB, g *garden.Garden, start time.Time, o Options) *Terrace {
	t.Helper()
	te, err := New(g, start, o)
	require.NoError(t, err)
	return te
}

func fingerprint(te *Terrace) string {
	s := fmt.Sprintf("%v %v %v", te.Now(), te.MeterLitres(), te.Weather())
	for i := range te.Zones() {
		s += fmt.Sprintf(" %+v %v %v", te.Totals(i), te.WaterAt(i, 10), te.TempAt(i, 10))
	}
	return s
}

func TestOneSeedOneResult(t *testing.T) {
	g := smallGarden()
	rows := seattle(t, g)
	run := func(seed uint64) string {
		return fingerprint(season(t, g, DefaultOptions(seed, rows), 10*time.Minute, 25))
	}
	assert.Equal(t, run(3), run(3))
	assert.NotEqual(t, run(3), run(4))
}

func TestSlicingOfTimeHardlyMatters(t *testing.T) {
	g := smallGarden()
	o := DefaultOptions(3, seattle(t, g))
	coarse, fine := season(t, g, o, 15*time.Minute, 40), season(t, g, o, 30*time.Second, 40)
	for i := range coarse.Zones() {
		a, b := coarse.Totals(i), fine.Totals(i)
		assert.InDelta(t, a.AppliedL, b.AppliedL, 1e-6*a.AppliedL)
		assert.InEpsilon(t, a.TranspiredL, b.TranspiredL, 2e-3)
		assert.InDelta(t, a.DrainedL, b.DrainedL, 4e-3*a.AppliedL)
		assert.InDelta(t, coarse.MeanWater(i), fine.MeanWater(i), 2e-3)
	}
}

func TestAdvanceLandsExactly(t *testing.T) {
	g := smallGarden()
	te := build(t, g, may1.Add(17*time.Minute+3*time.Second), ideal(g, seattle(t, g)))
	for _, at := range []time.Duration{1, time.Millisecond, 37*time.Second + 1, time.Minute, 26*time.Hour + 7} {
		te.Advance(at)
		assert.Equal(t, at, te.Now())
	}
	te.Advance(time.Second)
	assert.Equal(t, 26*time.Hour+7, te.Now(), "never back")
}

func TestSkyKeepsTheDaysFigures(t *testing.T) {
	g := smallGarden()
	athens, err := time.LoadLocation("Europe/Athens")
	require.NoError(t, err)
	g.Site.Zone, g.Site.LatDeg, g.Site.LonDeg = athens, 40.6, 22.9
	// Across the end of summer time, a day of 25 hours.
	from := time.Date(2014, 10, 20, 0, 0, 0, 0, athens)
	rows := FairWeather(5, from, 12)
	for i := range rows {
		rows[i].RainMM = garden.Known(float64(i%4) * 3)
	}
	te := build(t, g, from, ideal(g, rows))
	for _, row := range rows[:11] {
		require.Equal(t, row.Date.Format(time.DateOnly), te.Day().Date.Format(time.DateOnly))
		ra := weather.ExtraterrestrialRadiation(40.6, row.Date.YearDay())
		assert.InDelta(t, weather.HargreavesMM(row.TMinC.Value, row.TMaxC.Value, ra), te.EToMM(), 1e-12)
		lo, hi, rain, solar := 99., -99., 0., 0.
		end := row.Date.AddDate(0, 0, 1)
		for te.Wall().Before(end) {
			te.Advance(te.Now() + 10*time.Minute)
			w := te.Weather()
			rain += w.RainMM.Value
			solar += w.SolarWM.Value * 600 / 1e6
			// The small hours may still be warmer than the day to come.
			if h := te.Wall().Hour(); h >= 5 && h < 20 {
				lo, hi = min(lo, w.TempC.Value), max(hi, w.TempC.Value)
			}
		}
		assert.InDelta(t, row.RainMM.Value, rain, 1e-9, "rain of %v", row.Date)
		assert.InDelta(t, row.TMinC.Value, lo, .1)
		assert.InDelta(t, row.TMaxC.Value, hi, .1)
		assert.Greater(t, solar, 3.)
		assert.Less(t, solar, ra)
	}
}

func TestACanIsPouredOverMinutes(t *testing.T) {
	g := smallGarden()
	te := build(t, g, may1, ideal(g, seattle(t, g)))
	te.PourByHand(2, 5)
	te.PourByHand(2, math.NaN())
	te.Advance(time.Minute)
	assert.InDelta(t, 2, te.Totals(2).HandL, 1e-9)
	te.Advance(time.Hour)
	got := te.Totals(2)
	assert.InDelta(t, 5, got.HandL, 1e-9)
	assert.InDelta(t, 5, got.AppliedL, 1e-9)
	assert.Less(t, got.MassErrorL, 1e-12)
}

// A dry, hot, windy spell on a terrace: the pot dries out, its plants are
// stressed; watered, they are not. The figures are the simulator's own.
func TestHeatSpellEmptiesAPot(t *testing.T) {
	g := smallGarden()
	g.Site.Zone, g.Site.LatDeg, g.Site.LonDeg = time.UTC, 40.6, 22.9
	g.Pots[0].Zones[0].Exposure = garden.WindyPaved
	from := time.Date(2023, 7, 10, 0, 0, 0, 0, time.UTC)
	o := ideal(g, HeatSpell(from, 5))
	dry := build(t, g, from, o)
	assert.Greater(t, dry.EToMM(), 7.)
	capacity := dry.MeanWater(0)
	dry.Advance(4 * 24 * time.Hour)
	got := dry.Totals(0)
	assert.Greater(t, got.HoursStressed, 12.)
	assert.Less(t, got.TranspiredL, .95*got.PotentialTranspirationL)
	assert.Less(t, dry.MeanWater(0), capacity-.2)
	assert.Less(t, got.MassErrorL, 1e-11)

	wet := build(t, g, from, o)
	for h := range 4 * 24 {
		wet.SetValve("one", h%4 == 0)
		wet.Advance(time.Duration(h+1) * time.Hour)
	}
	got = wet.Totals(0)
	assert.Zero(t, got.HoursStressed)
	assert.InEpsilon(t, got.PotentialTranspirationL, got.TranspiredL, 1e-6)
}

func TestSaturatedHours(t *testing.T) {
	g := smallGarden()
	// A fine, slow mix in a shallow pot, with a valve that never closes.
	g.Mixes[0].Retention = garden.Retention{Model: garden.VanGenuchten, ThetaR: .1, ThetaS: .93, AlphaPerCM: .06, N: 1.6, KsCMH: 5}
	te := build(t, g, may1, ideal(g, seattle(t, g)))
	te.Advance(12 * time.Hour)
	assert.Zero(t, te.Totals(1).HoursSaturated, "at capacity it is not")
	te.SetValve("two", true)
	te.Advance(16 * time.Hour)
	assert.Zero(t, te.Totals(1).HoursSaturated, "nor for less than six hours")
	te.Advance(36 * time.Hour)
	assert.InDelta(t, 24, te.Totals(1).HoursSaturated, 3)
}

func TestHiddenDemandIsSeededAndLasting(t *testing.T) {
	g := smallGarden()
	rows := seattle(t, g)
	o := ideal(g, rows)
	book := build(t, g, may1, o)
	book.Advance(20 * 24 * time.Hour)
	o.DemandSpread = .2
	real := build(t, g, may1, o)
	real.Advance(20 * 24 * time.Hour)
	for i := range real.Zones() {
		ratio := real.Totals(i).PotentialTranspirationL / book.Totals(i).PotentialTranspirationL
		assert.InDelta(t, real.zones[i].lasting, ratio, 1e-9)
		assert.Greater(t, math.Abs(ratio-1), 1e-3)
	}
}

func TestAPrunedPlantDrinksLess(t *testing.T) {
	g := smallGarden()
	drunk := func(factor float64) float64 {
		te := build(t, g, may1, ideal(g, seattle(t, g)))
		te.ScaleCanopy(0, factor)
		te.ScaleCanopy(0, math.NaN())
		te.Advance(48 * time.Hour)
		return te.Totals(0).PotentialTranspirationL
	}
	assert.InEpsilon(t, drunk(1)/2, drunk(.5), .01)
}

func TestDryMixLetsWaterRunThrough(t *testing.T) {
	g := smallGarden()
	drained := func(bypass float64) Totals {
		o := ideal(g, seattle(t, g))
		o.BypassMax, o.StartSuctionCM = bypass, 700
		te := build(t, g, may1, o)
		te.SetValve("one", true)
		te.Advance(20 * time.Minute)
		return te.Totals(0)
	}
	assert.Zero(t, drained(0).DrainedL)
	got := drained(.6)
	assert.Greater(t, got.DrainedL, .3*got.AppliedL)
	assert.InDelta(t, got.DrainedL, got.DrainedIrrigationL, 1e-9)
	assert.Less(t, got.MassErrorL, 1e-11)
}

func TestMixIsWarmLateAndLess(t *testing.T) {
	g := smallGarden()
	te := build(t, g, may1, ideal(g, HeatSpell(may1, 6)))
	swing := func(depth float64) (span float64, peak int) {
		lo, hi := 99., -99.
		for q := range 96 {
			te.Advance(te.Now() + 15*time.Minute)
			x := te.TempAt(0, depth)
			if x > hi {
				hi, peak = x, q
			}
			lo = min(lo, x)
		}
		return hi - lo, peak
	}
	te.Advance(2 * 24 * time.Hour)
	top, early := swing(1)
	deep, late := swing(22)
	assert.Greater(t, top, 1.5*deep)
	assert.Greater(t, late, early+4, "at least an hour later")
}

func TestNewRefuses(t *testing.T) {
	g := smallGarden()
	rows := seattle(t, g)
	for _, tc := range []struct {
		name   string
		change func(*garden.Garden, *Options)
		says   string
	}{
		{"no weather", func(_ *garden.Garden, o *Options) { o.Weather = nil }, "no weather"},
		{"no temperatures", func(_ *garden.Garden, o *Options) { o.Weather = []garden.DayWeather{{Date: may1}} }, "temperatures"},
		{"days out of order", func(_ *garden.Garden, o *Options) { o.Weather = []garden.DayWeather{rows[3], rows[2]} }, "sort"},
		{"spread", func(_ *garden.Garden, o *Options) { o.DemandSpread = math.NaN() }, "demand spread"},
		{"bypass", func(_ *garden.Garden, o *Options) { o.BypassMax = 2 }, "bypass"},
		{"mix", func(g *garden.Garden, _ *Options) { g.Pots[0].Mix = "sand" }, `"sand"`},
		{"crop", func(g *garden.Garden, _ *Options) { g.Pots[1].Zones[0].Plants[0].Crop = "triffid" }, `"triffid"`},
		{"volume", func(g *garden.Garden, _ *Options) { g.Pots[1].VolumeL = 0 }, "small"},
		{"cells", func(_ *garden.Garden, o *Options) { o.Cells = 1 }, "cells"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			g, o := smallGarden(), ideal(g, rows)
			tc.change(g, &o)
			_, err := New(g, may1, o)
			assert.ErrorContains(t, err, tc.says)
		})
	}
}

// A solute of the caller's travels with the water: salt comes in with irrigation
// and stays when the plants drink.
func TestASoluteOfTheCallers(t *testing.T) {
	g := smallGarden()
	o := ideal(g, HeatSpell(may1, 5))
	o.Solutes = []column.Solute{{Name: "salt", Water: 1}}
	te := build(t, g, may1, o)
	for h := range 4 * 24 {
		te.SetValve("one", h%6 == 0)
		te.Advance(time.Duration(h+1) * time.Hour)
	}
	c := te.Column(0)
	in := c.Carried(1)
	assert.InDelta(t, in.In, in.Drained+in.RunOff+c.Mass(1), 1e-9*in.In)
	assert.InEpsilon(t, te.Totals(0).AppliedL, in.In*te.LitresPerCM(0), 1e-9)
}
