package valves

import (
	"errors"
	"fmt"
	"sync"
	"time"
)

// ErrHangs is returned while a driver does not come back from an earlier call.
var ErrHangs = errors.New("valves: the driver does not answer")

// Waiter tells when a time is over.
type Waiter interface {
	After(d time.Duration) <-chan time.Time
}

// Owned is an output whose calls nobody waits for longer than its patience, so that
// a driver that hangs holds up other lines for no longer than that, once: the guard
// calls all of them under one lock. One call at a time is with the driver. What is
// asked for meanwhile is not done later, but for a close: that follows as soon as the
// driver comes back, even where it was opening. It stands around each output alone,
// since a line's other parts must be reached while one of them hangs.
type Owned struct {
	act      Actuator
	patience time.Duration
	wait     Waiter

	mu    sync.Mutex
	busy  bool // a call is with the driver
	late  bool // for longer than patience
	close bool // a close is owed after it
}

// Own returns act with that patience, > 0: longer than any sound call takes.
func Own(act Actuator, patience time.Duration, w Waiter) *Owned {
	return &Owned{act: act, patience: patience, wait: w}
}

func (o *Owned) within() Actuator { return o.act }

// Open opens under a valid grant. Where the driver does not come back in time it is
// an error, and it is closed when it does.
func (o *Owned) Open(g Grant) error {
	if !g.Valid() {
		return ErrNoGrant
	}
	return o.call("open", false, func() error { return safeOpen(o.act, g) })
}

// Close closes, now or as soon as the driver comes back; the latter is an error.
func (o *Owned) Close() error {
	return o.call("close", true, func() error { return safeClose(o.act) })
}

// Closed knows nothing while a call is with the driver.
func (o *Owned) Closed() (closed, known bool) {
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.busy {
		return false, false
	}
	return o.act.Closed()
}

// Hangs reports whether a call is with the driver for longer than patience.
func (o *Owned) Hangs() bool {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.late
}

func (o *Owned) call(what string, closes bool, f func() error) error {
	o.mu.Lock()
	if o.busy {
		o.close = o.close || closes
		o.mu.Unlock()
		return fmt.Errorf("%w: asked to %s", ErrHangs, what)
	}
	o.busy = true
	o.mu.Unlock()
	done := make(chan error, 1)
	go func() {
		err := f()
		o.back()
		done <- err
	}()
	select {
	case err := <-done:
		return err
	case <-o.wait.After(o.patience):
	}
	o.mu.Lock()
	defer o.mu.Unlock()
	if !o.busy {
		return <-done // it came back at this very moment
	}
	// Nobody believes it open any more.
	o.late, o.close = true, true
	return fmt.Errorf("%w: asked to %s %v ago", ErrHangs, what, o.patience)
}

// back does what is owed when the driver has come back from a call.
func (o *Owned) back() {
	for {
		o.mu.Lock()
		if !o.close {
			o.busy, o.late = false, false
			o.mu.Unlock()
			return
		}
		o.close = false
		o.mu.Unlock()
		_ = safeClose(o.act) // the guard asks again until it is confirmed
	}
}

var _ Actuator = (*Owned)(nil)
