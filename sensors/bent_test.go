package sensors

import (
	"math"
	"testing"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// NIST Statistical Reference Datasets, "Pontius" (a load cell's deflection,
// quadratic): data and certified values from memory. Loads are divided by 10⁶
// and deflections by 3 to fit a probe's range.
func TestQuadraticAgainstPontius(t *testing.T) {
	first := []float64{.11019, .21956, .32949, .43899, .54803, .65694, .76562, .87487, .98292, 1.09146, 1.20001, 1.30822, 1.41599, 1.52399, 1.63194, 1.73947, 1.84646, 1.95392, 2.06128, 2.16844}
	second := []float64{.11052, .22018, .32939, .43886, .54798, .65739, .76596, .87474, .98300, 1.09150, 1.20004, 1.30818, 1.41613, 1.52408, 1.63159, 1.73965, 1.84696, 1.95445, 2.06177, 2.16829}
	var points []point
	for _, run := range [][]float64{first, second} {
		for i, y := range run {
			points = append(points, point{Volts: garden.Volts(0.15 * float64(i+1)), Water: garden.WaterFraction(y / 3)})
		}
	}
	c, err := NewCurve(calibrate(garden.Quadratic, points...))
	require.NoError(t, err)
	const b0, b1, b2 = 0.673565789473684e-3, 0.732059160401003e-6 * 1e6, -0.316081871345029e-14 * 1e12
	for _, v := range []float64{0.15, 0.7, 1.5, 2.2, 3.0} {
		w, outside := c.Water(garden.Volts(v))
		assert.Zero(t, outside)
		assert.InDelta(t, (b0+b1*v+b2*v*v)/3, float64(w), 1e-12, "%g V", v)
	}
	// The certified residual deviation divides by n-3, the RMSE by n.
	assert.InDelta(t, 0.205177424076185e-3/3*math.Sqrt(37.0/40), c.RMSE(), 1e-13)
}

// θ = a + b/V by the normal equations in exact fractions, computed
// independently.
func TestInverseAgainstExactFractions(t *testing.T) {
	c, err := NewCurve(calibrate(garden.Inverse, point{Volts: 1, Water: 0.7}, point{Volts: 2, Water: 0.3}, point{Volts: 4, Water: 0.15}))
	require.NoError(t, err)
	// ū = 7/12, θ̄ = 23/60; Σ(u-ū)² = 7/24, Σ(u-ū)(θ-θ̄) = 13/60: slope 26/35,
	// intercept 23/60 - 7/12·26/35 = -1/20.
	for v, want := range map[float64]float64{1: 26./35 - 1./20, 2: 13./35 - 1./20, 4: 6.5/35 - 1./20} {
		w, _ := c.Water(garden.Volts(v))
		assert.InDelta(t, want, float64(w), 1e-12, "%g V", v)
	}
	w, outside := c.Water(4.5)
	assert.InDelta(t, 6.5/35-1./20-26./35/16*0.5, float64(w), 1e-12, "straight on by the tangent")
	assert.InDelta(t, 0.5, outside, 1e-12)
}

func TestBentRefuses(t *testing.T) {
	for name, k := range map[string]struct {
		cal  garden.Calibration
		want string
	}{
		"a parabola that turns":      {calibrate(garden.Quadratic, point{Volts: 1, Water: 0.2}, point{Volts: 2, Water: 0.6}, point{Volts: 3, Water: 0.1}), "turns between 1 and 3 V"},
		"a parabola of two voltages": {calibrate(garden.Quadratic, point{Volts: 1, Water: 0.2}, point{Volts: 1, Water: 0.3}, point{Volts: 3, Water: 0.1}), "fewer than three different voltages"},
		"a parabola of two points":   {calibrate(garden.Quadratic, point{Volts: 1, Water: 0.2}, point{Volts: 3, Water: 0.1}), "expected 3 or more"},
		"one over nothing":           {calibrate(garden.Inverse, point{Volts: 0, Water: 0.7}, point{Volts: 2, Water: 0.1}), "0.05 V or more"},
		"a level inverse":            {calibrate(garden.Inverse, point{Volts: 1, Water: 0.5}, point{Volts: 2, Water: 0.5}), "does not change"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := NewCurve(k.cal)
			assert.ErrorContains(t, err, k.want)
		})
	}
}

func TestBentOnlyFalls(t *testing.T) {
	for _, kind := range []garden.CalibrationKind{garden.Quadratic, garden.Inverse} {
		c, err := NewCurve(calibrate(kind, point{Volts: 1.1, Water: 0.65}, point{Volts: 1.6, Water: 0.35}, point{Volts: 2.5, Water: 0.05}))
		require.NoError(t, err)
		assert.True(t, c.falls())
		last := math.Inf(1)
		for v := 0.3; v < 3.3; v += 0.001 {
			w, _ := c.Water(garden.Volts(v))
			if float64(w) > last+1e-12 {
				t.Fatalf("%s rises at %g V", kind, v)
			}
			if last-float64(w) > 0.002 && last < 1 {
				t.Fatalf("%s jumps at %g V", kind, v)
			}
			last = float64(w)
		}
	}
}
