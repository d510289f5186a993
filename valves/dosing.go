package valves

import (
	"time"

	"fabricpot/control/garden"
)

// doser is a line whose actuator has an injector behind it.
type doser interface {
	// StopDosing releases the injector and leaves the valve as it is.
	StopDosing() error
}

// wrapper is an Actuator around a line's valve. What that can do besides opening
// and closing is looked for within: a pump around an injector must not hide it.
type wrapper interface{ within() Actuator }

// doserOf is the injector of a line, however it is wrapped.
func doserOf(a Actuator) (doser, bool) {
	for {
		if d, ok := a.(doser); ok {
			return d, true
		}
		w, ok := a.(wrapper)
		if !ok {
			return nil, false
		}
		a = w.within()
	}
}

// dosing is the injector's part of a pulse. It runs no longer than its own limit,
// and where a meter counts, never without water: while the meter counts too
// little within the time that proves flow, it is released. The line goes on with plain
// water, except that a feed without flow ends.
type dosing struct {
	on bool
	// until is its own limit, within the time that proves flow, 0 for no proof.
	until, within time.Duration
	provenAt      time.Duration
	provenL       float64
	// stopped tells that it ended before the line, after doneL; dry for want of
	// flow.
	stopped, dry bool
	doneL        float64
}

// A proof of flow takes provingPulses: one may come from a pipe that settles, or from
// nowhere. The time it is given has room for leastPulses by the line's rating, so that
// a line that gives two thirds of it still proves itself.
const provingPulses, leastPulses = 2, 3

// provingL is what a line must be seen to give for a proof of flow, L: half a pulse
// under provingPulses, whatever their sum is rounded to.
func provingL(g *garden.Garden) float64 {
	return (provingPulses - 0.5) / g.Supply.MeterPulsesPerL.Or(1)
}

// proofTime is how long a line of that flow may run with its injector engaged
// before the meter must have counted; 0 where none proves anything. A premixed
// tank need not lie behind the supply's meter.
func proofTime(g *garden.Garden, l *garden.Line) time.Duration {
	perL := g.Supply.MeterPulsesPerL
	if !perL.Known || !(perL.Value > 0) || l.Injector.Premixed || !l.Injector.Present() {
		return 0
	}
	within := l.Injector.FlowWithin
	if within <= 0 {
		within = garden.DefaultFlowWithin
	}
	return max(within, onTime(leastPulses/perL.Value, l.FlowLPH()))
}

// beginDosing follows the injector of a line that has just opened. The lock is
// held.
func (g *Guard) beginDosing(now garden.Moment, ln *line) {
	p := ln.pulse
	if _, ok := doserOf(ln.act); !ok || !p.order.Doses() {
		return
	}
	p.dose = dosing{on: true, until: p.deadline, within: ln.flowProof, provenAt: g.latest(now)}
	if ln.maxDose > 0 {
		p.dose.until = min(p.dose.until, now.Mono+ln.maxDose)
	}
}

// doses releases injectors whose time is over or that show no flow. The lock is
// held.
func (g *Guard) doses(now garden.Moment) {
	for _, ln := range g.closing {
		p := ln.pulse
		if p == nil || ln.pos != open || !p.dose.on {
			continue
		}
		d := &p.dose
		if p.meteredL >= d.provenL+ln.provingL {
			d.provenL, d.provenAt = p.meteredL, now.Mono
		}
		dry := d.within > 0 && now.Mono-d.provenAt >= d.within
		if !dry && now.Mono < d.until {
			continue
		}
		d.on, d.stopped, d.dry, d.doneL = false, true, dry, p.soFarL(now, ln)
		// Its own limit is no fault; an injector that can't be released is, and so
		// is a feed without water.
		if err := safeStopDosing(ln.act); err != nil || dry && p.order.Kind == garden.Feeding {
			p.end = garden.Faulted
			if err != nil {
				ln.failures++
			}
			g.close(now, ln)
			if ln.pos == unconfirmed && ln.lastErr == nil {
				// What the close itself came to says more, and a line that is
				// confirmed closed has no trouble any more.
				ln.lastErr = err
			}
		}
	}
}

// soFarL is what has flowed by now, L.
func (p *pulse) soFarL(now garden.Moment, ln *line) float64 {
	if p.byMeter {
		return p.meteredL
	}
	return nominal(ln.flowLPH, now.Since(p.openedAt))
}

// dosedL is how much of the pulse's litres went through the injector.
func (p *pulse) dosedL(litres float64) float64 {
	switch {
	case !p.order.Doses():
		return 0
	case p.dose.stopped:
		return min(litres, p.dose.doneL)
	}
	return litres
}

// doseDeadline is when the next injector has to be looked at. The lock is held.
func (g *Guard) doseDeadline() (at time.Duration, any bool) {
	for _, ln := range g.lines {
		if p := ln.pulse; p != nil && ln.pos == open && p.dose.on {
			t := p.dose.until
			if p.dose.within > 0 {
				t = min(t, p.dose.provenAt+p.dose.within)
			}
			if !any || t < at {
				at, any = t, true
			}
		}
	}
	return at, any
}

func safeStopDosing(a Actuator) (err error) {
	defer func() {
		if r := recover(); r != nil {
			err = errInjector
		}
	}()
	if d, ok := doserOf(a); ok {
		return d.StopDosing()
	}
	return nil
}
