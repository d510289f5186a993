package valves

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"sync/atomic"
	"time"

	"fabricpot/control/garden"
)

// Request asks for one opening. Where it returns true the line is open and the
// guard will end it; otherwise the refusal tells why and, where that is known,
// when asking again may succeed. now is the moment of the call: a slow journal
// makes a pulse shorter, never longer.
func (g *Guard) Request(now garden.Moment, env Env, o garden.Order) (garden.Refusal, bool) {
	g.asking.Lock()
	defer g.asking.Unlock()
	g.flush()

	refuse := func(c garden.RefusalCause, until time.Duration) (garden.Refusal, bool) {
		return garden.Refusal{Order: o.ID, Line: o.Line, Zone: o.Zone, At: now, Cause: c, Until: until}, false
	}
	granted, cause, until := g.reserve(now, env, o)
	if cause != garden.NotRefused {
		return refuse(cause, until)
	}
	// The guard's lock is free while the card writes, so that Advance goes on.
	ln, _ := g.index(o.Line)
	worst := nominal(ln.flowLPH, granted.MaxOn)
	err := g.intend(granted, worst, now)
	if err != nil {
		if granted = g.unwritten(now, ln, granted); granted.Litres > 0 {
			err = errors.Join(err, g.intendBeside(granted, nominal(ln.flowLPH, granted.MaxOn), now))
		}
	}
	cause, until = g.energise(now, ln, granted, err)
	// Where it did not open, an intent must not look like water.
	g.flush()
	if cause != garden.NotRefused {
		return refuse(cause, until)
	}
	return garden.Refusal{}, true
}

// reserve takes the order through permit and the guard's own check and holds
// the line's place in the supply while the intent is written.
func (g *Guard) reserve(now garden.Moment, env Env, o garden.Order) (garden.Order, garden.RefusalCause, time.Duration) {
	g.mu.Lock()
	defer g.mu.Unlock()
	// What is due ends before anything new begins, however late we are called.
	g.closeDue(now)
	g.ready(now)
	ln, ok := g.index(o.Line)
	if !ok {
		return o, garden.UnknownLine, 0
	}
	if g.latched.Load() || g.sealed.Load() {
		return o, garden.NotConfirmed, 0
	}
	if o.ID != 0 && slices.Contains(g.granted[:], o.ID) {
		return o, garden.Repeated, 0
	}
	p, cause, until := permit(o, g.facts(now, ln, o), env)
	if cause != garden.NotRefused {
		return o, cause, until
	}
	if !g.sane(now, ln, o, p) {
		return o, garden.BadOrder, 0
	}
	g.granted[g.grantedN%remembered] = o.ID
	g.grantedN++
	o.Litres, o.MaxOn = p.litres, p.maxOn
	ln.pos = opening
	ln.pulse = &pulse{order: o, openedAt: now, live: new(atomic.Bool), deadline: now.Mono + o.MaxOn}
	return o, garden.NotRefused, 0
}

// intend writes the intent; a ledger that panics is one that can't be written.
func (g *Guard) intend(o garden.Order, worst float64, now garden.Moment) (err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("valves: the journal panicked: %v", r)
		}
	}()
	return g.ledger.Intend(o, worst, now)
}

