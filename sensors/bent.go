package sensors

import (
	"errors"
	"fmt"

	"fabricpot/control/garden"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
)

// bent is a fitted curve of few parameters: a parabola in V - mid, or a + b/V.
type bent struct {
	inverse bool
	mid     float64
	a, b, c float64
}

// leastInverseV keeps one over the voltage within reason.
const leastInverseV = 0.05

// newBent fits by least squares in water. Points are sorted by voltage.
func newBent(kind garden.CalibrationKind, xs, ys []float64) (*bent, error) {
	if kind == garden.Inverse {
		return newInverse(xs, ys)
	}
	// Centred, so that the columns are far from parallel.
	q := &bent{mid: (xs[0] + xs[len(xs)-1]) / 2}
	m := mat.NewDense(len(xs), 3, nil)
	for i, x := range xs {
		d := x - q.mid
		m.SetRow(i, []float64{1, d, d * d})
	}
	var k mat.VecDense
	if err := k.SolveVec(m, mat.NewVecDense(len(ys), ys)); err != nil {
		return nil, errors.New("the points lie at fewer than three different voltages, expected three or more for a parabola")
	}
	q.a, q.b, q.c = k.AtVec(0), k.AtVec(1), k.AtVec(2)
	if !garden.Finite(q.a) || !garden.Finite(q.b) || !garden.Finite(q.c) {
		return nil, errors.New("the points make no parabola")
	}
	lo, hi := q.slope(xs[0]), q.slope(xs[len(xs)-1])
	if lo*hi <= 0 {
		return nil, fmt.Errorf("not monotone: the parabola through the points turns between %.4g and %.4g V", xs[0], xs[len(xs)-1])
	}
	return q, nil
}

func newInverse(xs, ys []float64) (*bent, error) {
	if xs[0] < leastInverseV {
		return nil, fmt.Errorf("a point at %.4g V, expected %g V or more for one over the voltage", xs[0], leastInverseV)
	}
	inv := make([]float64, len(xs))
	for i, x := range xs {
		inv[i] = 1 / x
	}
	q := &bent{inverse: true}
	q.a, q.b = stat.LinearRegression(inv, ys, nil, false)
	if !garden.Finite(q.a) || !garden.Finite(q.b) || q.b == 0 {
		return nil, errors.New("water does not change with the voltage, so no curve can be drawn")
	}
	return q, nil
}

func (q *bent) at(x float64) float64 {
	if q.inverse {
		return q.a + q.b/x
	}
	d := x - q.mid
	return q.a + d*(q.b+d*q.c)
}

func (q *bent) slope(x float64) float64 {
	if q.inverse {
		return -q.b / (x * x)
	}
	return q.b + 2*q.c*(x-q.mid)
}
