package valves

import (
	"errors"
	"fmt"
	"sync"
	"sync/atomic"
	"time"

	"fabricpot/control/garden"

	"periph.io/x/conn/v3/gpio"
)

// ErrNoGrant is returned by an Actuator that was asked to open without a Grant
// in force.
var ErrNoGrant = errors.New("valves: open without a grant in force")

// ErrUnassigned is returned by a line that has no valve.
var ErrUnassigned = errors.New("valves: the line has no valve assigned")

// Grant is the permission to hold one line open for one order. Only the guard
// can make one that is valid, and it withdraws it before it closes the line, so
// that a copy kept by anybody opens nothing. The zero Grant permits nothing.
type Grant struct {
	line  garden.LineID
	order garden.OrderID
	maxOn time.Duration
	kind  garden.OrderKind
	doses bool
	live  *atomic.Bool
}

// Valid reports whether the grant is in force. Every Actuator asks before it
// opens.
func (g Grant) Valid() bool { return g.live != nil && g.live.Load() && g.maxOn > 0 }

// MaxOn is how long the line may stay open from now, > 0. An actuator at the
// far end of a link passes it on, so that the valve closes by itself.
func (g Grant) MaxOn() time.Duration { return g.maxOn }

// Order is the order the grant was made for.
func (g Grant) Order() garden.OrderID { return g.order }

// Doses reports whether the line's injector is to be engaged.
func (g Grant) Doses() bool { return g.doses }

// Kind is what that order is for.
func (g Grant) Kind() garden.OrderKind { return g.kind }

// Line is the line the grant was made for.
func (g Grant) Line() garden.LineID { return g.line }

// Actuator opens and closes one line's valve. Its methods return quickly: one
// that talks over a link hands the message on and lets Closed tell later. The
// guard calls them under its lock.
type Actuator interface {
	// Open energises the coil. It returns ErrNoGrant unless the grant is valid.
	Open(Grant) error
	// Close releases the coil. It may be called at any time, as often as
	// anybody likes, from any goroutine.
	Close() error
	// Closed reports whether the valve is closed, and whether that is known.
	Closed() (closed, known bool)
}

// briefest is an Actuator that can't open for less than some time.
type briefest interface {
	// LeastOn is that time; Open refuses a grant of less.
	LeastOn() time.Duration
}

// leastOnOf is the shortest opening a line's valve can make, however it is
// wrapped; 0 for any.
func leastOnOf(a Actuator) time.Duration {
	for {
		if b, ok := a.(briefest); ok {
			return b.LeastOn()
		}
		w, ok := a.(wrapper)
		if !ok {
			return 0
		}
		a = w.within()
	}
}

// outputReader is a pin that can tell what it drives without turning into an
// input. gpio.PinIO's Read is not that: on the host library it changes the
// direction of the line.
type outputReader interface {
	OutputLevel() (gpio.Level, error)
}

// Coil is a valve coil behind a driver stage on an output pin. It never reads
// the pin back through the host library: Closed is what was last commanded
// without an error, and where the pin can tell its own output level, what was
// confirmed by that.
type Coil struct {
	pin     gpio.PinOut
	on, off gpio.Level

	mu            sync.Mutex
	closed, known bool
}

// NewCoil returns the coil on that pin. activeLow is for driver boards that
// energise on a low level. The pin is not touched: the guard's CloseAll is the
// first to command it.
func NewCoil(pin gpio.PinOut, activeLow bool) *Coil {
	on := gpio.High
	if activeLow {
		on = gpio.Low
	}
	return &Coil{pin: pin, on: on, off: !on}
}

// Open energises the coil under a valid grant.
func (c *Coil) Open(g Grant) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if !g.Valid() {
		return ErrNoGrant
	}
	// Whatever happens next, nobody may believe the valve closed.
	c.closed, c.known = false, false
	if err := c.pin.Out(c.on); err != nil {
		return fmt.Errorf("valves: energise %s: %w", c.pin, err)
	}
	c.known = true
	return nil
}

// Close releases the coil.
func (c *Coil) Close() error {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.closed, c.known = false, false
	if err := c.pin.Out(c.off); err != nil {
		return fmt.Errorf("valves: release %s: %w", c.pin, err)
	}
	if r, ok := c.pin.(outputReader); ok {
		level, err := r.OutputLevel()
		if err != nil {
			return fmt.Errorf("valves: confirm %s released: %w", c.pin, err)
		}
		if level != c.off {
			return fmt.Errorf("valves: %s still drives %s after it was released: check the wiring", c.pin, level)
		}
	}
	c.closed, c.known = true, true
	return nil
}

// Closed reports what was last commanded without an error.
func (c *Coil) Closed() (closed, known bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.closed, c.known
}

// Unassigned stands for a line whose valve was not configured or not found. It
// refuses every call, so such a line is never confirmed closed and never opens.
type Unassigned struct{}

// Open refuses.
func (Unassigned) Open(Grant) error { return ErrUnassigned }

// Close refuses: there is nothing it could close.
func (Unassigned) Close() error { return ErrUnassigned }

// Closed knows nothing.
func (Unassigned) Closed() (closed, known bool) { return false, false }

var (
	_ Actuator = (*Coil)(nil)
	_ Actuator = Unassigned{}
)
