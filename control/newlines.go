package control

import (
	"fmt"
	"time"

	"fabricpot/control/garden"
)

func (b *builder) line(l *garden.Line) {
	lp := LinePlan{ID: l.ID, FlowLPH: l.FlowLPH(), DU: l.DU, MaxOn: b.g.Limits.MaxOn}
	if l.MaxOn > 0 && (lp.MaxOn <= 0 || l.MaxOn < lp.MaxOn) {
		lp.MaxOn = l.MaxOn
	}
	if lp.DU <= 0 || lp.DU > 1 || !garden.Finite(lp.DU) {
		lp.DU = 1
	}
	if _, twice := b.lines[l.ID]; !twice {
		b.lines[l.ID] = l
	}
	b.p.lineAt[l.ID] = len(b.p.lines)
	b.p.lines = append(b.p.lines, lp)
}

// finishLines works out what needs all zones: caps and shared lines.
func (b *builder) finishLines() {
	for i := range b.p.zones {
		if z := &b.p.zones[i]; z.line >= 0 {
			l := &b.p.lines[z.line]
			l.zones = append(l.zones, i)
			l.soak = max(l.soak, z.Soak)
		}
	}
	for i := range b.p.lines {
		l := &b.p.lines[i]
		path := "lines." + string(l.ID)
		if l.MaxOn <= 0 {
			b.fatal("limits.max-on", "the longest opening is %v, expected over 0", l.MaxOn)
		}
		refill, probed, pinned := 0.0, true, true
		for _, zi := range l.zones {
			z := &b.p.zones[zi]
			if z.share <= 0 {
				continue
			}
			// The line must run for the neediest of its zones.
			l.PeakDailyL = max(l.PeakDailyL, z.PeakDailyL/z.share)
			refill = max(refill, z.RefillL/z.share)
			l.DryFillL = max(l.DryFillL, z.dryFillL()/z.share)
			probed = probed && len(z.probes) > 0
			for _, pi := range z.probes {
				pinned = pinned && b.p.probes[pi].levelSD == 0
			}
		}
		for _, zi := range l.zones {
			b.p.zones[zi].compared = len(l.zones) > 1 && probed && pinned
		}
		// A pot found dry may need more than its plant drinks in a day: a cap
		// must not keep it so.
		l.PeakDailyL = max(l.PeakDailyL, 0.6*refill)
		if len(l.zones) > 1 || !probed {
			l.PeakDailyL /= l.DU
			l.DryFillL /= l.DU
		}
		// A small plant in a pot found dry needs many days' drink at once. More
		// than the pot holds and the plant drinks can only run out of it.
		l.CapL = max(max(b.g.Limits.DailyFactor, 2)*l.PeakDailyL, l.DryFillL+l.PeakDailyL)
		if cap := b.lines[l.ID].DailyCapL; cap.Known {
			l.CapL = cap.Value
			if cap.Value < l.PeakDailyL {
				b.warn(path+".daily-cap", "daily cap of %.1f L is under the %.1f L its zones may need on a hot day", cap.Value, l.PeakDailyL)
			}
		}
		l.EstimatedL = min(l.CapL, 1.2*max(l.PeakDailyL, refill))
	}
}

// judge warns about what the parts look like together.
func (b *builder) judge() {
	open := openHours(b.g.Supply.Hours)
	var lineHours float64
	for i := range b.p.lines {
		l := &b.p.lines[i]
		path := "lines." + string(l.ID)
		if l.FlowLPH <= 0 || len(l.zones) == 0 {
			continue
		}
		if b.g.Supply.FlowLPH > 0 && l.FlowLPH > b.g.Supply.FlowLPH {
			b.fatal(path, "its emitters take %.1f L/h and the supply carries %.1f L/h", l.FlowLPH, b.g.Supply.FlowLPH)
		}
		h := l.PeakDailyL / l.FlowLPH
		lineHours += h * l.FlowLPH
		if h > open {
			b.warn(path, "needs %.1f h a day on a hot day and watering is allowed for %.1f h: longer hours of the supply, or more or bigger emitters", h, open)
		}
		b.judgeShared(path, l)
		for _, zi := range l.zones {
			z := &b.p.zones[zi]
			if least := (z.RefillL + washShare*z.VolumeL) / max(z.share, 1e-9); z.LeachByNeed && l.CapL < least {
				b.warn(path, "may give %.1f L a day and a watering that washes salts out of %s takes %.1f L at least: its salts stay; a larger daily-cap, or rain water", l.CapL, z.ID, least)
			}
		}
	}
	if f := b.g.Supply.FlowLPH; f > 0 && lineHours/f > open {
		b.warn("supply", "carries %.0f L/h: all lines together need %.1f h a day on a hot day and watering is allowed for %.1f h: longer hours, or a supply that carries more", f, lineHours/f, open)
	}
	for i := range b.p.zones {
		z := &b.p.zones[i]
		_, gz, ok := b.g.Zone(z.ID)
		if !ok || z.VolumeL <= 0 {
			continue
		}
		path := zonePath(gz)
		if z.PeakDailyL > 0 {
			if days := z.RefillL / z.PeakDailyL; days < 0.5 {
				b.warn(path, "on a hot day it drinks %.1f L and only %.1f L lie between capacity and refill point: watered every %.0f h, and dry within a day if water stops", z.PeakDailyL, z.RefillL, 24*days)
			} else if all := float64(z.Capacity-z.LowerLimit) * z.VolumeL; all < z.PeakDailyL {
				b.warn(path, "its available %.1f L are less than the %.1f L it may drink on a hot day: it empties within a day", all, z.PeakDailyL)
			}
		}
		if len(z.probes) == 0 {
			b.warn(path, "has no probe: it lives on the water balance alone")
		}
	}
}

// judgeShared warns where one line can't suit its zones.
func (b *builder) judgeShared(path string, l *LinePlan) {
	if len(l.zones) < 2 {
		return
	}
	lo, hi := -1, -1
	rate := func(i int) float64 {
		z := &b.p.zones[i]
		return z.PeakDailyL / max(z.FlowLPH, 1e-9)
	}
	for _, zi := range l.zones {
		if lo < 0 || rate(zi) < rate(lo) {
			lo = zi
		}
		if hi < 0 || rate(zi) > rate(hi) {
			hi = zi
		}
	}
	if rate(hi) > 1.5*rate(lo) {
		b.warn(path, "%s needs %.1f times the watering time of %s: give it more emitters, or a line of its own",
			b.p.zones[hi].ID, rate(hi)/max(rate(lo), 1e-9), b.p.zones[lo].ID)
	}
}

// openHours is how long watering is allowed in a day, h.
func openHours(ws []garden.DayWindow) float64 {
	if len(ws) == 0 {
		return 24
	}
	n := 0
	for m := range 24 * 60 {
		at := time.Date(2001, 1, 1, m/60, m%60, 0, 0, time.UTC)
		for _, w := range ws {
			if w.Contains(at) {
				n++
				break
			}
		}
	}
	return float64(n) / 60
}

// String says in one line what the plan understood of the zone.
func (z *ZonePlan) String() string {
	return fmt.Sprintf("%s: capacity %.1f %%, refill %.1f %%, stop %.1f %%, %.1f L in %d pulses of %.1f L, soak %v",
		z.ID, 100*float64(z.Capacity), 100*float64(z.Refill), 100*float64(z.Stop), z.RefillL, z.Pulses, z.PulseL, z.Soak)
}
