// Package pulse makes water of pulses: litres of a flow meter's, rain of a
// tipping bucket's, and a float switch's word on the tank. It says how far each
// may be believed; where a count is impossible it says nothing rather than a
// number.
//
// It reads no pin: what counts comes in as a Counter or a Switch, which on a
// board is an input line and on the bench a virtual contact.
package pulse

import "fabricpot/control/garden"

// Counter counts a contact's closings. It returns at once, from any goroutine.
type Counter interface {
	Pulses() garden.Pulses
}

// Switch tells whether a contact is closed now. It returns at once, from any
// goroutine.
type Switch interface {
	Closed() (bool, error)
}
