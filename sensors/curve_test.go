package sensors

import (
	"math"
	"testing"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

type point = garden.CalibrationPoint

func calibrate(kind garden.CalibrationKind, points ...point) garden.Calibration {
	return garden.Calibration{Kind: kind, Points: points}
}

func TestTwoPointsMakeALine(t *testing.T) {
	c, err := NewCurve(calibrate(garden.TwoPoint, point{Volts: 2.5, Water: 0.05}, point{Volts: 1.4, Water: 0.60}))
	require.NoError(t, err)
	for _, k := range []struct{ volts, water, outside float64 }{
		{2.5, 0.05, 0}, {1.95, 0.325, 0}, {1.4, 0.60, 0},
		{1.3, 0.65, 0.1}, {2.55, 0.025, 0.05},
		{3.2, 0, 0.7}, {0, 1, 1.4}, // never under 0 or over 1
	} {
		w, outside := c.Water(garden.Volts(k.volts))
		assert.InDelta(t, k.water, float64(w), 1e-12, "%g V", k.volts)
		assert.InDelta(t, k.outside, outside, 1e-12, "%g V", k.volts)
	}
	lo, hi := c.Span()
	assert.Equal(t, []garden.Volts{1.4, 2.5}, []garden.Volts{lo, hi})
}

// NIST Statistical Reference Datasets, "Norris" (linear regression, low
// difficulty): data and certified values from memory. Both axes divided by 1000
// to fit a probe's range, which leaves the slope and divides the intercept.
func TestLeastSquaresAgainstNorris(t *testing.T) {
	x := []float64{0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4, 0.6, 775.5, 666.9, 338.0, 447.5, 11.6, 556.0, 228.1, 995.8, 887.6, 120.2, 0.3, 0.3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1, 118.3, 229.2, 669.1, 448.9, 0.5}
	y := []float64{0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3, 0.1, 778.1, 668.8, 339.3, 448.9, 10.8, 557.7, 228.3, 998.0, 888.8, 119.6, 0.3, 0.6, 557.6, 339.3, 888.0, 998.5, 778.9, 10.2, 117.6, 228.9, 668.4, 449.2, 0.2}
	var points []point
	for i := range x {
		points = append(points, point{Volts: garden.Volts(x[i] / 1000), Water: garden.WaterFraction(y[i] / 1000)})
	}
	c, err := NewCurve(calibrate(garden.LeastSquares, points...))
	require.NoError(t, err)
	assert.InDelta(t, 1.00211681802045, c.slope, 1e-12)
	assert.InDelta(t, -0.262323073774029e-3, c.intercept, 1e-14)
	// The certified residual deviation divides by n-2, the RMSE by n.
	assert.InDelta(t, 0.884796396144373e-3*math.Sqrt(34.0/36), c.RMSE(), 1e-13)
}

// Slopes at the points are weighted harmonic means (Fritsch & Butland 1984), the
// pieces Hermite cubics: computed independently in exact fractions.
func TestInterpolatedAgainstExactFractions(t *testing.T) {
	points := []point{{Volts: 2.7, Water: 0.02}, {Volts: 1.4, Water: 0.70}, {Volts: 2.1, Water: 0.20}, {Volts: 1.6, Water: 0.45}}
	c, err := NewCurve(calibrate(garden.Interpolated, points...))
	require.NoError(t, err)
	for v, want := range map[float64]float64{
		1.45: 0.6268876164596273,
		1.55: 0.49673427795031055,
		1.8:  0.3253547958845005,
		2.0:  0.23800929306339197,
		2.3:  0.12823039555863983,
		2.6:  0.041342817487855656,
		1.4:  0.70, 1.6: 0.45, 2.1: 0.20, 2.7: 0.02,
		1.3: 0.825, 2.75: 0.005, // straight on by the outermost pairs of points
	} {
		w, _ := c.Water(garden.Volts(v))
		assert.InDelta(t, want, float64(w), 1e-12, "%g V", v)
	}
}

func TestLinearOffsetAndTemperature(t *testing.T) {
	c, err := NewCurve(garden.Calibration{Kind: garden.Linear, Slope: -0.5, Intercept: 1.3, OffsetWater: 0.02, TempCoeff: -0.0012, TempRefC: 20})
	require.NoError(t, err)
	w, _ := c.Water(1.6)
	assert.InDelta(t, 0.52, float64(w), 1e-12, "without a temperature nothing is corrected")
	w, _ = c.WaterAt(1.6, garden.Known(30))
	assert.InDelta(t, 0.532, float64(w), 1e-12, "a warm probe reads low by 0.0012 per °C, so water is added")
	_, outside := c.Water(2.7)
	assert.InDelta(t, 0.1, outside, 1e-12, "the span of a given line is where water is 0 to 1")
}

func TestNewCurveRefuses(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	ok := point{Volts: 2, Water: 0.3}
	for _, c := range []struct {
		name string
		cal  garden.Calibration
		want string
	}{
		{"an unknown kind", garden.Calibration{Kind: "spline"}, "unknown kind"},
		{"one point", calibrate(garden.TwoPoint, ok), "1 points, expected exactly 2"},
		{"three for two", calibrate(garden.TwoPoint, ok, point{Volts: 1}, point{Volts: 3}), "3 points, expected exactly 2"},
		{"two for a curve", calibrate(garden.Interpolated, ok, point{Volts: 1}), "2 points, expected 3 or more"},
		{"one for a fit", calibrate(garden.LeastSquares, ok), "1 points, expected 2 or more"},
		{"volts NaN", calibrate(garden.TwoPoint, ok, point{Volts: garden.Volts(nan)}), "point 2: NaN V"},
		{"water infinite", calibrate(garden.TwoPoint, ok, point{Volts: 1, Water: garden.WaterFraction(inf)}), "point 2: water fraction"},
		{"percent", calibrate(garden.TwoPoint, ok, point{Volts: 1, Water: 35}), "35 % is 0.35"},
		{"negative volts", calibrate(garden.TwoPoint, ok, point{Volts: -0.1}), "-0.1 V, expected 0 to 5.5"},
		{"the same volts", calibrate(garden.TwoPoint, ok, point{Volts: 2, Water: 0.5}), "all points lie at 2 V"},
		{"the same volts in a fit", calibrate(garden.LeastSquares, ok, ok, ok), "all points lie at 2 V"},
		{"two at one voltage", calibrate(garden.Interpolated, ok, point{Volts: 2.001, Water: 0.31}, point{Volts: 1, Water: 0.6}), "two points at 2 V"},
		{"the same water", calibrate(garden.TwoPoint, ok, point{Volts: 1, Water: 0.3}), "water 0.3 at both"},
		{"not monotone", calibrate(garden.Interpolated, point{Volts: 1, Water: 0.6}, ok, point{Volts: 2.2, Water: 0.35}, point{Volts: 2.6, Water: 0.05}), "not monotone: from 2 V to 2.2 V"},
		{"a level fit", calibrate(garden.LeastSquares, ok, point{Volts: 1, Water: 0.3}), "does not change"},
		{"no slope", garden.Calibration{Kind: garden.Linear, Intercept: 1}, "a slope that is not zero"},
		{"slope NaN", garden.Calibration{Kind: garden.Linear, Slope: nan}, "expected finite"},
		{"a slope of nearly nothing", garden.Calibration{Kind: garden.Linear, Slope: 1e-320, Intercept: 1}, "no span"},
		{"offset infinite", garden.Calibration{Kind: garden.Linear, Slope: 1, OffsetWater: inf}, "offset"},
		{"coefficient in percent", garden.Calibration{Kind: garden.Linear, Slope: 1, TempCoeff: 0.12}, "temperature coefficient"},
		{"reference NaN", garden.Calibration{Kind: garden.Linear, Slope: 1, TempRefC: nan}, "reference temperature"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := NewCurve(c.cal)
			require.ErrorContains(t, err, c.want)
			assert.NotErrorIs(t, err, ErrNoCalibration)
		})
	}
	_, err := NewCurve(garden.Calibration{})
	assert.ErrorIs(t, err, ErrNoCalibration)
}

