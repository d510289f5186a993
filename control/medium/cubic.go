package medium

import "gonum.org/v1/gonum/interp"

// cubic is a monotone cubic through knots (Fritsch & Butland 1984, by gonum), looked up
// without a search through all of them: each probe of a garden asks once a tick. It is
// immutable.
type cubic struct {
	knots []knot
	// above tells for equal parts of the knots' span which knot is the first over the
	// part's begin; parts is how many there are to a unit of x.
	above  []uint16
	parts  float64
	x0     float64 // the first knot's
	toPart int     // the last part's number
}

// knot is where a piece begins, and its polynomial in the distance from there.
type knot struct{ x, a, b, c, d float64 }

// fit makes it from two or more knots, x rising.
func (q *cubic) fit(xs, ys []float64) error {
	var f interp.FritschButland
	if err := f.Fit(xs, ys); err != nil {
		return err
	}
	last := len(xs) - 1
	q.knots = make([]knot, last+1)
	for i := range last {
		// As gonum makes them of its slopes at the knots.
		dx, dy := xs[i+1]-xs[i], ys[i+1]-ys[i]
		from, to := f.PredictDerivative(xs[i]), f.PredictDerivative(xs[i+1])
		q.knots[i] = knot{xs[i], ys[i], from, (3*dy - (2*from+to)*dx) / dx / dx, (-2*dy + (from+to)*dx) / dx / dx / dx}
	}
	q.knots[last] = knot{x: xs[last], a: ys[last]}
	q.above = make([]uint16, 2*len(xs))
	q.x0, q.toPart = xs[0], len(q.above)-1
	q.parts = float64(len(q.above)) / (xs[last] - xs[0])
	k := 0
	for i := range q.above {
		for k < last && q.part(xs[k]) < i {
			k++
		}
		q.above[i] = uint16(k)
	}
	return nil
}

// part is the number of the part that holds x, which must lie in the span.
func (q *cubic) part(x float64) int {
	return min(int((x-q.x0)*q.parts), q.toPart)
}

// at is the value at x, which must lie between the first knot and the last.
func (q *cubic) at(x float64) float64 {
	// All knots below this one lie in earlier parts, and so under x.
	i := int(q.above[q.part(x)])
	for i < len(q.knots) && q.knots[i].x <= x {
		i++
	}
	k := &q.knots[max(i-1, 0)]
	dx := x - k.x
	return ((k.d*dx+k.c)*dx+k.b)*dx + k.a
}
