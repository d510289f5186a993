package calibrate

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"sort"

	"fabricpot/control/garden"
)

// Point is what a probe said beside what was true.
type Point struct {
	// Probe names the probe; empty is one nameless probe.
	Probe garden.ProbeID
	Volts garden.Volts
	Water garden.WaterFraction
	// TempC is the mix temperature then, where it was measured.
	TempC garden.Measured
}

// Refusals of a set of points. Errors wrap one of them and say which points.
var (
	// ErrTooFew: no curve can be drawn.
	ErrTooFew = errors.New("too few points")
	// ErrTooNarrow: the points span too little to say anything beyond them.
	ErrTooNarrow = errors.New("the points span too little")
	// ErrNotMonotone: water does not keep falling, or rising, with the voltage.
	ErrNotMonotone = errors.New("not monotone")
	// ErrProbesDiffer: a probe is too far from the others to share their shape.
	ErrProbesDiffer = errors.New("the probes differ too much")
)

const (
	maxPoints = 500
	maxV      = 5.5
	// leastSpanWater and leastSpanV are the narrowest sets accepted: half the
	// way between a usual refill point and capacity.
	leastSpanWater = 0.10
	leastSpanV     = 0.10
	// sameV is the distance of two readings that cannot be told apart, about
	// the noise of a burst's median.
	sameV = 0.002
	// toleratedTurn is how far a pair of points may run against the others
	// before it is a mistake and no scatter: the accuracy hoped for.
	toleratedTurn = 0.03
)

func (p Point) check() error {
	v, w := float64(p.Volts), float64(p.Water)
	switch {
	case !garden.Finite(v) || v < 0 || v > maxV:
		return fmt.Errorf("%g V, expected 0 to %g", v, maxV)
	case !garden.Finite(w) || w < 0 || w > 1:
		return fmt.Errorf("water fraction %g, expected 0 to 1 (35 %% is 0.35)", w)
	case p.TempC.Known && (!garden.Finite(p.TempC.Value) || p.TempC.Value < -20 || p.TempC.Value > 70):
		return fmt.Errorf("%g °C, expected -20 to 70", p.TempC.Value)
	}
	return nil
}

// judge refuses sets from which no curve should be drawn, with the reason. It
// returns the points by rising voltage.
func judge(points []Point) ([]Point, error) {
	switch n := len(points); {
	case n < 2:
		return nil, fmt.Errorf("%w: %d, expected 2 or more", ErrTooFew, n)
	case n > maxPoints:
		return nil, fmt.Errorf("%d points, expected at most %d", n, maxPoints)
	}
	for i, p := range points {
		if err := p.check(); err != nil {
			return nil, fmt.Errorf("point %d: %w", i+1, err)
		}
	}
	ps := slices.Clone(points)
	sort.SliceStable(ps, func(i, k int) bool { return ps[i].Volts < ps[k].Volts })
	lo, hi := waterSpan(ps)
	first, last := ps[0], ps[len(ps)-1]
	if hi-lo < leastSpanWater {
		return nil, fmt.Errorf("%w: water from %.3f to %.3f, expected %.2f or more between the driest and the wettest point", ErrTooNarrow, lo, hi, leastSpanWater)
	}
	if span := float64(last.Volts - first.Volts); span < leastSpanV {
		return nil, fmt.Errorf("%w: readings from %.4g to %.4g V, expected %.2g V or more: is the probe in the mix, and connected?", ErrTooNarrow, float64(first.Volts), float64(last.Volts), leastSpanV)
	}
	for _, of := range probesOf(ps) {
		if err := turns(only(ps, of)); err != nil {
			if of != "" {
				return nil, fmt.Errorf("probe %s: %w", of, err)
			}
			return nil, err
		}
	}
	return ps, nil
}

// turns refuses one probe's points, sorted by voltage, where two of them run
// against the trend by more than scatter explains, and where one voltage has two
// waters.
func turns(ps []Point) error {
	sign := trend(ps)
	for i, a := range ps {
		for _, b := range ps[i+1:] {
			against := -sign * float64(b.Water-a.Water)
			if float64(b.Volts-a.Volts) < sameV {
				against = math.Abs(float64(b.Water - a.Water))
				if against > toleratedTurn {
					return fmt.Errorf("%w: two points at one reading, %.4g V, with water %.3f and %.3f: did the probe move, or was a weight mistyped?", ErrNotMonotone, float64(a.Volts), float64(a.Water), float64(b.Water))
				}
				continue
			}
			if against > toleratedTurn {
				return fmt.Errorf("%w: from %.4g V to %.4g V water goes from %.3f to %.3f, against the other points: measure these two again", ErrNotMonotone, float64(a.Volts), float64(b.Volts), float64(a.Water), float64(b.Water))
			}
		}
	}
	return nil
}

// trend is the sign of water's change with the voltage over all pairs (Kendall).
func trend(ps []Point) float64 {
	n := 0
	for i, a := range ps {
		for _, b := range ps[i+1:] {
			switch {
			case b.Volts == a.Volts || b.Water == a.Water:
			case (b.Water > a.Water) == (b.Volts > a.Volts):
				n++
			default:
				n--
			}
		}
	}
	if n > 0 {
		return 1
	}
	return -1
}

func waterSpan(ps []Point) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, p := range ps {
		lo, hi = min(lo, float64(p.Water)), max(hi, float64(p.Water))
	}
	return lo, hi
}

// probesOf names the probes in the order they first appear.
func probesOf(ps []Point) []garden.ProbeID {
	var out []garden.ProbeID
	for _, p := range ps {
		if !slices.Contains(out, p.Probe) {
			out = append(out, p.Probe)
		}
	}
	slices.Sort(out)
	return out
}

func only(ps []Point, probe garden.ProbeID) []Point {
	var out []Point
	for _, p := range ps {
		if p.Probe == probe {
			out = append(out, p)
		}
	}
	return out
}
