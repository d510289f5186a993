package sensors

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"sort"

	"fabricpot/control/garden"

	"gonum.org/v1/gonum/interp"
	"gonum.org/v1/gonum/stat"
)

// ErrNoCalibration: the calibration says nothing that makes a curve.
var ErrNoCalibration = errors.New("no calibration")

// Limits of a believable calibration point. A probe's output lies between ground
// and the converter's largest supply.
const maxPointV = 5.5

// Curve turns a probe's volts into water fraction. It is immutable.
type Curve struct {
	// A straight line, θ = intercept + slope·V, unless cubic or bent is set.
	slope, intercept float64
	// bent serves between lo and hi and goes straight on by its tangents.
	bent *bent
	// cubic serves between lo and hi; beyond them the secant of the last pair of
	// points goes on, since a monotone cubic may be flat at its ends.
	cubic                     *interp.FritschButland
	loTheta, loSlope          float64
	hiTheta, hiSlope          float64
	lo, hi                    float64
	offset, tempCoeff, tempC0 float64
	rmse                      float64
	// measured tells that lo and hi are calibration points, not arithmetic.
	measured bool
}

// NewCurve makes the curve of a calibration.
//
//   - TwoPoint: the line through exactly two points.
//   - Interpolated: a monotone cubic through three or more (Fritsch & Butland
//     1984, SIAM J. Sci. Stat. Comput. 5:300-304, by gonum). Refused where water
//     does not keep falling, or keep rising, with the voltage.
//   - LeastSquares: the line of smallest squared error in water, two or more points.
//   - Quadratic: the parabola of smallest squared error, three or more points;
//     refused where it turns between them.
//   - Inverse: θ = a + b/V of smallest squared error, two or more points.
//   - Linear: slope and intercept as given.
//
// OffsetWater is added to the result. TempCoeff is the apparent change of water
// per °C, so WaterAt takes TempCoeff·(T-TempRefC) away again.
//
// Anything not finite, a point outside 0 to 5.5 V or 0 to 1 m³/m³, two points at
// one voltage and a curve without slope are errors that name the point.
// ErrNoCalibration marks an empty Kind.
func NewCurve(c garden.Calibration) (*Curve, error) {
	curve := &Curve{offset: c.OffsetWater, tempCoeff: c.TempCoeff, tempC0: c.TempRefC}
	switch {
	case !garden.Finite(c.OffsetWater) || math.Abs(c.OffsetWater) > 1:
		return nil, fmt.Errorf("calibration: offset %g, expected -1 to 1 m³/m³", c.OffsetWater)
	case !garden.Finite(c.TempCoeff) || math.Abs(c.TempCoeff) > 0.1:
		return nil, fmt.Errorf("calibration: temperature coefficient %g, expected -0.1 to 0.1 m³/m³ per °C", c.TempCoeff)
	case !garden.Finite(c.TempRefC) || math.Abs(c.TempRefC) > 100:
		return nil, fmt.Errorf("calibration: reference temperature %g °C, expected -100 to 100", c.TempRefC)
	}
	var err error
	switch c.Kind {
	case garden.NoCurve:
		return nil, ErrNoCalibration
	case garden.Linear:
		err = curve.line(c.Slope, c.Intercept)
	case garden.TwoPoint, garden.LeastSquares, garden.Interpolated, garden.Quadratic, garden.Inverse:
		err = curve.fit(c.Kind, c.Points)
	default:
		err = fmt.Errorf("unknown kind, expected %s, %s, %s, %s, %s or %s", garden.TwoPoint, garden.Interpolated, garden.LeastSquares, garden.Quadratic, garden.Inverse, garden.Linear)
	}
	if err != nil {
		return nil, fmt.Errorf("calibration %q: %w", c.Kind, err)
	}
	return curve, nil
}

