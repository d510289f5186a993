package medium_test

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fabricpot/control/garden"
	"fabricpot/control/medium"
)

func vg(thetaR, thetaS, alpha, n float64) garden.Retention {
	return garden.Retention{Model: garden.VanGenuchten, ThetaR: thetaR, ThetaS: thetaS, AlphaPerCM: alpha, N: n}
}

func curve(t testing.TB, r garden.Retention) medium.Curve {
	t.Helper()
	c, err := medium.NewCurve(r)
	require.NoError(t, err)
	return c
}

func cylinder(h float64) garden.Shape {
	return garden.Shape{HeightCM: h, BottomDiameterCM: 40, TopDiameterCM: 40}
}

// Values computed independently from the published curves by closed form and
// by another quadrature, which agreed to 1e-6. The parameter sets are invented.
func TestCapacityOfCylinders(t *testing.T) {
	n2 := vg(.10, .85, .20, 2)
	gardner := garden.Retention{Model: garden.Exponential, ThetaR: .15, ThetaS: .90, AlphaPerCM: .05}
	bc := garden.Retention{Model: garden.BrooksCorey, ThetaR: .10, ThetaS: .70, HbCM: 5, Lambda: .5}
	peatPerlite, finePeat := vg(.10, .88, .15, 1.60), vg(.10, .93, .06, 1.60)
	for _, tc := range []struct {
		name   string
		r      garden.Retention
		h      float64
		cc     float64
		within float64
	}{
		{"van Genuchten n=2", n2, 10, 0.641363, 1e-6},
		{"van Genuchten n=2", n2, 20, 0.492759, 1e-6},
		{"van Genuchten n=2", n2, 30, 0.411472, 1e-6},
		{"van Genuchten n=2", n2, 40, 0.360294, 1e-6},
		{"exponential", gardner, 10, 0.740204, 1e-6},
		{"exponential", gardner, 20, 0.624090, 1e-6},
		{"exponential", gardner, 30, 0.538435, 1e-6},
		{"exponential", gardner, 40, 0.474249, 1e-6},
		{"Brooks-Corey", bc, 10, 0.648528, 1e-6},
		{"Brooks-Corey, exact by hand", bc, 20, 0.55, 1e-9},
		{"Brooks-Corey", bc, 30, 0.489898, 1e-6},
		{"Brooks-Corey", bc, 40, 0.449264, 1e-6},
		{"peat-perlite-like", peatPerlite, 10, 0.752434, 1e-6},
		{"peat-perlite-like", peatPerlite, 15.2, 0.691993, 1e-6},
		{"peat-perlite-like", peatPerlite, 20, 0.647392, 1e-6},
		{"peat-perlite-like", peatPerlite, 30, 0.578203, 1e-6},
		{"peat-perlite-like", peatPerlite, 40, 0.529133, 1e-6},
		{"peat-perlite-like", peatPerlite, 60, 0.463027, 1e-6},
		{"fine-peat-like", finePeat, 10, 0.885114, 1e-6},
		{"fine-peat-like", finePeat, 15.2, 0.852534, 1e-6},
		{"fine-peat-like", finePeat, 20, 0.823066, 1e-6},
		{"fine-peat-like", finePeat, 30, 0.767732, 1e-6},
		{"fine-peat-like", finePeat, 40, 0.721318, 1e-6},
		{"fine-peat-like", finePeat, 60, 0.649632, 1e-6},
	} {
		t.Run(fmt.Sprintf("%s at %v cm", tc.name, tc.h), func(t *testing.T) {
			cc, err := medium.Capacity(curve(t, tc.r), cylinder(tc.h))
			require.NoError(t, err)
			assert.InDelta(t, tc.cc, cc, tc.within)
		})
	}
}

