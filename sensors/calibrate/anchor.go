package calibrate

import (
	"errors"
	"fmt"

	"fabricpot/control/garden"
)

// ErrAnchor is what a refused re-anchoring wraps.
var ErrAnchor = errors.New("not re-anchored")

// Anchor is one in-place correction of a probe's offset.
type Anchor struct {
	Probe garden.ProbeID
	// Before and After are the probe's offsets, m³/m³.
	Before, After float64
	// Read is what the probe said at rest and Expected what it should have.
	Read, Expected garden.WaterFraction
}

// maxShift bounds one correction, and maxTotal all of them together: what needs
// more is no drift but a probe that moved or a wrong calibration.
const (
	maxShift = 0.08
	maxTotal = 0.15
	// leastShift is not worth a change.
	leastShift = 0.005
)

// Undo is the correction that takes this one back.
func (a Anchor) Undo() Anchor {
	return Anchor{Probe: a.Probe, Before: a.After, After: a.Before, Read: a.Expected, Expected: a.Read}
}

func (a Anchor) String() string {
	return fmt.Sprintf("probe %s: offset %+.3f to %+.3f m³/m³, since it read %.3f where the drained pot holds %.3f at its depth",
		a.Probe, a.Before, a.After, float64(a.Read), float64(a.Expected))
}

// Reanchor makes the correction after the first deep soak and drainage: what a
// probe reads at rest should be what a pot at container capacity holds at the
// probe's depth. offset is the probe's present one, read what it says with it.
// A shift under 0.005 changes nothing and is no error. One over 0.08 or a sum
// over 0.15 is refused, wrapping ErrAnchor.
func Reanchor(probe garden.ProbeID, offset float64, read garden.Reading, expected garden.WaterFraction) (Anchor, error) {
	a := Anchor{Probe: probe, Before: offset, After: offset, Read: read.Water, Expected: expected}
	if read.Quality != garden.Good {
		return a, fmt.Errorf("%w: probe %s reads %s (%s), expected a good reading", ErrAnchor, probe, read.Quality, read.Fault)
	}
	if !garden.Finite(offset) || !garden.Finite(float64(expected)) || !(expected > 0 && expected <= 1) {
		return a, fmt.Errorf("%w: probe %s: offset %g and expected water %g", ErrAnchor, probe, offset, float64(expected))
	}
	shift := float64(expected - read.Water)
	after := offset + shift
	switch {
	case shift > maxShift || shift < -maxShift:
		return a, fmt.Errorf("%w: probe %s reads %.3f where %.3f is expected, %+.3f apart and at most %.2f is taken: is the pot drained, the probe at its depth, the calibration for this mix?", ErrAnchor, probe, float64(read.Water), float64(expected), shift, maxShift)
	case after > maxTotal || after < -maxTotal:
		return a, fmt.Errorf("%w: probe %s: corrections would come to %+.3f together, at most %.2f: calibrate it anew", ErrAnchor, probe, after, maxTotal)
	case shift > -leastShift && shift < leastShift:
		return a, nil
	}
	a.After = after
	return a, nil
}
