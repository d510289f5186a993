package valves

import (
	"time"

	"fabricpot/control/garden"
)

// meterStale is how far a count may be from the moment it is used at before the
// guard falls back to nominal flow.
const meterStale = 15 * time.Second

// meter follows a flow meter on the supply.
type meter struct {
	known  bool
	totalL float64
	at     time.Duration
	// ranAt is when it last counted anything, or was first heard of.
	ranAt time.Duration
	// strayL is what ran while every line was confirmed closed.
	strayL float64
}

// metered reports whether there is a count to go by. now may lie long before the
// last one: a round that reads slow probes decides by the time it began at. The
// lock is held.
func (g *Guard) metered(now garden.Moment) bool {
	return g.meter.known && (g.latest(now)-g.meter.at).Abs() <= meterStale
}

// Meter tells the guard what a flow meter on the supply has counted in all,
// litres; absent where it does not answer. With lines open the new litres are
// shared among them by nominal flow; with none they are stray, and Stray tells.
// Lines that are not confirmed closed get what the open ones do not account for: one
// that is closed and does not say so would take the half of another's litres, which
// then got twice what was ordered. Nor may another that is open and gives nothing
// make a feed of it twice as much, nor a flush: beside other lines those count as
// their own what their nominal flow comes to, as far as that was counted at all. A
// count that jumps back is a new start, not water.
func (g *Guard) Meter(now garden.Moment, total garden.Measured) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.seen = now.Mono
	if !total.Known || !garden.Finite(total.Value) {
		g.meter.known = false
		return
	}
	var delta float64
	if g.meter.known {
		delta = max(0, total.Value-g.meter.totalL)
	} else {
		g.meter.ranAt = now.Mono
	}
	g.meter.known, g.meter.totalL, g.meter.at = true, total.Value, now.Mono
	g.pump.heard = true
	if delta == 0 {
		return
	}
	since := max(0, now.Mono-g.meter.ranAt)
	g.meter.ranAt = now.Mono
	g.flowed(now)
	g.countedLow(now, delta)
	g.share(now, delta, since)
	g.closeDue(now)
}

// share books litres that were counted within a time. The lock is held.
func (g *Guard) share(now garden.Moment, litres float64, within time.Duration) {
	var opened, doubtful float64 // L/h
	for _, ln := range g.lines {
		switch {
		case ln.pulse == nil || ln.pos == opening:
		case ln.pos == open:
			opened += ln.flowLPH
		default:
			doubtful += ln.flowLPH
		}
	}
	if opened+doubtful <= 0 {
		g.meter.strayL += litres
		return
	}
	g.countOwn(now, litres, within)
	theirs := litres
	if doubtful > 0 {
		theirs = min(litres, nominal(opened, within))
	}
	for _, ln := range g.lines {
		switch {
		case ln.pulse == nil || ln.pos == opening:
		case ln.pos == open:
			p, got := ln.pulse, theirs*ln.flowLPH/opened
			if byTheLitre(p.order) && opened > ln.flowLPH {
				got = max(got, min(theirs, nominal(ln.flowLPH, now.Since(p.openedAt))-p.meteredL))
			}
			p.meteredL += got
		default:
			ln.pulse.meteredL += (litres - theirs) * ln.flowLPH / doubtful
		}
	}
}

// byTheLitre reports whether no probe would notice that an order gave too much: feed,
// and water that washes salts, and feed with them, out of a soaked mix.
func byTheLitre(o garden.Order) bool {
	return o.Kind == garden.Feeding || o.Why.Code == garden.LeachSalts
}

// Stray is what a meter counted in all while no line was open, litres. The
// first litres after a close may be a pipe that fills.
func (g *Guard) Stray() float64 {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.meter.strayL
}
