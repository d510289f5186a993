package medium_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fabricpot/control/garden"
	"fabricpot/control/medium"
)

func TestNewCurveRefuses(t *testing.T) {
	good := vg(.1, .9, .1, 1.6)
	with := func(f func(*garden.Retention)) garden.Retention {
		r := good
		f(&r)
		return r
	}
	for _, tc := range []struct {
		name, says string
		r          garden.Retention
	}{
		{"residual over saturated", "not under theta-s", with(func(r *garden.Retention) { r.ThetaR = .95 })},
		{"residual equal to saturated", "not under theta-s", with(func(r *garden.Retention) { r.ThetaR = .9 })},
		{"n of one", "n is 1, expected over 1", with(func(r *garden.Retention) { r.N = 1 })},
		{"no alpha", "alpha is 0", with(func(r *garden.Retention) { r.AlphaPerCM = 0 })},
		{"NaN alpha", "finite", with(func(r *garden.Retention) { r.AlphaPerCM = math.NaN() })},
		{"infinite n", "finite", with(func(r *garden.Retention) { r.N = math.Inf(1) })},
		{"percent for a fraction", "theta-s is 90", with(func(r *garden.Retention) { r.ThetaS = 90 })},
		{"negative residual", "theta-r is -0.1", with(func(r *garden.Retention) { r.ThetaR = -.1 })},
		{"unknown model", `model "clay" is unknown`, with(func(r *garden.Retention) { r.Model = "clay" })},
		{"exponential without alpha", "exponential alpha", with(func(r *garden.Retention) { r.Model, r.AlphaPerCM = garden.Exponential, -1 })},
		{"Brooks-Corey without hb", "hb is 0", with(func(r *garden.Retention) { r.Model = garden.BrooksCorey })},
		{"Brooks-Corey without lambda", "lambda is 0", with(func(r *garden.Retention) { r.Model, r.HbCM = garden.BrooksCorey, 5 })},
	} {
		t.Run(tc.name, func(t *testing.T) {
			_, err := medium.NewCurve(tc.r)
			assert.ErrorContains(t, err, tc.says)
		})
	}
}

func TestCapacityRefusesShapes(t *testing.T) {
	c := curve(t, vg(.1, .9, .1, 1.6))
	for _, s := range []garden.Shape{
		{}, {HeightCM: -3, BottomDiameterCM: 4, TopDiameterCM: 4},
		{HeightCM: math.NaN(), BottomDiameterCM: 4, TopDiameterCM: 4},
		{HeightCM: 30, BottomDiameterCM: 4, TopDiameterCM: math.Inf(1)},
	} {
		_, err := medium.Capacity(c, s)
		assert.ErrorContains(t, err, "expected over 0")
	}
}

func TestCurveIsMonotoneAndInvertible(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := drawCurve(t)
		h := rapid.Float64Range(0, 500).Draw(t, "suction")
		step := rapid.Float64Range(0, 100).Draw(t, "step")
		assert.GreaterOrEqual(t, c.Theta(h), c.Theta(h+step))
		assert.LessOrEqual(t, c.Theta(h), c.Porosity())
		assert.GreaterOrEqual(t, c.Theta(h), c.Residual())
		// The water fraction is what must return; suction itself is lost where
		// the curve is flat.
		assert.InDelta(t, c.Theta(h), c.Theta(c.Suction(c.Theta(h))), 1e-9)
	})
}

// The caisson of Forsyth, Wu and Pruess 1995, parameters and state as given in
// the documentation of an open porous-flow simulator (read): α = 1.43e-4 1/Pa,
// m = 0.336, and a start at P = −72620.4 Pa, where the saturation is 0.303.
func TestPublishedRetention(t *testing.T) {
	const pascalPerCM = 98.0665
	c := curve(t, vg(0, 1, 1.43e-4*pascalPerCM, 1/(1-0.336)))
	assert.InDelta(t, 0.303, c.Theta(72620.4/pascalPerCM), 5e-5)
	assert.InEpsilon(t, 72620.4/pascalPerCM, c.Suction(0.303), 1e-3)
}

