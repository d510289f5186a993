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

// A drained 45 cm pot of a peat-perlite-like mix holds 0.509 in the mean while
// a perfect probe 10 cm under the surface reads 0.381 (computed independently
// from van Genuchten's curve; the set is invented).
func TestProbeReadsItsOwnHeight(t *testing.T) {
	c := curve(t, vg(.10, .88, .15, 1.60))
	p, err := medium.NewProfile(c, cylinder(45), 35)
	require.NoError(t, err)
	assert.InDelta(t, 0.381, float64(p.AtCapacity()), 5e-4)
	assert.InDelta(t, 0.509, float64(p.Capacity()), 5e-4)
	mean, sat := p.ZoneMean(p.AtCapacity())
	assert.False(t, sat)
	assert.InDelta(t, 0.509, float64(mean), 5e-4)
	assert.InDelta(t, 0.381, float64(p.AtProbe(0.509)), 1e-3)
}

// The table against a bisection on the offset with a midpoint sum: nothing
// shared but the curve itself.
func TestZoneMeanAgainstBisection(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := drawCurve(t)
		h := rapid.Float64Range(10, 60).Draw(t, "height")
		at := rapid.Float64Range(0, 1).Draw(t, "where") * h
		s := garden.Shape{HeightCM: h, BottomDiameterCM: 30, TopDiameterCM: rapid.Float64Range(20, 45).Draw(t, "top")}
		p, err := medium.NewProfile(c, s, at)
		require.NoError(t, err)
		theta := c.Theta(c.Suction(1) + math.Pow(10, rapid.Float64Range(-1, 5).Draw(t, "log10 suction")))
		if c.Porosity()-theta < 1e-4 {
			t.Skip("saturated, as far as any probe can tell")
		}
		if theta-c.Residual() < 1e-4 {
			t.Skip("dry, as far as any probe can tell")
		}
		lo, hi := 0.0, 1e7
		for range 200 {
			if mid := (lo + hi) / 2; c.Theta(mid) > theta {
				lo = mid
			} else {
				hi = mid
			}
		}
		var v, w float64
		const discs = 4000
		for i := range discs {
			z := h * (float64(i) + 0.5) / discs
			d := s.BottomDiameterCM + (s.TopDiameterCM-s.BottomDiameterCM)*z/h
			v += d * d
			w += d * d * c.Theta(z+lo-at)
		}
		got, sat := p.ZoneMean(garden.WaterFraction(theta))
		assert.False(t, sat)
		assert.InDelta(t, w/v, float64(got), 3e-4)
		assert.InDelta(t, theta, float64(p.AtProbe(got)), 3e-4, "and back")
	})
}

func TestProfileIsMonotone(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := drawCurve(t)
		h := rapid.Float64Range(10, 60).Draw(t, "height")
		p, err := medium.NewProfile(c, cylinder(h), rapid.Float64Range(0, 1).Draw(t, "where")*h)
		require.NoError(t, err)
		a := rapid.Float64Range(-0.2, 1.2).Draw(t, "a")
		b := a + rapid.Float64Range(0, 0.3).Draw(t, "b")
		ma, _ := p.ZoneMean(garden.WaterFraction(a))
		mb, _ := p.ZoneMean(garden.WaterFraction(b))
		assert.LessOrEqual(t, ma, mb)
		assert.LessOrEqual(t, p.AtProbe(garden.WaterFraction(a)), p.AtProbe(garden.WaterFraction(b)))
		assert.LessOrEqual(t, float64(mb), c.Porosity()+1e-12)
		assert.GreaterOrEqual(t, float64(ma), c.Residual()-1e-12)
	})
}

func TestSaturatedProbeSaysSo(t *testing.T) {
	c := curve(t, vg(.10, .88, .15, 1.60))
	p, err := medium.NewProfile(c, cylinder(45), 5)
	require.NoError(t, err)
	mean, sat := p.ZoneMean(.88)
	assert.True(t, sat)
	// Saturated up to 5 cm, drained above: less than full, more than capacity.
	assert.InDelta(t, medium.MeanAt(c, cylinder(45), -5), float64(mean), 1e-9)
	assert.Greater(t, mean, p.Capacity())
	over, sat := p.ZoneMean(.95)
	assert.True(t, sat)
	assert.Equal(t, mean, over)
	lost, _ := p.ZoneMean(garden.WaterFraction(math.NaN()))
	assert.True(t, math.IsNaN(float64(lost)), "a lost value stays lost")
}

func TestAnchoredProfile(t *testing.T) {
	c := curve(t, vg(.10, .88, .15, 1.60))
	p, err := medium.NewProfile(c, cylinder(45), 35)
	require.NoError(t, err)
	q, err := p.Anchored(.43, .55)
	require.NoError(t, err)
	mean, _ := q.ZoneMean(.43)
	assert.InDelta(t, .55, float64(mean), 1e-4)
	assert.InDelta(t, .43, float64(q.AtProbe(.55)), 1e-4)
	assert.InDelta(t, .43, float64(q.AtCapacity()), 1e-12)
	assert.InDelta(t, .55, float64(q.Capacity()), 1e-12)
	still, _ := p.ZoneMean(p.AtCapacity())
	assert.InDelta(t, .509, float64(still), 5e-4, "the first profile is left alone")
	_, err = p.Anchored(43, .55)
	assert.ErrorContains(t, err, "anchor 43")
	_, err = p.Anchored(garden.WaterFraction(math.NaN()), .55)
	assert.Error(t, err)
}

func TestNewProfileRefuses(t *testing.T) {
	c := curve(t, vg(.10, .88, .15, 1.60))
	for _, at := range []float64{-1, 46, math.NaN(), math.Inf(1)} {
		_, err := medium.NewProfile(c, cylinder(45), at)
		assert.ErrorContains(t, err, "expected 0..45")
	}
	_, err := medium.NewProfile(c, garden.Shape{}, 0)
	assert.Error(t, err)
}

func TestProfileDoesNotAllocate(t *testing.T) {
	p, err := medium.NewProfile(curve(t, vg(.10, .88, .15, 1.60)), cylinder(45), 35)
	require.NoError(t, err)
	var sum garden.WaterFraction
	assert.Zero(t, testing.AllocsPerRun(100, func() {
		m, _ := p.ZoneMean(.37)
		sum += m + p.AtProbe(.5)
	}))
	assert.Positive(t, sum)
}

func BenchmarkZoneMean(b *testing.B) {
	p, err := medium.NewProfile(curve(b, vg(.10, .88, .15, 1.60)), cylinder(45), 35)
	require.NoError(b, err)
	b.ReportAllocs()
	for b.Loop() {
		p.ZoneMean(.37)
	}
}

func BenchmarkNewProfile(b *testing.B) {
	c := curve(b, vg(.10, .88, .15, 1.60))
	for b.Loop() {
		_, err := medium.NewProfile(c, cylinder(45), 35)
		require.NoError(b, err)
	}
}
