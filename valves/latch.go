package valves

import (
	"errors"
	"fmt"
	"sync"
	"time"

	"fabricpot/control/garden"

	"periph.io/x/conn/v3/gpio"
)

// Sleeper waits. A latching valve's pulse is all that waits in this package.
type Sleeper interface {
	Sleep(d time.Duration)
}

// Pulses of a latching valve. Shorter ones move no plunger, longer ones only warm
// the coil and hold up other lines; valves of this kind take 20 to 100 ms. Common
// practice, no source: the valve's own data sheet decides.
const (
	LeastLatchPulse = 10 * time.Millisecond
	MostLatchPulse  = 200 * time.Millisecond
)

// Latch is a latching valve behind two outputs: a pulse on the one opens it, a
// pulse on the other closes it, and in between it stays as it is with no current.
// Both outputs are never on together: through a bridge that is a short circuit.
//
// It does not close by itself where power is lost. What it is doing is unknown
// until a close pulse was given, and even then only commanded: no contact tells.
// So a guard repeats the close at start and stop, soon after each watering, and
// from time to time.
type Latch struct {
	open, shut gpio.PinOut
	on, off    gpio.Level
	pulse      time.Duration
	clock      Sleeper

	mu            sync.Mutex
	closed, known bool
}

// NewLatch returns the valve on those outputs. activeLow is for driver boards
// that energise on a low level. No output is touched before the first Close.
func NewLatch(open, shut gpio.PinOut, activeLow bool, pulse time.Duration, clock Sleeper) (*Latch, error) {
	switch {
	case open == nil || shut == nil || clock == nil:
		return nil, errors.New("valves: a latching valve needs two outputs and a clock")
	case pulse < LeastLatchPulse || pulse > MostLatchPulse:
		return nil, fmt.Errorf("valves: a latching valve's pulse of %v, expected %v to %v", pulse, LeastLatchPulse, MostLatchPulse)
	}
	on := gpio.High
	if activeLow {
		on = gpio.Low
	}
	return &Latch{open: open, shut: shut, on: on, off: !on, pulse: pulse, clock: clock}, nil
}

// Open gives the opening pulse under a valid grant.
func (l *Latch) Open(g Grant) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if !g.Valid() {
		return ErrNoGrant
	}
	// Whatever happens next, nobody may believe the valve closed.
	l.closed, l.known = false, false
	if err := l.give(l.open, l.shut); err != nil {
		return err
	}
	l.known = true
	return nil
}

// Close gives the closing pulse, whatever is believed of the valve.
func (l *Latch) Close() error {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.closed, l.known = false, false
	if err := l.give(l.shut, l.open); err != nil {
		return err
	}
	l.closed, l.known = true, true
	return nil
}

// give pulses one output with the other off, and leaves both off.
func (l *Latch) give(pin, other gpio.PinOut) (err error) {
	if err := l.release(other); err != nil {
		return err
	}
	defer func() {
		// Also after a panic of the clock: a coil of this kind burns out.
		err = errors.Join(err, l.release(pin))
	}()
	if err := pin.Out(l.on); err != nil {
		return fmt.Errorf("valves: energise %s: %w", pin, err)
	}
	l.clock.Sleep(l.pulse)
	return nil
}

// release switches an output off, twice where the first try fails.
func (l *Latch) release(pin gpio.PinOut) error {
	err := pin.Out(l.off)
	if err != nil {
		err = pin.Out(l.off)
	}
	if err != nil {
		return fmt.Errorf("valves: release %s: %w; a latching coil that stays on burns out: cut its supply", pin, err)
	}
	if r, ok := pin.(outputReader); ok {
		level, err := r.OutputLevel()
		if err != nil {
			return fmt.Errorf("valves: confirm %s released: %w", pin, err)
		}
		if level != l.off {
			return fmt.Errorf("valves: %s still drives %s after it was released: check the wiring", pin, level)
		}
	}
	return nil
}

// Closed reports what was last commanded without an error.
func (l *Latch) Closed() (closed, known bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.closed, l.known
}

var _ Actuator = (*Latch)(nil)

// again is when a latching valve's close is repeated though it was confirmed: a
// pulse from a tired capacitor may have moved nothing.
type again struct {
	latching bool
	n        int
	at       time.Duration
}

// againAfter is the wait before the nth repetition of a close: soon and often at
// first, while water may be running, then twice an hour.
func againAfter(n int) time.Duration {
	waits := [...]time.Duration{10 * time.Second, 30 * time.Second, time.Minute, 2 * time.Minute, 5 * time.Minute, 10 * time.Minute, 20 * time.Minute}
	if n < len(waits) {
		return waits[n]
	}
	return 30 * time.Minute
}

// begin counts from a close that a watering or a person caused.
func (a *again) begin(now garden.Moment) {
	if a.latching {
		a.n, a.at = 0, now.Mono+againAfter(0)
	}
}

// waits reports whether a line's close is to be repeated at a.at.
func (ln *line) waits() bool { return ln.again.latching && ln.pos == shut && ln.pulse == nil }

// clearOf is how long before another line's end no pulse of a latching valve is
// begun: it holds up everything else. A close that is repeated waits; before a
// pulse that should not wait, what ends so soon is ended first.
const clearOf = MostLatchPulse + 50*time.Millisecond

// endSoon ends every opening that would end within clearOf, plain coils first, or
// those with plain coils alone, and every injector that would: a quarter of a second
// early is the safe side. The lock is held.
func (g *Guard) endSoon(now garden.Moment, plainOnly bool) {
	for _, ln := range g.lines {
		if p := ln.pulse; p != nil && p.dose.on && p.dose.until-now.Mono < clearOf {
			p.dose.until = min(p.dose.until, now.Mono)
		}
	}
	g.doses(now)
	for _, ln := range g.closing {
		p := ln.pulse
		if ln.pos != open || p == nil || plainOnly && ln.again.latching || min(p.due, p.deadline)-now.Mono >= clearOf {
			continue
		}
		if p.end = garden.AtDeadline; !p.byMeter && p.due <= p.deadline {
			p.end = garden.Complete
		}
		g.close(now, ln)
	}
}

// repeatCloses gives a close pulse that has come due, one at a time, so that what
// else is due ends between two of them; and none while the end of a pulse is near,
// which comes first. The lock is held.
func (g *Guard) repeatCloses(now garden.Moment) {
	for _, ln := range g.lines {
		a := &ln.again
		if !ln.waits() || now.Mono < a.at {
			continue
		}
		if end, ends := g.nextEnd(); ends && end-now.Mono < clearOf {
			a.at = max(end, now.Mono) + time.Millisecond
			continue
		}
		a.n++
		a.at = now.Mono + againAfter(a.n)
		g.close(now, ln)
		return
	}
}