// θr + (θs-θr) is not always θs to the last bit.
func TestAFullMixHoldsNoMoreThanItsPores(t *testing.T) {
	r := vg(.13023283608413067, .7455741804764867, .1, 1.6)
	require.Greater(t, r.ThetaR+(r.ThetaS-r.ThetaR), r.ThetaS)
	assert.Equal(t, r.ThetaS, curve(t, r).Theta(0))
}

func TestSuctionEnds(t *testing.T) {
	c := curve(t, vg(.1, .9, .1, 1.6))
	assert.Zero(t, c.Suction(.9))
	assert.Zero(t, c.Suction(2))
	assert.Equal(t, 1e7, c.Suction(.1))
	assert.Equal(t, 1e7, c.Suction(-1))
	assert.Equal(t, 1e7, c.Suction(math.NaN()), "a lost value is never read as wet")
	assert.Equal(t, .9, c.Theta(-3))
}

func TestIllustrativeMixes(t *testing.T) {
	seen := map[garden.MixID]bool{}
	for _, m := range medium.Illustrative() {
		t.Run(string(m.ID), func(t *testing.T) {
			assert.True(t, m.Illustrative, "never to be taken for a measurement")
			assert.True(t, garden.ValidID(string(m.ID)))
			assert.False(t, seen[m.ID])
			seen[m.ID] = true
			assert.Positive(t, m.Retention.KsCMH)
			c := curve(t, m.Retention)
			w, err := medium.Resolve(c, cylinder(45), garden.Measured{}, garden.Measured{})
			require.NoError(t, err)
			// UC ANR (read): at least 10 % air. Band for what is left to drink:
			// common practice, no source.
			assert.False(t, w.Airless())
			assert.Greater(t, w.Available(), 0.12)
			again, ok := medium.IllustrativeMix(m.ID)
			assert.True(t, ok)
			assert.Equal(t, m, again)
		})
	}
	_, ok := medium.IllustrativeMix("concrete")
	assert.False(t, ok)
}

func TestResolve(t *testing.T) {
	c := curve(t, vg(.10, .88, .15, 1.60))
	t.Run("what the gardener measured wins", func(t *testing.T) {
		w, err := medium.Resolve(c, cylinder(40), garden.Known(.60), garden.Known(.20))
		require.NoError(t, err)
		assert.Equal(t, .60, w.Capacity)
		assert.Equal(t, .20, w.LowerLimit)
		assert.True(t, w.CapacityMeasured && w.LowerLimitMeasured)
		assert.InDelta(t, .28, w.AirSpace, 1e-12)
		assert.InDelta(t, .40, w.Available(), 1e-12)
	})
	t.Run("else the curve", func(t *testing.T) {
		w, err := medium.Resolve(c, cylinder(40), garden.Measured{}, garden.Measured{})
		require.NoError(t, err)
		assert.InDelta(t, .529133, w.Capacity, 1e-6)
		assert.False(t, w.CapacityMeasured || w.LowerLimitMeasured)
	})
	t.Run("little air is told", func(t *testing.T) {
		w, err := medium.Resolve(c, cylinder(40), garden.Known(.80), garden.Measured{})
		require.NoError(t, err)
		assert.True(t, w.Airless())
	})
	t.Run("limit over capacity", func(t *testing.T) {
		_, err := medium.Resolve(c, cylinder(40), garden.Known(.30), garden.Known(.35))
		assert.ErrorContains(t, err, "not under the capacity")
	})
	t.Run("no fraction", func(t *testing.T) {
		_, err := medium.Resolve(c, cylinder(40), garden.Known(30), garden.Known(.35))
		assert.ErrorContains(t, err, "no water fractions")
	})
}
