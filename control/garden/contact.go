package garden

import "time"

// Contact is a switch that a GPIO line watches: the reed of a flow meter or of
// a rain gauge, or a float. The zero Contact is not wired to this board.
type Contact struct {
	// Fitted tells that there is one.
	Fitted bool
	// Chip is the GPIO chip's label, Pin the line's number on it.
	Chip string
	Pin  int
	// To is what the contact ties the pin to when it closes.
	To ContactTo
	// Pull is who holds the pin the other way while it is open.
	Pull ContactPull
	// Debounce is how long a level must last to count; 0 leaves it as it comes.
	Debounce time.Duration
}

// ContactTo is what a closing contact ties its pin to.
type ContactTo string

// ContactPull is what holds a pin while its contact is open.
type ContactPull string

const (
	// ToGround: it reads low when closed.
	ToGround ContactTo = "ground"
	// ToSupply: it reads high when closed. Never more than the pin's own voltage.
	ToSupply ContactTo = "supply"

	// BoardPull: the chip's own weak resistor, which is asked for.
	BoardPull ContactPull = "board"
	// OutsidePull: a resistor beside the pin.
	OutsidePull ContactPull = "outside"
)

// RainBucket is a tipping bucket that closes a contact at each tip.
type RainBucket struct {
	Contact
	// MMPerTip is what one tip stands for, mm: the bucket's millilitres over the
	// funnel's area.
	MMPerTip float64
}

// Pump feeds every line from one output.
type Pump struct {
	// Fitted tells that there is one.
	Fitted bool
	// Chip is the GPIO chip's label, Pin the line's number on it.
	Chip string
	Pin  int
	// ActiveLow is set where a low level runs it.
	ActiveLow bool
	// FlowWithin is how long it may run while the meter shows no flow; 0 means
	// that no meter watches it.
	FlowWithin time.Duration
	// MaxRun is the longest it may run without a stop, > 0.
	MaxRun time.Duration
}

// Float is what a float switch in the tank says.
type Float uint8

const (
	// NoFloat: there is none.
	NoFloat Float = iota
	// FloatUp: its contact is closed, so there is water.
	FloatUp
	// FloatDown: its contact is open. The tank is empty, or a wire is broken, or
	// the pin can't be read: nobody can tell, and nothing is drawn.
	FloatDown
)

func (f Float) String() string {
	switch f {
	case FloatUp:
		return "water"
	case FloatDown:
		return "empty, or its wire is broken"
	}
	return "no float"
}
