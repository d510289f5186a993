package valves

import (
	"time"

	"fabricpot/control/garden"
)

const (
	// pumpRests is how long a pump rests after it showed no flow, doubled with
	// each time in a row up to pumpRestsMost: what keeps it from priming may pass,
	// and a meter that died must not let every pot die of thirst unheard.
	pumpRests     = 15 * time.Minute
	pumpRestsMost = 6 * time.Hour
)

// pump is the guard's account of the pump. It stands beside the actuators and
// trusts none of them.
type pump struct {
	garden.Pump
	running bool
	// since is when it began to run, flowedAt when the meter last counted while
	// it did; both monotonic.
	since, flowedAt time.Duration
	lockedTill      time.Duration
	dryRuns         int // in a row
}

// PumpStatus is what the page shows of a pump.
type PumpStatus struct {
	// DryRuns is how often in a row it was stopped for want of flow, LockedFor
	// how long it still rests for that.
	DryRuns   int
	LockedFor time.Duration
}

// Float tells the guard what the tank's float says. With none fitted it may be
// left out. FloatDown ends every pulse at once and refuses new ones.
func (g *Guard) Float(now garden.Moment, f garden.Float) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.float = f
	if f == garden.FloatDown {
		g.closeDue(now)
	}
}

// Pump is the guard's account of the pump.
func (g *Guard) Pump(now garden.Moment) PumpStatus {
	g.mu.Lock()
	defer g.mu.Unlock()
	p := &g.pump
	return PumpStatus{DryRuns: p.dryRuns, LockedFor: max(0, p.lockedTill-now.Mono)}
}

// pumping reports whether any line is open. The lock is held.
func (g *Guard) pumping() bool {
	for _, ln := range g.lines {
		if ln.pulse != nil && ln.pos == open {
			return g.pump.Fitted
		}
	}
	return false
}

// started notes that a line was opened. The lock is held.
func (g *Guard) started(now garden.Moment) {
	p := &g.pump
	if p.Fitted && !p.running {
		p.running, p.since, p.flowedAt = true, now.Mono, g.latest(now)
	}
}

// latest is the newest time known. The moment of an opening may be long past:
// bounds on the opening count from there, but a proof of flow that did would fail
// before any water could come. The lock is held.
func (g *Guard) latest(now garden.Moment) time.Duration { return max(now.Mono, g.seen) }

// see notes the time. A clock that runs backwards must not put off a proof. The
// lock is held.
func (g *Guard) see(now garden.Moment) {
	g.seen = now.Mono
	g.pump.flowedAt = min(g.pump.flowedAt, now.Mono)
	for _, ln := range g.lines {
		if p := ln.pulse; p != nil {
			p.dose.provenAt = min(p.dose.provenAt, now.Mono)
		}
	}
}

// flowed notes that the meter counted. The lock is held.
func (g *Guard) flowed(now garden.Moment) {
	if g.pumping() {
		g.pump.flowedAt, g.pump.dryRuns, g.pump.lockedTill = now.Mono, 0, 0
	}
}

// protect ends every pulse where the tank is empty or the pump runs dry. The
// lock is held.
func (g *Guard) protect(now garden.Moment) {
	p := &g.pump
	if p.running && !g.pumping() {
		p.running = false
	}
	dry := p.running && p.FlowWithin > 0 && now.Mono-p.flowedAt >= p.FlowWithin
	if dry {
		p.lockedTill = now.Mono + min(pumpRestsMost, pumpRests<<min(p.dryRuns, 10))
		p.dryRuns++
		p.running = false
	}
	if !dry && g.float != garden.FloatDown {
		return
	}
	for _, ln := range g.closing {
		if ln.pos == open && ln.pulse != nil {
			ln.pulse.end = garden.Stopped
			g.close(now, ln)
		}
	}
}

// pumpDeadline is when a running pump must have shown flow. The lock is held.
func (g *Guard) pumpDeadline() (time.Duration, bool) {
	p := &g.pump
	return p.flowedAt + p.FlowWithin, p.FlowWithin > 0 && g.pumping()
}

// pumpLeft is how long the pump may run from now on. The lock is held.
func (g *Guard) pumpLeft(now garden.Moment) time.Duration {
	p := &g.pump
	if g.pumping() {
		return p.MaxRun - max(0, now.Mono-p.since)
	}
	return p.MaxRun
}
