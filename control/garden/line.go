package garden

import "time"

// Line is one valve and the emitters behind it.
type Line struct {
	ID      LineID
	Name    string
	Valve   Valve
	Outlets []Outlet
	// DU is distribution uniformity, lowest quarter over mean, 0.3..1.
	DU float64
	// MaxOn tightens Limits.MaxOn for this line; 0 means the garden's.
	MaxOn time.Duration
	// DailyCapL replaces the computed cap; absent means computed.
	DailyCapL Measured
	// Injector feeds through the line where there is one.
	Injector Injector
}

// Outlet is the emitters a line has in one zone.
type Outlet struct {
	Zone     ZoneID
	Emitters int
	// FlowLPH is one emitter's nominal flow, L/h.
	FlowLPH float64
}

// FlowLPH is the nominal flow of the whole line, L/h.
func (l Line) FlowLPH() float64 {
	var sum float64
	for _, o := range l.Outlets {
		sum += float64(o.Emitters) * o.FlowLPH
	}
	return sum
}

// ShareOf returns the share of the line's flow that zone z receives, 0..1.
func (l Line) ShareOf(z ZoneID) float64 {
	total := l.FlowLPH()
	if total <= 0 {
		return 0
	}
	var own float64
	for _, o := range l.Outlets {
		if o.Zone == z {
			own += float64(o.Emitters) * o.FlowLPH
		}
	}
	return own / total
}

// ValveKind is how a valve is switched.
type ValveKind string

const (
	// PinValve hangs on a GPIO line through a driver stage.
	PinValve ValveKind = "pin"
	// RemoteValve is opened by a message that carries how long.
	RemoteValve ValveKind = "remote"
)

// Valve is where a line's coil is.
type Valve struct {
	Kind ValveKind
	// Chip is the GPIO chip's label, Pin the line's number on it.
	Chip string
	Pin  int
	// ActiveLow is set for driver boards that energise on a low level.
	ActiveLow bool
	// Latch is set where pulses switch it; Pin then opens it.
	Latch *Latch
	// Node is a remote valve's name.
	Node string
	// Plain is set where the remote valve is a device with no notion of ours.
	Plain *PlainValve
}

// Latch is how a latching valve is switched: a pulse on the valve's own pin opens
// it, a pulse on another closes it. It stays as it is without power.
type Latch struct {
	// ClosePin is the other's number on the same chip.
	ClosePin int
	// Pulse is how long either is on.
	Pulse time.Duration
}

// Hardware is what the garden hangs on.
type Hardware struct {
	// Kind is "bench" for the simulator or "board" for real buses and pins.
	Kind string
	// I2CBus is the bus of the converters, such as "/dev/i2c-1".
	I2CBus string
	// GPIOChip is the default chip label for valves.
	GPIOChip string
	// Burst is how many conversions make one sample, 1..31, odd.
	Burst int
}

// Hardware kinds.
const (
	Bench = "bench"
	Board = "board"
)
