package valves

import (
	"fabricpot/control/garden"
)

// CloseAll commands every line closed, whatever is believed of it, and returns
// the deliveries that this ended and those that Advance had not returned yet.
// It comes before anything else at start and after everything else at exit;
// see Unconfirmed for what did not confirm. It takes back the latch of
// CloseEverything.
func (g *Guard) CloseAll(now garden.Moment) []garden.Delivery {
	out := g.closeAll(now)
	g.latched.Store(false)
	_ = g.Flush() // kept and tried again; Snapshot shows it
	return out
}

// SealOff is Seal without a word to the journal, for a moment that must not wait
// for a card. Flush writes the outcomes later.
func (g *Guard) SealOff(now garden.Moment) []garden.Delivery {
	g.sealed.Store(true)
	return g.closeAll(now)
}

// Seal refuses every opening from now on and closes all. It is the last word of
// a guard.
func (g *Guard) Seal(now garden.Moment) []garden.Delivery {
	g.sealed.Store(true)
	return g.CloseAll(now)
}

func (g *Guard) closeAll(now garden.Moment) []garden.Delivery {
	g.mu.Lock()
	defer g.mu.Unlock()
	for _, ln := range g.closing {
		switch {
		case ln.pos == opening:
			g.abandon(now, ln)
		case ln.pos == open:
			ln.pulse.end = garden.Stopped
		}
		ln.again.begin(now)
		g.close(now, ln)
	}
	out := g.ended
	g.ended = nil
	return out
}

// CloseEverything commands every coil off without the guard's lock, which a
// goroutine that panicked may hold, and refuses every opening until CloseAll.
// It is for a recover, and for a signal that must not wait. The first error is
// returned; every line is tried whatever happens to the others.
func (g *Guard) CloseEverything() error {
	g.latched.Store(true)
	var first error
	for _, a := range g.acts {
		if err := safeClose(a); err != nil && first == nil {
			first = err
		}
	}
	return first
}
