package terrace

import (
	"math"
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// nitrogenGarden is one pot on one line, with a starter charge.
func nitrogenGarden(starter float64) *garden.Garden {
	return &garden.Garden{
		Site: garden.Site{LatDeg: 40, ElevationM: 10, Zone: time.UTC},
		Mixes: []garden.Mix{{ID: "m", StarterNmgL: starter, Retention: garden.Retention{
			Model: garden.VanGenuchten, ThetaR: .1, ThetaS: .88, AlphaPerCM: .15, N: 1.6, KsCMH: 30}}},
		Pots: []garden.Pot{{ID: "p", Mix: "m", VolumeL: 40, Shape: garden.Shape{HeightCM: 35, BottomDiameterCM: 38.15, TopDiameterCM: 38.15},
			Zones: []garden.Zone{{ID: "p", Pot: "p", Share: 1, Line: "l", Exposure: garden.OpenAir,
				Plants: []garden.Plant{{Crop: "chilli", Count: 1}}}}}},
		Lines:  []garden.Line{{ID: "l", DU: 1, Outlets: []garden.Outlet{{Zone: "p", Emitters: 4, FlowLPH: 2}}}},
		Supply: garden.Supply{FlowLPH: 100},
	}
}

func nitrogenTerrace(t *testing.T, g *garden.Garden, n Nitrogen) *Terrace {
	t.Helper()
	start := time.Date(2026, 7, 1, 0, 0, 0, 0, time.UTC)
	o := Options{Seed: 1, Nitrogen: &n, Weather: []garden.DayWeather{{Date: start, TMinC: garden.Known(18.), TMaxC: garden.Known(30.), RainMM: garden.Known(0.)}}}
	tr, err := New(g, start, o)
	require.NoError(t, err)
	return tr
}

// TestNitrogenBalances: whatever is poured, sprinkled with feed or plain water,
// drained and taken up, every milligram is somewhere.
func TestNitrogenBalances(t *testing.T) {
	tr := nitrogenTerrace(t, nitrogenGarden(250), Nitrogen{})
	for d := range 40 {
		day := time.Duration(d) * 24 * time.Hour
		if d%7 == 3 {
			tr.SetFeed("l", 150)
		}
		tr.SetValve("l", true)
		tr.Advance(day + time.Duration(20+d)*time.Minute)
		tr.SetValve("l", false)
		tr.SetFeed("l", 0)
		if d%10 == 5 {
			tr.PourFeedByHand(0, 2, 200)
			tr.PourByHand(0, 1)
		}
		tr.Advance(day + 24*time.Hour)
	}
	n := tr.Nitrogen(0)
	t.Logf("%+v", n)
	assert.InDelta(t, 10, n.StarterG, 1e-9, "250 mg in each of 40 L")
	assert.Less(t, n.MassErrorG, 1e-9)
	assert.InDelta(t, n.StarterG-n.ReserveG+n.AppliedG, n.UsedG+n.LeachedG+n.PoolG, 1e-9)
	// By hand 4 × 2 L at 200 mg/L = 1.6 g; the line's 8 L/h through 23, 30, 37,
	// 44, 51 and 58 minutes at 150 mg/L = 4.86 g. Pressure sags a little.
	assert.InDelta(t, 6.46, n.AppliedG, 0.2)
	assert.Positive(t, n.UsedG)
	assert.Positive(t, n.LeachedG)
}

// TestNitrogenAgainstHandCalculation: a pot without release or plants loses to
// drainage what the water that drained held, and no more than a well-mixed pot
// would by far.
func TestNitrogenAgainstHandCalculation(t *testing.T) {
	t.Run("release", func(t *testing.T) {
		g := nitrogenGarden(100)
		g.Pots[0].Zones[0].Plants = nil
		tr := nitrogenTerrace(t, g, Nitrogen{ReleaseDays: 10})
		tr.Advance(240 * time.Hour)
		n := tr.Nitrogen(0)
		// At 18 to 30 °C the mean rate is between that of 20 °C (e⁻¹ left) and
		// that of 30 °C (e⁻² left).
		assert.Less(t, n.ReserveG, n.StarterG*math.Exp(-1))
		assert.Greater(t, n.ReserveG, n.StarterG*math.Exp(-2.2))
		assert.Zero(t, n.UsedG)
	})
	t.Run("uptake", func(t *testing.T) {
		tr := nitrogenTerrace(t, nitrogenGarden(1000), Nitrogen{})
		tr.Advance(96 * time.Hour)
		n, w := tr.Nitrogen(0), tr.Totals(0)
		assert.InDelta(t, 0.043*w.TranspiredL, n.WantedG, 1e-6, "43 mg with each litre")
		assert.Greater(t, n.UsedG, 0.9*n.WantedG, "with plenty, nearly all of it")
		assert.Less(t, n.UsedG, n.WantedG)
	})
	t.Run("none there, none taken", func(t *testing.T) {
		tr := nitrogenTerrace(t, nitrogenGarden(0), Nitrogen{})
		tr.Advance(96 * time.Hour)
		n := tr.Nitrogen(0)
		assert.Zero(t, n.UsedG)
		assert.Zero(t, n.PoolG)
		assert.Positive(t, n.WantedG)
	})
}

// TestNitrogenLeavesWaterAlone: looking at nitrogen changes no litre.
func TestNitrogenLeavesWaterAlone(t *testing.T) {
	run := func(n *Nitrogen) Totals {
		tr := nitrogenTerrace(t, nitrogenGarden(250), Nitrogen{})
		if n == nil {
			start := time.Date(2026, 7, 1, 0, 0, 0, 0, time.UTC)
			var err error
			tr, err = New(nitrogenGarden(250), start, Options{Seed: 1, Weather: []garden.DayWeather{{Date: start, TMinC: garden.Known(18.), TMaxC: garden.Known(30.), RainMM: garden.Known(0.)}}})
			require.NoError(t, err)
		}
		tr.SetValve("l", true)
		tr.Advance(90 * time.Minute)
		tr.SetValve("l", false)
		tr.Advance(72 * time.Hour)
		return tr.Totals(0)
	}
	with, without := run(&Nitrogen{}), run(nil)
	assert.InDelta(t, without.DrainedL, with.DrainedL, 1e-12)
	assert.InDelta(t, without.TranspiredL, with.TranspiredL, 1e-12)
}