// line takes a given line; its span is where water is 0 to 1.
func (c *Curve) line(slope, intercept float64) error {
	if !garden.Finite(slope) || !garden.Finite(intercept) || slope == 0 {
		return fmt.Errorf("slope %g and intercept %g, expected finite numbers and a slope that is not zero", slope, intercept)
	}
	dry, wet := -intercept/slope, (1-intercept)/slope
	if !garden.Finite(dry) || !garden.Finite(wet) || dry == wet {
		return fmt.Errorf("slope %g and intercept %g give no span of volts", slope, intercept)
	}
	c.slope, c.intercept = slope, intercept
	c.lo, c.hi = min(dry, wet), max(dry, wet)
	return nil
}

func (c *Curve) fit(kind garden.CalibrationKind, points []garden.CalibrationPoint) error {
	ps, err := sorted(kind, points)
	if err != nil {
		return err
	}
	xs, ys := make([]float64, len(ps)), make([]float64, len(ps))
	for i, p := range ps {
		xs[i], ys[i] = float64(p.Volts), float64(p.Water)
	}
	last := len(xs) - 1
	c.lo, c.hi, c.measured = xs[0], xs[last], true
	if kind == garden.Interpolated {
		c.cubic = &interp.FritschButland{}
		if err := c.cubic.Fit(xs, ys); err != nil {
			return err
		}
		c.loTheta, c.loSlope = ys[0], (ys[1]-ys[0])/(xs[1]-xs[0])
		c.hiTheta, c.hiSlope = ys[last], (ys[last]-ys[last-1])/(xs[last]-xs[last-1])
		return nil
	}
	if kind == garden.Quadratic || kind == garden.Inverse {
		b, err := newBent(kind, xs, ys)
		if err != nil {
			return err
		}
		c.bent = b
		c.rmse = rmse(xs, ys, b.at)
		c.loTheta, c.loSlope = b.at(c.lo), b.slope(c.lo)
		c.hiTheta, c.hiSlope = b.at(c.hi), b.slope(c.hi)
		return nil
	}
	c.intercept, c.slope = stat.LinearRegression(xs, ys, nil, false)
	if !garden.Finite(c.slope) || !garden.Finite(c.intercept) || c.slope == 0 {
		return errors.New("water does not change with the voltage, so no line can be drawn")
	}
	c.rmse = rmse(xs, ys, func(x float64) float64 { return c.intercept + c.slope*x })
	return nil
}

// rmse is the root mean square distance of points from a curve.
func rmse(xs, ys []float64, at func(float64) float64) float64 {
	var sq float64
	for i := range xs {
		r := at(xs[i]) - ys[i]
		sq += r * r
	}
	return math.Sqrt(sq / float64(len(xs)))
}

// minStepV is the least distance of two calibration points that are to be told
// apart, about the noise of a burst's median.
const minStepV = 0.002

