package calibrate

import (
	"errors"
	"fmt"
	"math"
	"time"

	"fabricpot/control/garden"

	"gonum.org/v1/gonum/mat"
)

// ErrNoCoefficient tells that nothing can be said of the temperature's effect.
var ErrNoCoefficient = errors.New("no temperature coefficient")

// NightSample is one reading of a probe at night, with no coefficient applied.
type NightSample struct {
	At    time.Time
	Water garden.WaterFraction
	TempC float64
}

// Night is the samples of one night without water or rain, in order.
type Night []NightSample

// Coefficient is the apparent change of water per °C and how sure it is.
type Coefficient struct {
	// PerC is in m³/m³ per °C, StdErr its standard error.
	PerC, StdErr float64
	Nights       int
	// SpanC is the mean range of temperature within a night, °C.
	SpanC float64
}

// Limits of learning a coefficient. Small ones are left at nothing: literature
// does not agree even on their sign, so the default is none.
const (
	leastNights  = 4
	leastSamples = 8
	leastSpanC   = 2.0
	maxPerC      = 0.01
	sureness     = 3.0
)

// LearnTemperature finds the coefficient from nights in which the true water
// hardly moved. Each night has a level and a slow steady loss of its own; what
// is left over is laid to the temperature, by least squares over all nights, and
// the spread between nights gives the error. Too few nights, nights without a
// change of temperature other than a steady one, a coefficient within three
// standard errors of nothing and one too large to be true are refused, wrapping
// ErrNoCoefficient.
func LearnTemperature(nights []Night) (Coefficient, error) {
	var c Coefficient
	var ks, ws []float64
	for _, n := range nights {
		k, w, span, ok := n.slope()
		if !ok {
			continue
		}
		ks, ws = append(ks, k), append(ws, w)
		c.SpanC += span
		c.Nights++
	}
	if c.Nights < leastNights {
		return c, fmt.Errorf("%w: %d usable nights, expected %d or more, each with %d readings, no water and temperatures %g °C apart", ErrNoCoefficient, c.Nights, leastNights, leastSamples, leastSpanC)
	}
	c.SpanC /= float64(c.Nights)
	var sw, swk float64
	for i, k := range ks {
		sw += ws[i]
		swk += ws[i] * k
	}
	c.PerC = swk / sw
	// The nights' own scatter: readings within a night are not independent.
	var sq float64
	for i, k := range ks {
		d := ws[i] * (k - c.PerC)
		sq += d * d
	}
	n := float64(c.Nights)
	c.StdErr = math.Sqrt(sq*n/(n-1)) / sw
	switch {
	case !garden.Finite(c.PerC) || !garden.Finite(c.StdErr):
		return c, fmt.Errorf("%w: the nights say nothing", ErrNoCoefficient)
	case math.Abs(c.PerC) > maxPerC:
		return c, fmt.Errorf("%w: %+.4f m³/m³ per °C, expected at most %.2f: were the nights without water?", ErrNoCoefficient, c.PerC, maxPerC)
	case math.Abs(c.PerC) < sureness*c.StdErr:
		return c, fmt.Errorf("%w: %+.4f ± %.4f m³/m³ per °C is too unsure", ErrNoCoefficient, c.PerC, c.StdErr)
	}
	return c, nil
}

// slope is one night's change per °C beside a steady loss, its weight (the
// temperature's variation that time does not explain) and the range of °C.
func (n Night) slope() (perC, weight, spanC float64, ok bool) {
	if len(n) < leastSamples {
		return 0, 0, 0, false
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	m := mat.NewDense(len(n), 2, nil)
	temps, waters := mat.NewVecDense(len(n), nil), mat.NewVecDense(len(n), nil)
	for i, s := range n {
		if !garden.Finite(s.TempC) || !garden.Finite(float64(s.Water)) {
			return 0, 0, 0, false
		}
		lo, hi = min(lo, s.TempC), max(hi, s.TempC)
		m.SetRow(i, []float64{1, s.At.Sub(n[0].At).Hours()})
		temps.SetVec(i, s.TempC)
		waters.SetVec(i, float64(s.Water))
	}
	if hi-lo < leastSpanC {
		return 0, 0, 0, false
	}
	// Both freed of level and steady change (Frisch and Waugh 1933).
	if !detrend(m, temps) || !detrend(m, waters) {
		return 0, 0, 0, false
	}
	weight = mat.Dot(temps, temps)
	const leastWeight = 0.02 // °C² per reading: a curve in time, not noise
	if weight < leastWeight*float64(len(n)) {
		return 0, 0, 0, false
	}
	return mat.Dot(temps, waters) / weight, weight, hi - lo, true
}

func detrend(m *mat.Dense, y *mat.VecDense) bool {
	var k, fitted mat.VecDense
	if err := k.SolveVec(m, y); err != nil {
		return false
	}
	fitted.MulVec(m, &k)
	y.SubVec(y, &fitted)
	return true
}
