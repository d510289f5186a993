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
// A count that jumps back is a new start, not water.
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
	}
	g.meter.known, g.meter.totalL, g.meter.at = true, total.Value, now.Mono
	if delta == 0 {
		return
	}
	g.flowed(now)
	var flow float64
	for _, ln := range g.lines {
		if ln.pulse != nil && ln.pos != opening {
			flow += ln.flowLPH
		}
	}
	if flow <= 0 {
		g.meter.strayL += delta
		return
	}
	for _, ln := range g.lines {
		if ln.pulse != nil && ln.pos != opening {
			ln.pulse.meteredL += delta * ln.flowLPH / flow
		}
	}
	g.closeDue(now)
}

// Stray is what a meter counted in all while no line was open, litres. The
// first litres after a close may be a pipe that fills.
func (g *Guard) Stray() float64 {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.meter.strayL
}
