// Package column moves water through one root zone of a pot: a vertical stack of
// cells in which Richards' equation is solved implicitly, with a seepage face at
// the floor, rain and irrigation with ponding on top, and sinks for roots and
// evaporation.
//
// Lengths are cm, times h, fluxes cm/h (cm³ of water per cm² of the column's
// mean cross-section), water is m³/m³. Suction is positive when the mix is
// unsaturated and counts in cm of water. Cell 0 is at the top; face i lies above
// cell i and face n is the floor.
//
// How it is solved. The unknown of a cell is u, the place in a table whose rows
// are even in v, a transformed suction,
//
//	h = v + v·|v|³   (cm)
//
// in which retention and conductivity are gentle, so that one table serves from
// pressure to air-dry and the inner loop takes no logarithm. One step is Newton's iteration on the mixed form; between two
// cells the conductivity is the mean over suction (by the matric flux potential,
// the integral of K dh), which is right both for a wetting front and for a
// drying surface on a coarse grid, and keeps a hydrostatic profile exactly at
// rest. When the iteration ends, storage is moved by the linearised fluxes
// themselves, so water is conserved to rounding whatever the iteration left.
//
// A Column is not safe for concurrent use. Stepping allocates nothing.
package column
