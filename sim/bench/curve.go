package bench

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"sort"

	"fabricpot/control/garden"

	"gonum.org/v1/gonum/interp"
	"gonum.org/v1/gonum/mat"
)

// curve is the hidden truth of a probe: the voltage it gives at a true water
// fraction. It is made here from the garden's calibration by inverting it, apart
// from the code under test, which turns volts into water.
type curve struct {
	// water rises strictly; volt belongs to it. Two nodes make a line.
	water, volt []float64
	// lo and hi are the voltages between which the probe's circuit can move.
	lo, hi float64
	// air is the voltage in free air, a little drier than any mix.
	air                 float64
	tempCoeff, tempRefC float64
	// last is the node over the water last asked for, 0 before.
	last int
}

// Limits of a probe's output stage on 3.3 V. Invented, but inside the rails as
// every such circuit's are.
const (
	stageLoV = 0.15
	stageHiV = 3.05
)

// generic is the probe of a garden that has no calibration; invented numbers.
var generic = [...]garden.CalibrationPoint{{Volts: 2.6, Water: 0}, {Volts: 1.0, Water: 0.8}}

// invert makes the truth of a calibration. TempCoeff is taken as the change of
// apparent water per °C above TempRefC.
func invert(c garden.Calibration) (curve, error) {
	nodes, err := nodesOf(c)
	if err != nil {
		return curve{}, fmt.Errorf("calibration %q: %w", c.Kind, err)
	}
	sort.Slice(nodes, func(i, k int) bool { return nodes[i].Water < nodes[k].Water })
	t := curve{lo: stageLoV, hi: stageHiV, tempCoeff: c.TempCoeff, tempRefC: c.TempRefC}
	for i, n := range nodes {
		w, v := float64(n.Water)+c.OffsetWater, float64(n.Volts)
		if !garden.Finite(w) || !garden.Finite(v) {
			return curve{}, errors.New("a point is not finite")
		}
		if i > 0 && w <= t.water[len(t.water)-1] {
			return curve{}, fmt.Errorf("two voltages share water fraction %.3g", w)
		}
		t.water, t.volt = append(t.water, w), append(t.volt, v)
	}
	for _, p := range c.Points {
		t.lo, t.hi = min(t.lo, float64(p.Volts)), max(t.hi, float64(p.Volts))
	}
	t.air = t.volts(-0.03)
	return t, nil
}

func nodesOf(c garden.Calibration) ([]garden.CalibrationPoint, error) {
	line := func(slope, intercept float64) ([]garden.CalibrationPoint, error) {
		if slope == 0 || !garden.Finite(slope) || !garden.Finite(intercept) {
			return nil, fmt.Errorf("slope %g and intercept %g make no curve", slope, intercept)
		}
		return []garden.CalibrationPoint{
			{Volts: garden.Volts(-intercept / slope), Water: 0},
			{Volts: garden.Volts((1 - intercept) / slope), Water: 1},
		}, nil
	}
	switch c.Kind {
	case garden.NoCurve:
		return slices.Clone(generic[:]), nil
	case garden.Linear:
		return line(c.Slope, c.Intercept)
	case garden.TwoPoint:
		if len(c.Points) != 2 {
			return nil, fmt.Errorf("%d points, expected 2", len(c.Points))
		}
		return slices.Clone(c.Points), nil
	case garden.LeastSquares:
		// The normal equations of a straight line.
		var n, sv, sw, svv, svw float64
		for _, p := range c.Points {
			v, w := float64(p.Volts), float64(p.Water)
			n, sv, sw, svv, svw = n+1, sv+v, sw+w, svv+v*v, svw+v*w
		}
		det := n*svv - sv*sv
		if n < 2 || det <= 0 {
			return nil, errors.New("fewer than two different voltages")
		}
		slope := (n*svw - sv*sw) / det
		return line(slope, (sw-slope*sv)/n)
	case garden.Interpolated:
		return refine(c.Points)
	case garden.Quadratic:
		return bend(c.Points, func(v float64) []float64 { return []float64{1, v, v * v} })
	case garden.Inverse:
		return bend(c.Points, func(v float64) []float64 { return []float64{1, 1 / v} })
	}
	return nil, errors.New("unknown kind")
}

