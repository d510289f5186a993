package valves

import (
	"slices"
	"time"

	"fabricpot/control/garden"
)

const (
	// pumpRests is how long a pump rests after it showed no flow, doubled with
	// each time in a row up to pumpRestsMost: what keeps it from priming may pass,
	// and a meter that died must not let every pot die of thirst unheard.
	pumpRests     = 15 * time.Minute
	pumpRestsMost = 6 * time.Hour
	// doubtAfter is how many times in a row it may have shown no flow before its
	// meter is suspected, where a float says that there is water.
	doubtAfter = 3
	// Then it makes a series of tries with a short rest, seriesLasts of running in
	// all, so that what a pot gets of them if there is water shows at its probes; and
	// after restsBetween long rests another. With flow-within as it is reckoned that
	// is under sixteen minutes a day.
	seriesLasts  = 8 * time.Minute
	seriesMost   = 16
	seriesRest   = 5 * time.Minute
	restsBetween = 4
)

// How long a pump may run that no meter watches until a probe rises again with its
// water: risenRun after one did; deafRun where the meter does not even answer, which
// is no sign that nothing flows. Long enough for a pot to be given its water and to
// show it; a pump that is dry after all, by another fault, is bounded by it.
const (
	risenRun = 30 * time.Minute
	deafRun  = 10 * time.Minute
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
	dryLines        []garden.LineID
	// deafRuns is in how many of these, the last ones, the meter did not answer at
	// all, heard whether it did since the pump was started.
	deafRuns int
	heard    bool
	// trust is how long it may yet run without a count, seenAt up to when that is
	// reckoned.
	trust, seenAt time.Duration
}

// PumpStatus is what the page shows of a pump.
type PumpStatus struct {
	// DryRuns is how often in a row it was stopped for want of flow, LockedFor
	// how long it still rests for that.
	DryRuns   int
	LockedFor time.Duration
	// DryLines are the lines that it ran for the last time it was stopped for that.
	DryLines []garden.LineID
	// MeterDoubted tells that the meter shows no flow and that it is believed to be at
	// fault: lines are watered by their rated flow for as long as the float says that
	// there is water and probes rise with it.
	MeterDoubted bool
	// FloatDoubted tells that the float says that the tank is empty while the meter
	// counts what it gives.
	FloatDoubted bool
}

// Pump is the guard's account of the pump.
func (g *Guard) Pump(now garden.Moment) PumpStatus {
	g.mu.Lock()
	defer g.mu.Unlock()
	p := &g.pump
	return PumpStatus{DryRuns: p.dryRuns, LockedFor: max(0, p.lockedTill-now.Mono), DryLines: slices.Clone(p.dryLines), MeterDoubted: p.trust > 0,
		FloatDoubted: g.float == garden.FloatDown && g.low.proven}
}

// WaterCame tells the guard that a probe rose with water that a pump gave and its
// meter did not count. Where the float says that there is water too, and after
// doubtAfter tries, the pump may run for a while without a count, within all its other
// bounds. The first count ends that.
func (g *Guard) WaterCame(now garden.Moment) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.trustPump(now, risenRun)
}

// trustPump lets the pump run for so long without a count. The lock is held.
func (g *Guard) trustPump(now garden.Moment, run time.Duration) {
	p := &g.pump
	if !p.Fitted || p.FlowWithin <= 0 || p.dryRuns < doubtAfter || g.float != garden.FloatUp {
		return
	}
	if p.running {
		g.spendTrust(now)
	}
	p.trust, p.seenAt, p.lockedTill = max(p.trust, run), now.Mono, 0
}

// spendTrust takes from the trust what the pump ran. The lock is held.
func (g *Guard) spendTrust(now garden.Moment) {
	p := &g.pump
	p.trust -= min(p.trust, max(0, now.Mono-p.seenAt))
	p.seenAt = max(p.seenAt, now.Mono)
}

// meterDoubted reports whether lines are watered without a count. The lock is held.
func (g *Guard) meterDoubted() bool { return g.pump.trust > 0 }

// pumpRest is how long the pump rests now that it showed no flow once more. The lock is
// held.
func (g *Guard) pumpRest() time.Duration {
	p := &g.pump
	n := p.dryRuns - doubtAfter
	if n >= 0 && g.float == garden.FloatUp {
		if series := min(seriesMost, int(seriesLasts/p.FlowWithin)); n%(series+restsBetween) < series {
			return seriesRest
		}
	}
	return min(pumpRestsMost, pumpRests<<min(p.dryRuns, 10))
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
		p.heard, p.seenAt = g.meter.known, g.latest(now)
	}
	g.startedLow(now)
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
	g.pump.seenAt = min(g.pump.seenAt, now.Mono)
	g.low.seenAt = min(g.low.seenAt, now.Mono)
	for _, ln := range g.lines {
		if p := ln.pulse; p != nil {
			p.dose.provenAt = min(p.dose.provenAt, now.Mono)
		}
	}
}

// flowed notes that the meter counted. The lock is held.
func (g *Guard) flowed(now garden.Moment) {
	if g.pumping() {
		p := &g.pump
		p.flowedAt, p.dryRuns, p.lockedTill = now.Mono, 0, 0
		p.trust, p.deafRuns = 0, 0
	}
}

// protect ends every pulse where the tank is empty or the pump runs dry. The
// lock is held.
func (g *Guard) protect(now garden.Moment) {
	p := &g.pump
	if p.running && p.trust > 0 {
		g.spendTrust(now)
		if p.trust == 0 {
			p.dryRuns = doubtAfter - 1 // and the next series begins
		}
	}
	if p.running && !g.pumping() {
		p.running = false
	}
	low, lowDry := g.floatEnds(now)
	dry := p.running && p.FlowWithin > 0 && p.trust == 0 && now.Mono-p.flowedAt >= p.FlowWithin
	switch {
	case lowDry:
		// The float said so, and its own tries are seldom enough: a pump that it holds
		// back need not rest as well once the tank is filled.
		p.running, dry = false, p.Fitted
	case dry:
		p.lockedTill = now.Mono + g.pumpRest()
		p.dryRuns++
		p.running = false
		if p.deafRuns++; p.heard {
			p.deafRuns = 0
		}
		if p.deafRuns == doubtAfter {
			// Nobody says that no water flows, and the float says that there is some.
			g.trustPump(now, deafRun)
		}
	}
	if !dry && !low {
		return
	}
	if dry {
		p.dryLines = p.dryLines[:0]
	}
	for _, ln := range g.closing {
		if ln.pos == open && ln.pulse != nil {
			if dry {
				p.dryLines = append(p.dryLines, ln.id)
			}
			ln.pulse.end, ln.pulse.pumpDry, ln.pulse.tankLow = garden.Stopped, dry, low
			g.close(now, ln)
		}
	}
}

// pumpDeadline is when a running pump must have shown flow. The lock is held.
func (g *Guard) pumpDeadline() (time.Duration, bool) {
	p := &g.pump
	at := p.flowedAt + p.FlowWithin
	if p.trust > 0 {
		at = max(at, p.seenAt+p.trust)
	}
	return at, p.FlowWithin > 0 && g.pumping()
}

// pumpLeft is how long the pump may run from now on. The lock is held.
func (g *Guard) pumpLeft(now garden.Moment) time.Duration {
	p := &g.pump
	if g.pumping() {
		return p.MaxRun - max(0, now.Mono-p.since)
	}
	return p.MaxRun
}
