package feed

import (
	"fmt"
	"time"

	"fabricpot/control/garden"
)

// Plan is what the sequence needs to know of one zone, resolved once at start.
type Plan struct {
	Zone garden.ZoneID
	// Line carries feed to the zone; empty means a person does.
	Line garden.LineID
	// LineShare is the part of the line's flow that reaches this zone, 0..1.
	LineShare float64
	// FlowLPH is the whole line's flow, L/h.
	FlowLPH float64
	// Flush is the line that can bring plain water; it is that of feeds too
	// where there is one, and empty where a person waters.
	Flush Through
	// VolumeL is the zone's mix, L.
	VolumeL float64
	// Capacity, Refill and LowerLimit are water fractions of the zone's mean.
	Capacity, Refill, LowerLimit float64
	// PulseL is the most one pulse gives the zone, L.
	PulseL float64
	// CapL is the most ready solution the zone gets in any CapWindow, L.
	CapL float64
	// EveryWatering tells that weak feed goes with the line's waterings, of which
	// CapNG bounds the nitrogen in any CapWindow, g.
	EveryWatering bool
	CapNG         float64
	// Plants is how many stand in the zone.
	Plants int
	Timing Timing
}

// Through is a line as one of its zones sees it.
type Through struct {
	Line garden.LineID
	// Share is the part of its flow that reaches the zone, 0..1, FlowLPH the
	// whole line's flow, L/h.
	Share, FlowLPH float64
}

// Timing are the waits of the sequence. All are judgement.
type Timing struct {
	// BetweenPulses lets a pulse sink in.
	BetweenPulses time.Duration
	// BeforeSoak is the rest between the feed and the water that carries it
	// down, and again before a closing dose.
	BeforeSoak time.Duration
	// AfterMoisten is the wait between moistening and feeding.
	AfterMoisten time.Duration
	// JoinWithin is how near the next watering must be to wait for it.
	JoinWithin time.Duration
	// JoinForDays is how long past its day a feed may wait for a watering.
	JoinForDays float64
	// ResumeWithin is how long after its beginning a feed that was interrupted
	// is still carried on.
	ResumeWithin time.Duration
	// RetryDry is the wait after moistening did nothing.
	RetryDry time.Duration
}

// UsualTiming is a timing that suits pots from 20 to 400 L.
func UsualTiming() Timing {
	return Timing{
		BetweenPulses: 20 * time.Minute, BeforeSoak: time.Hour, AfterMoisten: 30 * time.Minute,
		JoinWithin: 48 * time.Hour, JoinForDays: 3, ResumeWithin: 6 * time.Hour, RetryDry: 24 * time.Hour,
	}
}

// What the weather and the mix must allow. The two temperatures and the
// saturated pot are the rule of the trade; the figures are judgement.
const (
	// HottestC and ColdestC bound the mix temperature for feeding, °C.
	HottestC, ColdestC = 35.0, 12.0
	// HeavyRainMM within the next half day washes a feed out.
	HeavyRainMM = 10.0
	// fullShare of the band from lower limit to capacity counts as saturated.
	fullShare = 0.95
	// maxMoisten is how many pulses moistening gets.
	maxMoisten = 3
	// closingShare of a feed is kept for the closing dose when catching up.
	closingShare = 0.2
	// soakUse is how much of the room left the soak may take.
	soakUse = 0.8
)

// Check tells what makes a plan impossible.
func (p *Plan) Check() error {
	bad := func(what string, v float64, want string) error {
		return fmt.Errorf("feed: zone %q: %s is %v, expected %s", p.Zone, what, v, want)
	}
	pos := func(v float64) bool { return garden.Finite(v) && v > 0 }
	switch {
	case p.Plants <= 0:
		return fmt.Errorf("feed: zone %q has no plants, expected at least one: take the feed plan out or enter the plants", p.Zone)
	case !pos(p.VolumeL):
		return bad("volume", p.VolumeL, "more than 0 L")
	case !pos(p.CapL):
		return bad("cap", p.CapL, "more than 0 L")
	case p.Flush.Line != "" && (!pos(p.Flush.Share) || p.Flush.Share > 1 || !pos(p.Flush.FlowLPH) || !pos(p.PulseL)):
		return fmt.Errorf("feed: zone %q: flush through line %q at %v of %v L/h in pulses of %v L, expected a share up to 1 and more than 0 L", p.Zone, p.Flush.Line, p.Flush.Share, p.Flush.FlowLPH, p.PulseL)
	case p.Line == "":
		return nil
	case !pos(p.PulseL):
		return bad("pulse", p.PulseL, "more than 0 L")
	case p.EveryWatering && !pos(p.CapNG):
		return bad("cap on nitrogen", p.CapNG, "more than 0 g")
	case !pos(p.LineShare) || p.LineShare > 1:
		return bad("share of the line", p.LineShare, "more than 0 up to 1")
	case !pos(p.FlowLPH):
		return bad("line flow", p.FlowLPH, "more than 0 L/h")
	case !(p.LowerLimit >= 0 && p.LowerLimit < p.Refill && p.Refill < p.Capacity && p.Capacity <= 1):
		return fmt.Errorf("feed: zone %q: lower limit %v, refill point %v, capacity %v, expected them to rise within 0 to 1", p.Zone, p.LowerLimit, p.Refill, p.Capacity)
	}
	t := p.Timing
	for _, d := range [...]time.Duration{t.BetweenPulses, t.BeforeSoak, t.AfterMoisten, t.JoinWithin, t.ResumeWithin, t.RetryDry} {
		if d < 0 || d > 30*day {
			return fmt.Errorf("feed: zone %q: a wait of %v, expected 0 to 30 days", p.Zone, d)
		}
	}
	// Longer, and the window of the cap could cut a resumed feed in two.
	if t.ResumeWithin > capWindow-CapWindow {
		return fmt.Errorf("feed: zone %q: an interrupted feed is resumed within %v, expected at most %v", p.Zone, t.ResumeWithin, capWindow-CapWindow)
	}
	return nil
}

// dryBelow is the water fraction under which mix is moistened before it is fed:
// half way from the refill point to the lower limit.
func (p *Plan) dryBelow() float64 { return (p.Refill + p.LowerLimit) / 2 }

// fullAbove is the water fraction over which a pot counts as saturated.
func (p *Plan) fullAbove() float64 { return p.LowerLimit + fullShare*(p.Capacity-p.LowerLimit) }
