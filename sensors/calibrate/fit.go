package calibrate

import (
	"fmt"
	"math"
	"slices"

	"fabricpot/control/garden"
	"fabricpot/sensors"
)

// Family is one way to draw the curve and how it did.
type Family struct {
	Kind garden.CalibrationKind
	// LOO is the root mean square error of predicting each point from the
	// others, m³/m³; absent where that cannot be done.
	LOO garden.Measured
	// Why tells why the family is out of the question.
	Why string

	errors []float64
	params int
}

// Fit is a calibration and how far to trust it.
type Fit struct {
	// Calibration is ready for the garden. Its ProbeOffsets hold the offsets of
	// named probes where there are several.
	Calibration garden.Calibration
	Kind        garden.CalibrationKind
	// Families are all that were tried, plainest first.
	Families []Family
	// RMSE is the root mean square distance of all points from the curve, m³/m³;
	// absent for two points, which leave nothing to judge by.
	RMSE garden.Measured
	// LOO is the chosen family's leave-one-out error.
	LOO garden.Measured
	// Points are those the curve was drawn from, by rising voltage.
	Points []Point
	// LoWater and HiWater are the driest and wettest point, LoV and HiV the
	// outermost readings.
	LoWater, HiWater float64
	LoV, HiV         float64
	// GapFrom and GapTo are the widest stretch of water without a point.
	GapFrom, GapTo float64
	// TempLo and TempHi are the span of temperatures, where they were measured.
	TempLo, TempHi garden.Measured
	// Warnings are in words.
	Warnings []string
}

// Limits above which a fit is warned of.
const (
	warnRMSE = 0.03
	warnGap  = 0.20
	warnTemp = 10.0
	// maxOffset is how far a probe may lie from the others' shape.
	maxOffset = 0.15
)

// Choose draws the calibration of some points. With two points it is their line.
// With more, every family that the points allow is fitted without each point in
// turn, and judged by how well it foretells that point; a family with more
// freedom is taken only where it is better by more than the standard error of
// the difference, and interpolation, which draws the noise too, by twice that. The reason for a refusal is in the error, which wraps
// ErrTooFew, ErrTooNarrow, ErrNotMonotone or ErrProbesDiffer.
func Choose(points []Point) (*Fit, error) { return draw(garden.NoCurve, points) }

// Draw is Choose with the family settled beforehand; the others are judged all
// the same. Two points make their line whatever the family.
func Draw(kind garden.CalibrationKind, points []Point) (*Fit, error) {
	switch kind {
	case garden.LeastSquares, garden.Inverse, garden.Quadratic, garden.Interpolated:
		return draw(kind, points)
	}
	return nil, fmt.Errorf("calibrate: %q cannot be fitted", kind)
}

func draw(kind garden.CalibrationKind, points []Point) (*Fit, error) {
	ps, err := judge(points)
	if err != nil {
		return nil, fmt.Errorf("calibrate: %w", err)
	}
	f := &Fit{Points: ps}
	f.describe()
	for _, k := range []struct {
		kind   garden.CalibrationKind
		params int
	}{{garden.LeastSquares, 2}, {garden.Inverse, 2}, {garden.Quadratic, 3}, {garden.Interpolated, 4}} {
		fam := Family{Kind: k.kind, params: k.params}
		fam.leaveOneOut(ps)
		f.Families = append(f.Families, fam)
	}
	switch {
	case len(ps) == 2:
		f.Kind = garden.LeastSquares
	case kind != garden.NoCurve:
		f.Kind = kind
	default:
		f.Kind = pick(f.Families)
	}
	shape, offsets, err := fit(f.Kind, ps)
	if err != nil {
		return nil, fmt.Errorf("calibrate: %w", err)
	}
	if len(ps) == 2 {
		f.Kind, shape.Kind = garden.TwoPoint, garden.TwoPoint
	}
	curve, err := sensors.NewCurve(shape)
	if err != nil {
		return nil, fmt.Errorf("calibrate: %w", err)
	}
	shape.TempRefC = 20
	if f.TempLo.Known {
		shape.TempRefC = (f.TempLo.Value + f.TempHi.Value) / 2
	}
	for id, o := range offsets {
		if math.Abs(o) > maxOffset {
			return nil, fmt.Errorf("calibrate: %w: probe %s lies %+.3f m³/m³ off the shape of the others, expected at most %.2f: calibrate it by itself", ErrProbesDiffer, id, o, maxOffset)
		}
	}
	if len(offsets) > 1 {
		shape.ProbeOffsets = offsets
	}
	f.Calibration = shape
	if len(ps) > 2 {
		var sq float64
		for _, p := range ps {
			w, _ := curve.Water(p.Volts)
			e := float64(w) + offsets[p.Probe] - float64(p.Water)
			sq += e * e
		}
		f.RMSE = garden.Known(math.Sqrt(sq / float64(len(ps))))
		for _, fam := range f.Families {
			if fam.Kind == f.Kind {
				f.LOO = fam.LOO
			}
		}
	}
	f.warn()
	return f, nil
}

// pick is the plainest family that no freer one beats clearly.
func pick(fams []Family) garden.CalibrationKind {
	best := -1
	for i := range fams {
		fam := &fams[i]
		if !fam.LOO.Known {
			continue
		}
		if best < 0 {
			best = i
			continue
		}
		b := &fams[best]
		if fam.params == b.params {
			if fam.LOO.Value < b.LOO.Value {
				best = i
			}
			continue
		}
		times := 1.0
		if fam.Kind == garden.Interpolated {
			times = 2 // it goes through every point, noise and all
		}
		if clearly(fam.errors, b.errors, times) {
			best = i
		}
	}
	if best < 0 {
		return garden.LeastSquares // two points
	}
	return fams[best].Kind
}