func TestTopOfColumn(t *testing.T) {
	c := curve(t, vg(.10, .85, .20, 2))
	// Same origin as above.
	for h, want := range map[float64]float64{10: .43541, 20: .28190, 30: .22330, 40: .19303} {
		assert.InDelta(t, want, c.Theta(h), 5e-6)
	}
}

// The mean of a van Genuchten column is ₂F₁(m, 1/n; 1+1/n; −(αH)ⁿ), and for
// n=2 asinh(αH)/(αH); integrated from van Genuchten 1980's curve. The series is
// our own, by Pfaff's transformation, and shares no code with the quadrature.
func TestCapacityAgainstClosedForms(t *testing.T) {
	hyper := func(a, b, c, x float64) float64 { // ₂F₁(a,b;c;−x), x ≥ 0
		z := x / (1 + x)
		term, sum := 1.0, 1.0
		for k := 0.0; k < 200000 && math.Abs(term) > 1e-16*sum; k++ {
			term *= (c - a + k) * (b + k) / ((c + k) * (k + 1)) * z
			sum += term
		}
		return sum * math.Pow(1+x, -b)
	}
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.Float64Range(1.1, 4).Draw(t, "n")
		alpha := rapid.Float64Range(0.005, 0.5).Draw(t, "alpha")
		h := rapid.Float64Range(2, 100).Draw(t, "height")
		if math.Pow(alpha*h, n) > 3000 {
			t.Skip("the series converges too slowly to judge by")
		}
		c, err := medium.NewCurve(vg(0.05, 0.9, alpha, n))
		require.NoError(t, err)
		cc, err := medium.Capacity(c, cylinder(h))
		require.NoError(t, err)
		se := hyper(1-1/n, 1/n, 1+1/n, math.Pow(alpha*h, n))
		assert.InDelta(t, 0.05+0.85*se, cc, 1e-8)
		two, err := medium.NewCurve(vg(0.05, 0.9, alpha, 2))
		require.NoError(t, err)
		cc, err = medium.Capacity(two, cylinder(h))
		require.NoError(t, err)
		assert.InDelta(t, 0.05+0.85*math.Asinh(alpha*h)/(alpha*h), cc, 1e-8)
	})
}

// A frustum's mean by a plain midpoint sum over thin discs.
func TestCapacityOfTaperedPots(t *testing.T) {
	c := curve(t, vg(.10, .88, .15, 1.60))
	for _, s := range []garden.Shape{
		{HeightCM: 45, BottomDiameterCM: 46, TopDiameterCM: 46},
		{HeightCM: 30, BottomDiameterCM: 25, TopDiameterCM: 35},
		{HeightCM: 30, BottomDiameterCM: 35, TopDiameterCM: 25},
	} {
		var v, w float64
		const discs = 200000
		for i := range discs {
			z := s.HeightCM * (float64(i) + 0.5) / discs
			r := (s.BottomDiameterCM + (s.TopDiameterCM-s.BottomDiameterCM)*z/s.HeightCM) / 2
			v += math.Pi * r * r
			w += math.Pi * r * r * c.Theta(z)
		}
		cc, err := medium.Capacity(c, s)
		require.NoError(t, err)
		assert.InDelta(t, w/v, cc, 1e-7, "%+v", s)
	}
	wide, _ := medium.Capacity(c, garden.Shape{HeightCM: 30, BottomDiameterCM: 35, TopDiameterCM: 25})
	narrow, _ := medium.Capacity(c, garden.Shape{HeightCM: 30, BottomDiameterCM: 25, TopDiameterCM: 35})
	assert.Greater(t, wide, narrow, "a pot with more of its mix near the floor holds more")
}

