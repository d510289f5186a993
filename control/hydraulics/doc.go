// Package hydraulics is the arithmetic of water in hoses and emitters: what an
// emitter gives at another pressure, how evenly a line waters, and how much
// pressure a small pipe eats.
//
// Units: flow L/h, head in metres of water (1 bar is 10.197 m, 1 psi 0.70307 m),
// inside diameter mm, length m, temperature °C. Uniformity is in percent.
//
// Inside diameters count, not the nominal ones on the coil. Fittings, filters
// and kinks come on top of what is computed here.
package hydraulics

import (
	"fmt"

	"fabricpot/control/garden"
)

// within refuses what is not a number from lo to hi.
func within(what string, v, lo, hi float64, unit string) error {
	if !garden.Finite(v) || v < lo || v > hi {
		return fmt.Errorf("hydraulics: %s is %v, expected %v to %v%s", what, v, lo, hi, unit)
	}
	return nil
}

// positive refuses what is not a number over 0 and at most hi.
func positive(what string, v, hi float64, unit string) error {
	if !garden.Finite(v) || v <= 0 || v > hi {
		return fmt.Errorf("hydraulics: %s is %v, expected over 0 and at most %v%s", what, v, hi, unit)
	}
	return nil
}
