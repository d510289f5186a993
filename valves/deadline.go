package valves

import (
	"time"
)

// NextDeadline is the next monotonic time at which Advance has something to do.
func (g *Guard) NextDeadline() (time.Duration, bool) {
	g.mu.Lock()
	defer g.mu.Unlock()
	at, any := g.nextEnd()
	for _, ln := range g.lines {
		var t time.Duration
		switch {
		case ln.pos == unconfirmed && ln.attempts > 0:
			t = ln.retryAt
		case ln.waits():
			t = ln.again.at
		default:
			continue
		}
		if !any || t < at {
			at, any = t, true
		}
	}
	return at, any
}

// nextEnd is when the next pulse, injector or proof of flow ends. The lock is held.
func (g *Guard) nextEnd() (at time.Duration, any bool) {
	for _, ln := range g.lines {
		if ln.pos != open {
			continue
		}
		if t := min(ln.pulse.due, ln.pulse.deadline); !any || t < at {
			at, any = t, true
		}
	}
	if t, ok := g.doseDeadline(); ok && (!any || t < at) {
		at, any = t, true
	}
	if t, ok := g.pumpDeadline(); ok && (!any || t < at) {
		at, any = t, true
	}
	if t, ok := g.floatDeadline(); ok && (!any || t < at) {
		at, any = t, true
	}
	return at, any
}