// clearly reports whether the errors of a are smaller than those of b by more
// than chance: the mean difference of their squares exceeds its standard error
// so many times.
func clearly(a, b []float64, times float64) bool {
	n := float64(len(a))
	var sum, sq float64
	for i := range a {
		d := b[i]*b[i] - a[i]*a[i]
		sum += d
		sq += d * d
	}
	mean := sum / n
	variance := max(0, sq/n-mean*mean) * n / max(1, n-1)
	return mean > times*math.Sqrt(variance/n)
}

// leaveOneOut foretells each point from the others.
func (f *Family) leaveOneOut(ps []Point) {
	least := map[garden.CalibrationKind]int{garden.LeastSquares: 3, garden.Inverse: 3, garden.Quadratic: 5, garden.Interpolated: 5}[f.Kind]
	if len(ps) < least {
		f.Why = fmt.Sprintf("needs %d points", least)
		return
	}
	if _, _, err := fit(f.Kind, ps); err != nil {
		f.Why = err.Error()
		return
	}
	errs := make([]float64, 0, len(ps))
	rest := make([]Point, 0, len(ps))
	var sq float64
	for i, p := range ps {
		rest = append(append(rest[:0], ps[:i]...), ps[i+1:]...)
		shape, offsets, err := fit(f.Kind, rest)
		var curve *sensors.Curve
		if err == nil {
			curve, err = sensors.NewCurve(shape)
		}
		if err != nil {
			f.Why = fmt.Sprintf("fails without the point at %.4g V: %v", float64(p.Volts), err)
			return
		}
		w, _ := curve.Water(p.Volts)
		e := float64(w) + offsets[p.Probe] - float64(p.Water)
		errs = append(errs, e)
		sq += e * e
	}
	f.errors = errs
	f.LOO = garden.Known(math.Sqrt(sq / float64(len(ps))))
}

// fit makes the shape of one kind and the offsets of the probes around it. With
// several probes the two are found in turn until they stand still, which for
// kinds fitted by least squares is the joint least squares solution.
func fit(kind garden.CalibrationKind, ps []Point) (garden.Calibration, map[garden.ProbeID]float64, error) {
	offsets := map[garden.ProbeID]float64{}
	probes := probesOf(ps)
	shape := shaped(kind, ps, offsets)
	if len(probes) == 1 {
		_, err := sensors.NewCurve(shape)
		return shape, offsets, err
	}
	const rounds, still = 60, 1e-6
	for range rounds {
		curve, err := sensors.NewCurve(shape)
		if err != nil {
			return shape, nil, err
		}
		moved, sum := 0.0, 0.0
		for _, id := range probes {
			var res, n float64
			for _, p := range ps {
				if p.Probe == id {
					w, _ := curve.Water(p.Volts)
					res += float64(p.Water) - float64(w)
					n++
				}
			}
			moved = max(moved, math.Abs(res/n-offsets[id]))
			offsets[id] = res / n
			sum += offsets[id]
		}
		// The shape is that of the mean probe.
		for _, id := range probes {
			offsets[id] -= sum / float64(len(probes))
		}
		shape = shaped(kind, ps, offsets)
		if moved < still {
			break
		}
	}
	_, err := sensors.NewCurve(shape)
	return shape, offsets, err
}

// shaped is the calibration of points freed of their probes' offsets.
func shaped(kind garden.CalibrationKind, ps []Point, offsets map[garden.ProbeID]float64) garden.Calibration {
	c := garden.Calibration{Kind: kind, Points: make([]garden.CalibrationPoint, len(ps))}
	for i, p := range ps {
		w := max(0, min(float64(p.Water)-offsets[p.Probe], 1))
		c.Points[i] = garden.CalibrationPoint{Volts: p.Volts, Water: garden.WaterFraction(w)}
	}
	if kind == garden.Interpolated {
		c.Points = pool(c.Points, trend(ps))
	}
	return c
}

func (f *Fit) describe() {
	f.LoWater, f.HiWater = waterSpan(f.Points)
	f.LoV, f.HiV = float64(f.Points[0].Volts), float64(f.Points[len(f.Points)-1].Volts)
	waters := make([]float64, len(f.Points))
	for i, p := range f.Points {
		waters[i] = float64(p.Water)
		if p.TempC.Known {
			f.TempLo = garden.Known(min(f.TempLo.Or(p.TempC.Value), p.TempC.Value))
			f.TempHi = garden.Known(max(f.TempHi.Or(p.TempC.Value), p.TempC.Value))
		}
	}
	slices.Sort(waters)
	for i := 1; i < len(waters); i++ {
		if waters[i]-waters[i-1] > f.GapTo-f.GapFrom {
			f.GapFrom, f.GapTo = waters[i-1], waters[i]
		}
	}
}

func (f *Fit) warn() {
	say := func(format string, a ...any) { f.Warnings = append(f.Warnings, fmt.Sprintf(format, a...)) }
	switch {
	case len(f.Points) == 2:
		say("two points leave nothing to judge the error by; a third in the middle would tell")
	case f.RMSE.Value > warnRMSE:
		say("the points scatter by %.3f m³/m³ around the curve, more than the %.2f a careful calibration reaches", f.RMSE.Value, warnRMSE)
	}
	if gap := f.GapTo - f.GapFrom; len(f.Points) > 2 && gap > warnGap {
		say("no point between water %.2f and %.2f: add one there", f.GapFrom, f.GapTo)
	}
	if f.TempLo.Known && f.TempHi.Value-f.TempLo.Value > warnTemp {
		say("the mix was between %.0f and %.0f °C: temperature may pass for water", f.TempLo.Value, f.TempHi.Value)
	}
}
