package valves

import (
	"time"

	"fabricpot/control/garden"
)

// meterStale is how old a count may be before the guard falls back to nominal
// flow.
const meterStale = 15 * time.Second

// meter follows a flow meter on the supply.
type meter struct {
	known  bool
	totalL float64
	at     time.Duration
	// strayL is what ran while every line was confirmed closed.
	strayL float64
}

func (m *meter) fresh(now garden.Moment) bool {
	return m.known && now.Mono-m.at <= meterStale && now.Mono >= m.at-clockBack
}

// Meter tells the guard what a flow meter on the supply has counted in all,
// litres; absent where it does not answer. With lines open the new litres are
// shared among them by nominal flow; with none they are stray, and Stray tells.
// A count that jumps back is a new start, not water.
func (g *Guard) Meter(now garden.Moment, total garden.Measured) {
	g.mu.Lock()
	defer g.mu.Unlock()
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
