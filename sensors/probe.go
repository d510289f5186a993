package sensors

import (
	"time"

	"fabricpot/control/garden"
)

// probe is what is known of one probe between samples.
type probe struct {
	// Immutable.
	id      garden.ProbeID
	zone    garden.ZoneID
	chip    int
	channel int
	curve   *Curve // nil without calibration
	opts    *Options
	// Margins below and above the calibrated span, V.
	marginLo, marginHi float64

	short, open, wide limit
	// beyond judges the distance from the span in margins.
	beyond limit

	// Mutable.
	last     garden.Reading // the last answer that was not bad
	hasValue bool
	answered bool
	// recover counts the plausible samples still needed after a bad one, cause
	// is what was bad.
	recover int
	cause   garden.ReadingFault
	// The flat line: the value, since when, in how many samples.
	flatV     float64
	flatSince time.Duration
	flatCount int
	// ref is the last water fraction that was believed, for jumps.
	ref      float64
	refAt    time.Duration
	refKnown bool

	answers, failures uint64
	lastErr           error
}

// limit is a threshold that lets go later than it takes.
type limit struct {
	take, release float64
	held          bool
}

// over judges a value against a limit above which something is wrong.
func (l *limit) over(v float64) bool {
	if l.held {
		l.held = v > l.release
	} else {
		l.held = v > l.take
	}
	return l.held
}

// How long a jump stays unexplained. No plant empties a pot faster than about
// 0.06 m³/m³ in an hour (a 75 L pot at 4.5 L/h); rain and cans refill one faster.
const (
	fallPerHour = 0.06
	risePerHour = 0.5
	// railClearanceV keeps a calibrated point near a rail from being a fault.
	railClearanceV = 0.02
)

func newProbe(pr garden.Probe, zone garden.ZoneID, chip int, curve *Curve, o *Options) probe {
	p := probe{id: pr.ID, zone: zone, chip: chip, channel: pr.Input.Channel, curve: curve, opts: o}
	short, open, noisy := o.ShortBelowV, o.OpenAboveV, o.NoisyV
	if curve != nil {
		span := curve.hi - curve.lo
		p.marginLo, p.marginHi = o.DryMargin*span, o.WetMargin*span
		if curve.falls() {
			p.marginLo, p.marginHi = p.marginHi, p.marginLo
		}
		if curve.measured {
			short, open = min(short, curve.lo-railClearanceV), max(open, curve.hi+railClearanceV)
		}
		if noisy == 0 {
			noisy = max(0.02, span/20)
		}
	} else if noisy == 0 {
		noisy = 0.05
	}
	// The short's limit works on the negative voltage, to be "over" as well.
	p.short = limit{take: -short, release: -short - railClearanceV/2}
	p.open = limit{take: open, release: open - railClearanceV/2}
	p.beyond = limit{take: 1, release: 0.8}
	p.wide = limit{take: noisy, release: 0.6 * noisy}
	return p
}

// judge completes the reading of a sample that has the burst's median: spread is the
// burst's width, V.
func (p *probe) judge(now garden.Moment, r *garden.Reading, spread float64) {
	v := float64(r.Volts)
	p.answered = true
	open, short := p.open.over(v), p.short.over(-v)
	switch {
	case open:
		p.bad(r, garden.OpenCircuit)
		return
	case short:
		p.bad(r, garden.ShortCircuit)
		return
	case p.curve == nil:
		p.bad(r, garden.NoCalibration)
		return
	}
	var outside float64
	r.Water, outside = p.curve.WaterAt(r.Volts, r.TempC)
	if p.flat(now.Mono, v, spread) {
		p.bad(r, garden.FlatLine)
		return
	}
	if p.jumped(now.Mono, float64(r.Water)) {
		p.bad(r, garden.TooFast)
		return
	}
	margin := p.marginLo
	if v > p.curve.hi {
		margin = p.marginHi
	}
	beyond, wide := p.beyond.over(outside/margin), p.wide.over(spread)
	if p.recover > 0 {
		p.recover--
	}
	r.Quality = garden.Uncertain
	switch {
	case beyond:
		r.Fault = garden.OutOfSpan
	case wide:
		r.Fault = garden.Noisy
	case p.recover > 0:
		r.Fault = p.cause
	default:
		r.Quality = garden.Good
	}
	p.last.At, p.last.Volts, p.last.Water, p.last.TempC = now, r.Volts, r.Water, r.TempC
	p.hasValue = true
}

func (p *probe) bad(r *garden.Reading, f garden.ReadingFault) {
	r.Quality, r.Fault = garden.Bad, f
	p.recover, p.cause = samplesToRecover, f
	p.last.At = r.At // it did answer
	p.hasValue = false
}

// missing is the reading of a probe that did not answer: for a while its last
// value, with that value's time, as uncertain; afterwards bad.
func (p *probe) missing(now garden.Moment, stale bool) garden.Reading {
	if p.hasValue && !stale && now.Since(p.last.At) <= p.opts.HoldFor {
		r := p.last
		r.Probe, r.Zone, r.Quality, r.Fault = p.id, p.zone, garden.Uncertain, garden.Missing
		return r
	}
	r := garden.Reading{Probe: p.id, Zone: p.zone, At: now, Quality: garden.Bad, Fault: garden.Missing}
	if p.answered {
		r.At = p.last.At
	}
	if stale {
		r.Fault = garden.Stale
	}
	p.recover, p.cause = samplesToRecover, r.Fault
	p.hasValue = false
	return r
}

// flat reports whether the probe has not moved at all for too long. A working
// one never stands still to the last count, because of its noise.
func (p *probe) flat(now time.Duration, v, spread float64) bool {
	if p.flatCount == 0 || v != p.flatV || spread != 0 {
		p.flatV, p.flatSince, p.flatCount = v, now, 1
		return false
	}
	p.flatCount++
	return p.opts.FlatAfter > 0 && p.flatCount >= flatSamples && now-p.flatSince >= p.opts.FlatAfter
}

// jumped reports whether water moved faster than it can since it was last
// believed. What is not believed does not become the reference, so a probe
// pulled out of the mix stays distrusted until it is back or until so much time
// has passed that a plant could have drunk the difference.
func (p *probe) jumped(now time.Duration, water float64) bool {
	if p.refKnown {
		hours := max(0, now-p.refAt).Hours()
		step := water - p.ref
		if step < -(p.opts.MaxFall+fallPerHour*hours) || step > p.opts.MaxRise+risePerHour*hours {
			return true
		}
	}
	p.ref, p.refAt, p.refKnown = water, now, true
	return false
}
