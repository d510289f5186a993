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

// probesAt reads a profile of suctions, cm by depth, at some depths.
func probesAt(c medium.Curve, suction func(depth float64) float64, depths ...float64) []float64 {
	out := make([]float64, len(depths))
	for i, d := range depths {
		out[i] = c.Theta(suction(d))
	}
	return out
}

// meanOf sums a profile of suctions over discs: nothing shared with the joint
// mean but the curve.
func meanOf(c medium.Curve, s garden.Shape, suction func(depth float64) float64) float64 {
	const discs = 4000
	var v, w float64
	for i := range discs {
		x := s.HeightCM * (float64(i) + 0.5) / discs
		d := s.TopDiameterCM + (s.BottomDiameterCM-s.TopDiameterCM)*x/s.HeightCM
		v += d * d
		w += d * d * c.Theta(suction(x))
	}
	return w / v
}

// A drained 45 cm pot of a peat-perlite-like mix holds 0.509 in the mean
// (computed independently from van Genuchten's curve; the set is invented).
func TestJointOfADrainedPot(t *testing.T) {
	c := curve(t, vg(.10, .88, .15, 1.60))
	j, err := medium.NewJoint(c, cylinder(45), 0.5094)
	require.NoError(t, err)
	depths := []float64{12, 36}
	drained := func(x float64) float64 { return 45 - x }
	assert.InDelta(t, 0.509, j.Mean(depths, probesAt(c, drained, depths...)), 1e-3)

	j, err = medium.NewJoint(c, cylinder(45), 0.48)
	require.NoError(t, err)
	assert.InDelta(t, 0.48, j.Mean(depths, probesAt(c, drained, depths...)), 1e-3, "what the gardener measured wins")
}

// Profiles that change evenly between probes come out as they are, wet above or
// wet below; each reading alone would be far off.
func TestJointOfAnyEvenProfile(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c, err := medium.NewCurve(vg(.10, .88, rapid.Float64Range(.03, .2).Draw(t, "alpha"), rapid.Float64Range(1.3, 2).Draw(t, "n")))
		require.NoError(t, err)
		h := rapid.Float64Range(15, 60).Draw(t, "height")
		s := garden.Shape{HeightCM: h, BottomDiameterCM: 30, TopDiameterCM: rapid.Float64Range(25, 45).Draw(t, "top")}
		slope := rapid.Float64Range(-1, 1).Draw(t, "slope")
		middle := rapid.Float64Range(h, 150).Draw(t, "suction")
		profile := func(x float64) float64 { return middle + slope*(x-h/2) }
		capacity, err := medium.Capacity(c, s)
		require.NoError(t, err)
		j, err := medium.NewJoint(c, s, garden.WaterFraction(capacity))
		require.NoError(t, err)
		depths := []float64{h * rapid.Float64Range(.1, .4).Draw(t, "upper"), h * rapid.Float64Range(.6, .95).Draw(t, "lower")}
		if rapid.Bool().Draw(t, "a third") {
			depths = []float64{depths[0], h / 2, depths[1]}
		}
		assert.InDelta(t, meanOf(c, s, profile), j.Mean(depths, probesAt(c, profile, depths...)), 2e-3)
	})
}

// Wetter readings never mean less water.
func TestJointIsMonotone(t *testing.T) {
	c := curve(t, vg(.10, .88, .15, 1.60))
	j, err := medium.NewJoint(c, cylinder(45), 0.5094)
	require.NoError(t, err)
	rapid.Check(t, func(t *rapid.T) {
		a := []float64{rapid.Float64Range(0, 1).Draw(t, "upper"), rapid.Float64Range(0, 1).Draw(t, "lower")}
		b := []float64{a[0] + rapid.Float64Range(0, .3).Draw(t, "more above"), a[1] + rapid.Float64Range(0, .3).Draw(t, "more below")}
		ma, mb := j.Mean([]float64{12, 36}, a), j.Mean([]float64{12, 36}, b)
		assert.LessOrEqual(t, ma, mb+1e-12)
		assert.GreaterOrEqual(t, ma, 0.0)
		assert.LessOrEqual(t, mb, 1.0)
	})
	assert.Equal(t, j.Mean([]float64{12, 36}, []float64{0, .4}), j.Mean([]float64{12, 36}, []float64{math.NaN(), .4}), "a NaN counts as dry")
}

func TestJointRefuses(t *testing.T) {
	c := curve(t, vg(.10, .88, .15, 1.60))
	_, err := medium.NewJoint(c, garden.Shape{}, 0.5)
	assert.ErrorContains(t, err, "height")
	_, err = medium.NewJoint(c, cylinder(45), 1.2)
	assert.ErrorContains(t, err, "capacity 1.2")
}

// Two probes at one depth that differ are no profile, wherever they stand.
func TestJointOfProbesAtOneDepth(t *testing.T) {
	c := curve(t, vg(.10, .88, .15, 1.60))
	j, err := medium.NewJoint(c, cylinder(45), 0.5094)
	require.NoError(t, err)
	for _, depths := range [][]float64{{12, 12, 36}, {12, 36, 36}, {12, 12}, {36, 36}} {
		for _, reading := range []float64{.11, .12, .4, .87, .9} {
			got := j.Mean(depths, []float64{reading, reading + .001, reading}[:len(depths)])
			assert.Truef(t, got > 0 && got < 1, "%v at %v: %v", reading, depths, got)
		}
	}
}