func TestWaterOfNoVoltage(t *testing.T) {
	c, err := NewCurve(garden.Calibration{Kind: garden.Linear, Slope: -0.5, Intercept: 1.3})
	require.NoError(t, err)
	for _, v := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		_, outside := c.Water(garden.Volts(v))
		assert.True(t, math.IsInf(outside, 1))
	}
}

// Monotone in, monotone out; through every point; never outside the points'
// water within their span.
func TestInterpolatedStaysMonotone(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(3, 12).Draw(t, "n")
		points := make([]point, n)
		v, w := 0.2, 0.98
		for i := range points {
			points[i] = point{Volts: garden.Volts(v), Water: garden.WaterFraction(w)}
			v += rapid.Float64Range(0.003, 0.4).Draw(t, "step V")
			w -= rapid.Float64Range(1e-4, 0.08).Draw(t, "step θ")
		}
		c, err := NewCurve(calibrate(garden.Interpolated, points...))
		require.NoError(t, err)
		for _, p := range points {
			got, outside := c.Water(p.Volts)
			assert.InDelta(t, float64(p.Water), float64(got), 1e-9)
			assert.Zero(t, outside)
		}
		last := garden.WaterFraction(2)
		for i := range 400 {
			got, _ := c.Water(garden.Volts(5.5 * float64(i) / 400))
			if got > last+1e-12 {
				t.Fatalf("rises at %g V", 5.5*float64(i)/400)
			}
			last = got
		}
	})
}

func TestWaterAllocatesNothing(t *testing.T) {
	c, err := NewCurve(calibrate(garden.Interpolated, point{Volts: 1, Water: 0.6}, point{Volts: 2, Water: 0.3}, point{Volts: 3, Water: 0.1}))
	require.NoError(t, err)
	assert.Zero(t, testing.AllocsPerRun(100, func() { c.WaterAt(1.7, garden.Known(25)) }))
}
