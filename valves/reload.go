package valves

import (
	"fmt"
	"time"

	"fabricpot/control/garden"
)

// ready has the limits hold whose time has come. The lock is held.
func (g *Guard) ready(now garden.Moment) {
	g.rules = g.file.inForce(now)
	for _, ln := range g.lines {
		ln.bounds = ln.file.inForce(now)
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
// given stays charged. A tighter limit holds at once, a looser one a day later, so
// that nothing that is left of today's budget grows; hours that move hold at once.
// Lines, their valves and their
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
	g.file.turn(now, next.file.now)
	for i, ln := range g.lines {
		ln.file.turn(now, next.lines[i].file.now)
	}
	g.ready(now)
	return nil
}
