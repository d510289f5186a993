package valves

import (
	"errors"
	"fmt"
	"sync"
)

// Pump is the one pump that every line draws through. It has no grant of its
// own: it runs under those of the open lines, so never longer than the last of
// their deadlines, never without a line to pump into, and not at all once they
// are withdrawn. When the last line closes, the pump stops first.
//
// The contacts behind the pin carry extra-low voltage or a contactor's coil.
// Whatever lies behind a contactor is mains work, for a licensed electrician.
type Pump struct {
	motor Actuator

	mu      sync.Mutex
	holding map[*pumped]Grant
}

// NewPump returns the pump behind that output.
func NewPump(motor Actuator) *Pump {
	return &Pump{motor: motor, holding: map[*pumped]Grant{}}
}

// Behind couples a line's valve to the pump.
func (p *Pump) Behind(line Actuator) Actuator { return &pumped{pump: p, line: line} }

// Stop stops the motor, whatever is open.
func (p *Pump) Stop() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	clear(p.holding)
	return p.motor.Close()
}

// Stopped reports whether the motor is off, and whether that is known.
func (p *Pump) Stopped() (stopped, known bool) { return p.motor.Closed() }

// run starts the motor under a line's grant.
func (p *Pump) run(l *pumped, g Grant) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.holding[l] = g
	return p.motor.Open(g)
}

// leave stops the motor unless another line's grant is in force.
func (p *Pump) leave(l *pumped) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	delete(p.holding, l)
	if p.needed() {
		return nil
	}
	return p.motor.Close()
}

func (p *Pump) needed() bool {
	for _, g := range p.holding {
		if g.Valid() {
			return true
		}
	}
	return false
}

// pumped is a line's valve behind a pump.
type pumped struct {
	pump *Pump
	line Actuator
}

func (b *pumped) within() Actuator { return b.line }

// Open opens the valve and starts the pump: one that runs against closed valves
// heats its water and strains its hoses.
func (b *pumped) Open(g Grant) error {
	if err := b.line.Open(g); err != nil {
		return err
	}
	if err := b.pump.run(b, g); err != nil {
		return errors.Join(fmt.Errorf("valves: start the pump for line %s: %w", g.Line(), err), b.Close())
	}
	return nil
}

// Close stops the pump where no other line needs it and closes the valve,
// whatever the first comes to: a flood is worse than a pump that strains.
func (b *pumped) Close() error {
	err := b.pump.leave(b)
	if err != nil {
		err = fmt.Errorf("valves: stop the pump: %w", err)
	}
	return errors.Join(err, b.line.Close())
}

// Closed reports whether the valve is closed and, where no line needs the pump,
// whether that is stopped.
func (b *pumped) Closed() (closed, known bool) {
	c, k := b.line.Closed()
	b.pump.mu.Lock()
	defer b.pump.mu.Unlock()
	if b.pump.needed() {
		return c, k
	}
	mc, mk := b.pump.motor.Closed()
	return c && mc, k && mk
}
