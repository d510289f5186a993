package valves

import (
	"time"

	"fabricpot/control/garden"
)

const (
	// besideMost is how many times their nominal flow lines beside another may give:
	// emitters spread, and pressure rises where one line gives nothing. Common
	// practice, no source.
	besideMost = 1.25
	// aloneFrom is how long a line must run alone for that to tell its flow: pipes
	// fill first.
	aloneFrom = 30 * time.Second
)

// ownFlow is what a meter counted while a line was open: in all, and without
// another line beside it.
type ownFlow struct {
	litres, aloneL float64
	alone          time.Duration
	// besideL is the nominal flow of the others in that time.
	besideL float64
}

// countOwn tells open lines what was counted within a time, and what may have run
// beside them in it. The lock is held.
func (g *Guard) countOwn(now garden.Moment, litres float64, within time.Duration) {
	var all float64 // L/h
	ran := func(ln *line) bool {
		return (ln.pulse != nil || len(ln.owed) > 0) && ln.pos != opening || ln.closed && ln.lastClose.foreign == nil && now.Mono-ln.lastClose.mono < within
	}
	for _, ln := range g.lines {
		if ran(ln) {
			all += ln.flowLPH
		}
	}
	for _, ln := range g.lines {
		if p := ln.pulse; p != nil && ln.pos == open {
			p.own.count(litres, within, min(within, now.Since(p.openedAt)), all-ln.flowLPH)
		}
	}
}

// count takes litres that were counted within a time, for the last of which the line
// was open; lines of that nominal flow may have run beside it.
func (o *ownFlow) count(litres float64, within, open time.Duration, besideLPH float64) {
	if besideLPH <= 0 {
		o.litres += litres
		o.aloneL += litres
		o.alone += open
		return
	}
	o.besideL += nominal(besideLPH, open)
	if within > 0 {
		o.litres += litres * open.Hours() / within.Hours()
	}
}

// lph is the least that the line itself gave while it was open for so long, L/h.
func (o *ownFlow) lph(on time.Duration) float64 {
	var least float64
	if on > 0 {
		least = max(0, o.litres-besideMost*o.besideL) / on.Hours()
	}
	if o.besideL > 0 && o.alone >= aloneFrom {
		least = max(least, o.aloneL/o.alone.Hours())
	}
	return least
}