// energise opens the reserved line, unless something forbade it meanwhile.
func (g *Guard) energise(now garden.Moment, ln *line, o garden.Order, intendErr error) (cause garden.RefusalCause, until time.Duration) {
	g.mu.Lock()
	defer g.mu.Unlock()
	p := ln.pulse
	if p == nil || ln.pos != opening || p.order.ID != o.ID {
		// Stopped or closed while the intent was written, and settled there.
		return garden.NotConfirmed, 0
	}
	g.ledgerErr = intendErr
	if intendErr != nil {
		if o.Litres <= 0 {
			// Nothing to settle: an intent that got onto the card after all
			// stays unfinished and is charged in full, on the dry side.
			ln.pulse, ln.pos = nil, shut
			return garden.NoJournal, 0
		}
		p.order, p.unwritten = o, true
	} else {
		ln.unwrittenL = 0
		worst := nominal(ln.flowLPH, o.MaxOn)
		p.most = mostL{litres: worst, written: worst, pulseL: worst}
	}
	if ln.heldUntil > now.Mono {
		g.abandon(now, ln)
		return garden.HeldShut, ln.heldUntil
	}
	if ln.again.latching {
		g.endSoon(now.Add(g.latest(now)-now.Mono), false) // by now, the card may have been slow
	}
	// Behind a doubted meter litres are the rated ones; a feed goes by what was counted.
	p.byMeter = g.metered(now) && (!g.meterDoubted() || o.Kind == garden.Feeding)
	p.due = now.Mono + dueAfter(o.Litres, ln.flowLPH)
	p.deadline = now.Mono + o.MaxOn
	if p.byMeter {
		p.due = p.deadline
	}
	p.live.Store(true)
	err := safeOpen(ln.act, Grant{line: ln.id, order: o.ID, maxOn: o.MaxOn, kind: o.Kind, doses: o.Doses(), live: p.live})
	ln.pos = open
	g.started(now)
	switch {
	case err != nil:
		// It may be half open: nobody knows until a close is confirmed.
		p.end = garden.Faulted
		ln.failures++
		ln.lastErr = err
		g.close(now, ln)
		return garden.DeviceFault, 0
	case g.latched.Load() || g.sealed.Load():
		// CloseEverything came between the check and the coil.
		p.end = garden.Faulted
		g.close(now, ln)
		return garden.NotConfirmed, 0
	}
	g.beginDosing(now, ln)
	return garden.NotRefused, 0
}

// abandon gives a reservation back: no coil was touched, and the intent is
// settled as nothing given. The lock is held.
func (g *Guard) abandon(now garden.Moment, ln *line) {
	o := ln.pulse.order
	ln.pulse, ln.pos = nil, shut
	g.settleLater(garden.Delivery{Order: o.ID, Line: o.Line, Zone: o.Zone, Kind: o.Kind,
		OpenedAt: now, ClosedAt: now, End: garden.Stopped})
}

// unwritten is what of an order may open though the journal can't take it; none of
// its litres where nothing may.
func (g *Guard) unwritten(now garden.Moment, ln *line, o garden.Order) garden.Order {
	g.mu.Lock()
	defer g.mu.Unlock()
	// Feed that nobody will know of is not given: the water goes plain.
	o.Dosed = false
	o.Litres = g.unwrittenLeft(now, ln, o)
	o.MaxOn = min(o.MaxOn, onTime(o.Litres, ln.flowLPH))
	if o.MaxOn < ln.leastOn {
		o.Litres = 0
	}
	return o
}

// unwrittenLeft is how much of the order the no-journal budget still allows: its doses,
// and once they are used up one a day, since a card that fails while nobody is there
// would else be the end of every pot. A budget of none is none.
// Feeds get none of it: without a journal one could be given twice.
func (g *Guard) unwrittenLeft(now garden.Moment, ln *line, o garden.Order) float64 {
	if o.Kind == garden.Feeding || o.Kind == garden.Commission {
		return 0
	}
	left := float64(ln.doses)*ln.doseL - ln.unwrittenL
	if ln.doses > 0 {
		left = max(left, ln.doseL-ln.charges.unwrittenL(now))
	}
	if left < leastShare*ln.doseL {
		return 0
	}
	return min(o.Litres, ln.doseL, left)
}

// dueAfter is the nominal time for the litres, rounded up so that the volume
// is reached when it is over.
func dueAfter(litres, flowLPH float64) time.Duration {
	return time.Duration(math.Ceil(min(1e8, litres/flowLPH*3600) * float64(time.Second)))
}

func safeOpen(a Actuator, gr Grant) (err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("valves: open panicked: %v", r)
		}
	}()
	return a.Open(gr)
}

func safeClose(a Actuator) (err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("valves: close panicked: %v", r)
		}
	}()
	return a.Close()
}

// safeClosed is true only where the actuator knows that it is closed.
func safeClosed(a Actuator) (yes bool) {
	defer func() {
		if recover() != nil {
			yes = false
		}
	}()
	closed, known := a.Closed()
	return closed && known
}