// sorted checks the points and returns them by rising voltage.
func sorted(kind garden.CalibrationKind, points []garden.CalibrationPoint) ([]garden.CalibrationPoint, error) {
	least, most := 2, math.MaxInt
	switch kind {
	case garden.TwoPoint:
		most = 2
	case garden.Interpolated, garden.Quadratic:
		least = 3
	}
	if len(points) < least || len(points) > most {
		want := fmt.Sprintf("%d or more", least)
		if most == least {
			want = fmt.Sprint("exactly ", least)
		}
		return nil, fmt.Errorf("%d points, expected %s", len(points), want)
	}
	for i, p := range points {
		if err := checkPoint(p); err != nil {
			return nil, fmt.Errorf("point %d: %w", i+1, err)
		}
	}
	ps := slices.Clone(points)
	sort.SliceStable(ps, func(i, k int) bool { return ps[i].Volts < ps[k].Volts })
	if spread := float64(ps[len(ps)-1].Volts - ps[0].Volts); spread < minStepV {
		return nil, fmt.Errorf("all points lie at %.4g V, expected voltages at least %g V apart: did the probe move?", float64(ps[0].Volts), minStepV)
	}
	if kind == garden.LeastSquares || kind == garden.Quadratic || kind == garden.Inverse {
		return ps, nil // repeated and scattered points are what it is for
	}
	rising := ps[len(ps)-1].Water > ps[0].Water
	for i := 1; i < len(ps); i++ {
		a, b := ps[i-1], ps[i]
		switch {
		case float64(b.Volts-a.Volts) < minStepV:
			return nil, fmt.Errorf("two points at %.4g V (water %.3g and %.3g), expected different voltages: average them or use %s", float64(a.Volts), float64(a.Water), float64(b.Water), garden.LeastSquares)
		case a.Water == b.Water:
			return nil, fmt.Errorf("water %.3g at both %.4g V and %.4g V, expected it to change with the voltage", float64(a.Water), float64(a.Volts), float64(b.Volts))
		case (b.Water > a.Water) != rising:
			return nil, fmt.Errorf("not monotone: from %.4g V to %.4g V water goes from %.3g to %.3g, against the other points: measure these again or use %s", float64(a.Volts), float64(b.Volts), float64(a.Water), float64(b.Water), garden.LeastSquares)
		}
	}
	return ps, nil
}

func checkPoint(p garden.CalibrationPoint) error {
	switch v, w := float64(p.Volts), float64(p.Water); {
	case !garden.Finite(v) || v < 0 || v > maxPointV:
		return fmt.Errorf("%g V, expected 0 to %g", v, maxPointV)
	case !garden.Finite(w) || w < 0:
		return fmt.Errorf("water fraction %g, expected 0 to 1", w)
	case w > 1:
		return fmt.Errorf("water fraction %g, expected 0 to 1 (35 %% is 0.35)", w)
	}
	return nil
}

// Water is the water fraction at a voltage, 0 to 1, and how many volts outside
// the calibrated span that voltage lies, 0 inside. Beyond the span the curve
// goes straight on. A voltage that is not finite is infinitely far outside.
func (c *Curve) Water(v garden.Volts) (w garden.WaterFraction, outsideV float64) {
	return c.WaterAt(v, garden.Measured{})
}

// WaterAt is Water corrected for the mix temperature in °C, where it is known and
// the calibration has a coefficient.
func (c *Curve) WaterAt(v garden.Volts, tempC garden.Measured) (w garden.WaterFraction, outsideV float64) {
	x := float64(v)
	if !garden.Finite(x) {
		return 0, math.Inf(1)
	}
	switch {
	case x < c.lo:
		outsideV = c.lo - x
	case x > c.hi:
		outsideV = x - c.hi
	}
	var theta float64
	switch {
	case c.cubic == nil && c.bent == nil:
		theta = c.intercept + c.slope*x
	case x < c.lo:
		theta = c.loTheta + c.loSlope*(x-c.lo)
	case x > c.hi:
		theta = c.hiTheta + c.hiSlope*(x-c.hi)
	case c.bent != nil:
		theta = c.bent.at(x)
	default:
		theta = c.cubic.Predict(x)
	}
	theta += c.offset
	if tempC.Known {
		theta -= c.tempCoeff * (tempC.Value - c.tempC0)
	}
	return garden.WaterFraction(garden.Share(theta)), outsideV
}

// Span is the calibrated range of volts.
func (c *Curve) Span() (lo, hi garden.Volts) { return garden.Volts(c.lo), garden.Volts(c.hi) }

// falls reports whether water falls as volts rise, as with most probes.
func (c *Curve) falls() bool {
	if c.cubic != nil || c.bent != nil {
		return c.hiTheta < c.loTheta
	}
	return c.slope < 0
}

// RMSE is the root mean square distance in water of the points from a fitted
// line, parabola or inverse; 0 for curves that pass through their points.
func (c *Curve) RMSE() float64 { return c.rmse }