// bend samples the least squares curve with that basis between the points'
// outermost voltages, by the normal equations.
func bend(points []garden.CalibrationPoint, basis func(v float64) []float64) ([]garden.CalibrationPoint, error) {
	if len(points) == 0 {
		return nil, errors.New("no points")
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, p := range points {
		lo, hi = min(lo, float64(p.Volts)), max(hi, float64(p.Volts))
	}
	n := len(basis(1))
	normal, right := mat.NewDense(n, n, nil), mat.NewVecDense(n, nil)
	for _, p := range points {
		b := mat.NewVecDense(n, basis(float64(p.Volts)))
		var outer mat.Dense
		outer.Outer(1, b, b)
		normal.Add(normal, &outer)
		right.AddScaledVec(right, float64(p.Water), b)
	}
	var k mat.VecDense
	if err := k.SolveVec(normal, right); err != nil || lo == hi {
		return nil, errors.New("too few different voltages")
	}
	const pieces = 256
	out := make([]garden.CalibrationPoint, 0, pieces+1)
	for i := range pieces + 1 {
		v := lo + (hi-lo)*float64(i)/pieces
		out = append(out, garden.CalibrationPoint{
			Volts: garden.Volts(v),
			Water: garden.WaterFraction(mat.Dot(&k, mat.NewVecDense(n, basis(v)))),
		})
	}
	up := out[pieces].Water > out[0].Water
	for i := 1; i <= pieces; i++ {
		if (out[i].Water > out[i-1].Water) != up {
			return nil, fmt.Errorf("the curve turns at %.3g V", float64(out[i].Volts))
		}
	}
	return out, nil
}

// refine samples the monotone cubic through the points densely enough to be
// inverted by straight lines (Fritsch and Butland 1984, from gonum).
func refine(points []garden.CalibrationPoint) ([]garden.CalibrationPoint, error) {
	ps := slices.Clone(points)
	sort.Slice(ps, func(i, k int) bool { return ps[i].Volts < ps[k].Volts })
	xs, ys := make([]float64, len(ps)), make([]float64, len(ps))
	for i, p := range ps {
		xs[i], ys[i] = float64(p.Volts), float64(p.Water)
		if i > 0 && !(xs[i] > xs[i-1]) || math.IsNaN(xs[i]+ys[i]) {
			return nil, errors.New("voltages are not distinct numbers")
		}
	}
	if len(ps) < 3 {
		return nil, fmt.Errorf("%d points, expected 3 or more", len(ps))
	}
	var cubic interp.FritschButland
	if err := cubic.Fit(xs, ys); err != nil {
		return nil, err
	}
	const per = 32
	out := []garden.CalibrationPoint{ps[0]}
	for i := 1; i < len(ps); i++ {
		for k := 1; k <= per; k++ {
			v := xs[i-1] + (xs[i]-xs[i-1])*float64(k)/per
			out = append(out, garden.CalibrationPoint{Volts: garden.Volts(v), Water: garden.WaterFraction(cubic.Predict(v))})
		}
	}
	// A flat end of the cubic could give two nodes of one water fraction.
	return slices.CompactFunc(out, func(a, b garden.CalibrationPoint) bool { return a.Water == b.Water }), nil
}

// volts is the output at a water fraction, going straight on beyond the first
// and last node as far as the output stage goes.
func (c *curve) volts(water float64) float64 {
	i := c.last
	// Water hardly moves from one look to the next.
	if last := len(c.water) - 1; i == 0 || i > 1 && c.water[i-1] >= water || i < last && c.water[i] < water {
		i, _ = slices.BinarySearch(c.water, water)
		i = max(1, min(i, last))
		c.last = i
	}
	w0, w1 := c.water[i-1], c.water[i]
	v := c.volt[i-1] + (c.volt[i]-c.volt[i-1])*(water-w0)/(w1-w0)
	if v > c.hi {
		v = c.hi
	}
	if v < c.lo {
		v = c.lo
	}
	return v
}
