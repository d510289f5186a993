package policy

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Worked by hand.
func TestLeastWater(t *testing.T) {
	z := Store{LossL: []float64{4, 4, 4, 4, 4}, RainL: []float64{0, 0, 6, 0, 0}, HoldL: 10, GainLPH: 2}
	t.Run("rain and store first, then what is missing", func(t *testing.T) {
		// 10 → 6 → 2 → 4 → 0 → −4: four litres are missing on the last day.
		l := LeastWater([]Store{z})
		assert.InDelta(t, 4, l.WaterL[0], 1e-12)
		assert.InDelta(t, 0, l.DrainedL[0], 1e-12)
		assert.InDelta(t, 0, l.LeftL[0], 1e-12)
	})
	t.Run("rain that finds no room drains", func(t *testing.T) {
		w := z
		w.RainL = []float64{9, 0, 0, 0, 0}
		// 10 + 9 − 4 = 15: five drain; 10 → 6 → 2 → −2 → −4.
		l := LeastWater([]Store{w})
		assert.InDelta(t, 5, l.DrainedL[0], 1e-12)
		assert.InDelta(t, 6, l.WaterL[0], 1e-12)
	})
	t.Run("a leaching fraction drains on top", func(t *testing.T) {
		w := z
		w.LeachingFraction = 0.2
		l := LeastWater([]Store{w})
		assert.InDelta(t, 5, l.WaterL[0], 1e-12)
		assert.InDelta(t, 1, l.DrainedL[0], 1e-12)
	})
	t.Run("on one line the thirstier decides", func(t *testing.T) {
		other := Store{LossL: []float64{1, 1, 1, 1, 1}, HoldL: 2, GainLPH: 2}
		// The other is dry on days three and four: a litre each for both. On day
		// five the first lacks 2 L and the other 1: both get 2.
		l := LeastWater([]Store{z, other})
		assert.InDeltaSlice(t, []float64{4, 4}, l.WaterL, 1e-12)
		assert.InDeltaSlice(t, []float64{0, 1}, l.LeftL, 1e-12)
		// One that hardly drinks has to drain what it can't hold.
		idle := Store{LossL: []float64{0, 0, 0, 0, 0}, HoldL: 2, GainLPH: 1}
		l = LeastWater([]Store{z, idle})
		assert.InDeltaSlice(t, []float64{4, 2}, l.WaterL, 1e-12)
		assert.InDeltaSlice(t, []float64{0, 2}, l.DrainedL, 1e-12)
	})
}

// TestNobodyNeedsLess: over every ledger season, water is conserved, nobody is
// thirsty, and no other way of never being thirsty uses less, counting what is
// left in the pot.
func TestNobodyNeedsLess(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		days := rapid.IntRange(1, 40).Draw(t, "days")
		series := func(name string, most float64) []float64 {
			return rapid.SliceOfN(rapid.Float64Range(0, most), days, days).Draw(t, name)
		}
		z := Store{LossL: series("loss", 8), RainL: series("rain", 12), HoldL: rapid.Float64Range(1, 30).Draw(t, "hold"), GainLPH: 4}
		least := LeastWater([]Store{z})
		in, out := z.HoldL+least.WaterL[0], least.DrainedL[0]+least.LeftL[0]
		for d := range days {
			in += z.RainL[d]
			out += z.LossL[d]
		}
		require.InDelta(t, in, out, 1e-9, "litres")
		require.GreaterOrEqual(t, least.LeftL[0], -1e-9)

		// Somebody who waters whenever they like, but never too late.
		extra := series("extra", 6)
		left, water := z.HoldL, 0.0
		for d := range days {
			left += z.RainL[d] - z.LossL[d]
			give := max(0, -left) + extra[d]
			water += give
			left = min(left+give, z.HoldL)
		}
		require.GreaterOrEqual(t, water-left, least.WaterL[0]-least.LeftL[0]-1e-9)
	})
}

// FAO-33's equation, from memory: bush beans (Ky 1.15) that lose a fifth of their
// evapotranspiration lose 23 % of their yield.
func TestYieldResponse(t *testing.T) {
	bean := YieldResponseOf("green bean")
	assert.InDelta(t, 0.77, bean.Relative(0.2, 0), 1e-12)
	assert.InDelta(t, 1, bean.Relative(0, 0), 1e-12)
	assert.InDelta(t, 0, bean.Relative(0.95, 0), 1e-12, "never below nothing")
	assert.InDelta(t, 0.77*0.9, bean.Relative(0.2, 0.1), 1e-12, "drowning is not free")
	assert.Contains(t, bean.Source, "memory")
	assert.Contains(t, YieldResponseOf("chard").Source, "judgement")
}
