package valves

import (
	"fmt"
	"time"

	"fabricpot/control/garden"
)

// bounds are what a line may give and for how long.
type bounds struct {
	capL, doseL float64
	maxOn       time.Duration
	// doses is how many survival doses go out while the journal can't be written.
	doses int
}

// tighter is the lesser of both in everything.
func (b bounds) tighter(o bounds) bounds {
	return bounds{min(b.capL, o.capL), min(b.doseL, o.doseL), min(b.maxOn, o.maxOn), min(b.doses, o.doses)}
}

// wait is a line's bounds that a reload loosened: they hold from at on.
type wait struct {
	to bounds
	at time.Duration
	on bool
}

// ready gives every line the bounds whose time has come. The lock is held.
func (g *Guard) ready(now garden.Moment) {
	for _, ln := range g.lines {
		if ln.wait.on && now.Mono >= ln.wait.at {
			ln.bounds, ln.wait = ln.wait.to, wait{}
		}
	}
}

// AllShut lists the lines that are not confirmed closed, and until when at most
// each of those that are open stays so, zero for the others.
func (g *Guard) AllShut() (open []garden.LineID, until time.Duration) {
	g.mu.Lock()
	defer g.mu.Unlock()
	for _, ln := range g.lines {
		if ln.pos == shut && ln.pulse == nil {
			continue
		}
		open = append(open, ln.id)
		if ln.pulse != nil {
			until = max(until, ln.pulse.deadline)
		}
	}
	return open, until
}

// Reload has the guard go on by the limits of another version of its garden,
// while every line is confirmed closed. It never touches a coil, and what was
// given stays charged. A lower limit holds at once, a higher one a day later:
// nothing that is left of today's budget grows. Lines, their valves and their
// flows must be the same. After an error nothing has changed.
func (g *Guard) Reload(now garden.Moment, to *garden.Garden, o Options) error {
	o.Margin = g.margin
	next, err := NewGuard(to, nil, g.ledger, o)
	if err != nil {
		return err
	}
	g.asking.Lock()
	defer g.asking.Unlock()
	g.mu.Lock()
	defer g.mu.Unlock()
	if len(next.lines) != len(g.lines) {
		return fmt.Errorf("valves: %d lines instead of %d: that takes a restart", len(next.lines), len(g.lines))
	}
	for i, ln := range g.lines {
		n := next.lines[i]
		switch {
		case ln.id != n.id || ln.flowLPH != n.flowLPH || ln.maxDose != n.maxDose:
			return fmt.Errorf("valves: line %s is another line now: that takes a restart", ln.id)
		case ln.pos != shut || ln.pulse != nil:
			return fmt.Errorf("valves: line %s is not confirmed closed", ln.id)
		}
	}
	g.ready(now)
	for i, ln := range g.lines {
		ln.turn(now, next.lines[i].bounds)
	}
	g.g, g.supply = to, next.supply
	return nil
}

// turn takes over bounds from a garden file. The lock is held.
func (ln *line) turn(now garden.Moment, to bounds) {
	before := ln.wait
	ln.bounds, ln.wait = ln.bounds.tighter(to), wait{}
	if ln.bounds == to {
		return
	}
	ln.wait = wait{to: to, at: now.Mono + day, on: true}
	if before.on && before.to == to {
		// It waits already; asking again makes it wait no longer.
		ln.wait.at = before.at
	}
}