// Easily available water and buffering capacity computed independently from
// van Genuchten's curve at De Boodt and Verdonck's suctions.
func TestAvailableWater(t *testing.T) {
	for _, tc := range []struct {
		name                string
		r                   garden.Retention
		air, eaw, wbc, last float64
	}{
		{"peat-perlite-like", vg(.10, .88, .15, 1.60), .2577, .2929, .0766, .2529},
		{"fine-peat-like", vg(.10, .93, .06, 1.60), .1064, .3191, .1270, .3774},
	} {
		t.Run(tc.name, func(t *testing.T) {
			c := curve(t, tc.r)
			assert.InDelta(t, tc.air, medium.AirAt10(c), 1e-4)
			assert.InDelta(t, tc.eaw, medium.EAW(c), 1e-4)
			assert.InDelta(t, tc.wbc, medium.WBC(c), 1e-4)
			assert.InDelta(t, tc.last, medium.LowerLimit(c), 1e-4)
		})
	}
}

// Identities that published measurements show.
func TestPublishedIdentities(t *testing.T) {
	t.Run("air space and capacity sum to porosity whatever the pot", func(t *testing.T) {
		// Bilderback and Fonteno 1987, J. Environ. Hort. 5(4):180, abstract
		// (read): 28 % + 43 % in a #1 container, 12 % + 59 % in a bedding cell.
		c := curve(t, vg(.15, .71, .25, 1.40))
		for _, h := range []float64{3, 5, 15, 17} {
			cc, err := medium.Capacity(c, cylinder(h))
			require.NoError(t, err)
			as, err := medium.AirSpace(c, cylinder(h))
			require.NoError(t, err)
			assert.InDelta(t, 0.71, cc+as, 1e-12)
		}
	})
	t.Run("a taller core of bark holds a smaller share", func(t *testing.T) {
		// Owen and Altland 2008, HortScience 43(2):505-508, abstract (read):
		// from 3.8 to 15.2 cm −20 % (medium) to −42 % (fine bark). A mix that
		// enters air early loses a share of that order.
		c := curve(t, medium.Illustrative()[3].Retention)
		low, _ := medium.Capacity(c, cylinder(3.8))
		high, _ := medium.Capacity(c, cylinder(15.2))
		assert.Greater(t, high/low, 0.58)
		assert.Less(t, high/low, 0.90)
	})
}

func TestCapacityProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := drawCurve(t)
		h := rapid.Float64Range(5, 80).Draw(t, "height")
		bottom := rapid.Float64Range(10, 90).Draw(t, "bottom")
		top := rapid.Float64Range(10, 90).Draw(t, "top")
		s := garden.Shape{HeightCM: h, BottomDiameterCM: bottom, TopDiameterCM: top}
		cc, err := medium.Capacity(c, s)
		require.NoError(t, err)
		assert.LessOrEqual(t, cc, c.Porosity()+1e-12)
		assert.GreaterOrEqual(t, cc, c.Theta(h)-1e-12, "never drier than its top")
		s.HeightCM *= 1.2
		taller, err := medium.Capacity(c, s)
		require.NoError(t, err)
		assert.LessOrEqual(t, taller, cc+1e-9, "capacity falls with height")
		more := medium.MeanAt(c, s, 5)
		assert.LessOrEqual(t, more, taller+1e-12, "a drier profile holds less")
	})
}

func drawCurve(t *rapid.T) medium.Curve {
	r := garden.Retention{
		Model:      rapid.SampledFrom([]garden.RetentionModel{garden.VanGenuchten, garden.BrooksCorey, garden.Exponential}).Draw(t, "model"),
		ThetaR:     rapid.Float64Range(0, 0.2).Draw(t, "theta-r"),
		ThetaS:     rapid.Float64Range(0.5, 0.95).Draw(t, "theta-s"),
		AlphaPerCM: rapid.Float64Range(0.01, 0.4).Draw(t, "alpha"),
		N:          rapid.Float64Range(1.15, 3).Draw(t, "n"),
		HbCM:       rapid.Float64Range(1, 15).Draw(t, "hb"),
		Lambda:     rapid.Float64Range(0.2, 2).Draw(t, "lambda"),
	}
	c, err := medium.NewCurve(r)
	require.NoError(t, err)
	return c
}
