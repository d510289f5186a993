package bench

import (
	"errors"
	"fmt"
	"time"

	"fabricpot/control/garden"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/physic"
)

// PinFault is what can be wrong between a pin and the water.
type PinFault uint8

const (
	// PinHealthy is a working pin and valve.
	PinHealthy PinFault = iota
	// PinFails: the level cannot be set, and the caller is told.
	PinFails
	// ValveStaysShut and ValveStaysOpen: the pin obeys, the valve does not, and
	// nobody is told.
	ValveStaysShut
	ValveStaysOpen
)

// PinEvent is one change of a pin's level.
type PinEvent struct {
	At    time.Duration
	Level gpio.Level
	// Energised tells that the level commands the valve open.
	Energised bool
}

// Pin is an output whose level switches a line's valve. Before the first Out it
// floats and an outside resistor holds the valve shut.
type Pin struct {
	// Immutable.
	bench     *Bench
	line      garden.LineID
	number    int
	activeLow bool
	doses     bool   // an injector's: it moves no water
	pumps     bool   // the pump's
	latch     *Latch // whose output it is
	broken    error

	// Mutable.
	driven    bool
	level     gpio.Level
	energised bool
	flowing   bool
	stays     bool // a latching valve that a weak pulse did not move
	fault     PinFault
	calls     uint64
	history   []PinEvent
	watch     func(PinEvent)
	also      func(PinEvent)
}

// ErrPin is what a failing pin says.
var ErrPin = errors.New("the line cannot be driven")

// Out sets the level, and with it the valve from the clock's present time on.
func (p *Pin) Out(l gpio.Level) error {
	p.calls++
	if p.broken != nil {
		return p.broken
	}
	if p.fault == PinFails {
		return fmt.Errorf("bench: pin %s: %w", p.line, ErrPin)
	}
	if p.driven && p.level == l {
		return nil
	}
	p.driven, p.level = true, l
	p.energised = bool(l) != p.activeLow
	e := PinEvent{At: p.bench.clk.Now(), Level: l, Energised: p.energised}
	p.history = append(p.history, e)
	if p.latch != nil {
		p.latch.edge(p)
	} else {
		p.apply()
	}
	if p.watch != nil {
		p.watch(e)
	}
	if p.also != nil {
		p.also(e)
	}
	return nil
}

// apply brings the valve to what pin and fault make of it.
func (p *Pin) apply() {
	open := p.energised
	switch p.fault {
	case ValveStaysShut:
		open = false
	case ValveStaysOpen:
		open = true
	}
	if open == p.flowing || p.stays && p.fault == PinHealthy {
		return
	}
	p.flowing = open
	p.bench.Advance()
	if t, ok := p.bench.terrace.(pumped); ok && p.pumps {
		t.SetPump(open)
	} else if !p.doses && !p.pumps {
		p.bench.terrace.SetValve(p.line, open)
	}
}

// Fail sets or, with PinHealthy, ends a fault from the clock's present time on.
func (p *Pin) Fail(f PinFault) {
	if p.broken != nil {
		return
	}
	p.fault = f
	if p.latch == nil {
		p.apply()
	}
}

// Energised tells whether the level now commands the valve open; Flowing whether
// the valve is open, whatever it was told.
func (p *Pin) Energised() bool { return p.energised }

// Flowing tells whether the valve is open.
func (p *Pin) Flowing() bool { return p.flowing }

// History is every change of level so far, oldest first. The slice is the pin's
// own: read it, do not keep it across an Out.
func (p *Pin) History() []PinEvent { return p.history }

// Calls is how often Out was called, changes or not.
func (p *Pin) Calls() uint64 { return p.calls }

// Watch sets a function that sees each change as it happens. Nil removes it.
func (p *Pin) Watch(f func(PinEvent)) { p.watch = f }

// Also sets a second such function, called after the first.
func (p *Pin) Also(f func(PinEvent)) { p.also = f }

// PWM is refused: a valve is open or shut.
func (p *Pin) PWM(gpio.Duty, physic.Frequency) error {
	return fmt.Errorf("bench: pin %s: a valve's pin has no PWM", p.line)
}

// Halt, as on a board, leaves the level as it is.
func (p *Pin) Halt() error { return nil }

// String and Name name the pin after its line.
func (p *Pin) String() string { return "bench pin " + string(p.line) }

// Name is the line's name.
func (p *Pin) Name() string { return string(p.line) }

// Number is the pin's number in the garden.
func (p *Pin) Number() int { return p.number }

// Function is what the pin does now.
func (p *Pin) Function() string {
	if !p.driven {
		return "In"
	}
	return "Out/" + p.level.String()
}

var _ gpio.PinOut = &Pin{}
