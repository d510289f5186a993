package control

import (
	"cmp"
	"slices"
	"time"

	"fabricpot/control/garden"
)

// grant turns wishes into orders as far as the supply carries them, neediest
// first, the garden's order between equals.
func (p *Plan) grant(st *State, now garden.Moment, a *ahead, orders []garden.Order) []garden.Order {
	w := st.wishes
	if len(w) == 0 {
		return orders
	}
	slices.SortStableFunc(w, func(a, b wish) int { return cmp.Compare(b.urgency, a.urgency) })
	flow, open := 0.0, 0
	for i := range st.lines {
		if st.lines[i].phase == garden.Pulsing || st.lines[i].lentOpen {
			flow += p.lines[i].FlowLPH
			open++
		}
	}
	for _, x := range w {
		l, lp := &st.lines[x.line], &p.lines[x.line]
		if p.supply.FlowLPH > 0 {
			if flow+lp.FlowLPH > p.supply.FlowLPH*(1+1e-9) {
				// The neediest waits for room instead of being passed by ever
				// smaller lines.
				break
			}
		} else if open > 0 {
			// Nothing is known of the supply: one line at a time.
			break
		}
		litres := min(x.litres, lp.mostPerOrder(), lp.FlowLPH*max(a.minutes-1, 0)/60)
		if litres <= 0 {
			continue
		}
		orders = append(orders, p.order(st, x.line, now, litres))
		flow += lp.FlowLPH
		open++
		l.waits = false
	}
	return orders
}

// order makes the order of a granted wish and moves the line to pulsing.
func (p *Plan) order(st *State, i int, now garden.Moment, litres float64) garden.Order {
	l, lp := &st.lines[i], &p.lines[i]
	if l.done == 0 {
		p.startSession(st, i, now)
	}
	maxOn := min(hours(1.25*litres/lp.FlowLPH)+30*time.Second, lp.MaxOn)
	o := garden.Order{
		ID: st.NextOrder, Line: lp.ID, Zone: p.zones[l.lead].ID, Litres: litres,
		MaxOn: maxOn, Kind: l.kind, Why: l.why,
	}
	st.NextOrder++
	p.expectWater(st, i, &o, now)
	l.phase, l.order, l.ordered, l.at, l.maxOn = garden.Pulsing, o.ID, litres, now.Mono, maxOn
	l.done++
	lead := &st.zones[l.lead]
	lead.lastWhy = l.why
	switch l.kind {
	case garden.ByHand:
		lead.asked = 0
	case garden.Survival:
		for _, zi := range lp.zones {
			st.zones[zi].survived, st.zones[zi].survivedAt = true, now.Mono
		}
	}
	return o
}

// startSession remembers where zones and probes stood before the water.
func (p *Plan) startSession(st *State, i int, now garden.Moment) {
	through := false
	for _, zi := range p.lines[i].zones {
		z := &st.zones[zi]
		zp := &p.zones[zi]
		through = z.watersThrough(zp, st.lines[i].owed*zp.share, now) || through
		z.dried()
		z.before, z.gave, z.spentFrom = z.water.Mean, 0, z.spent
		z.wasSalts, z.wasMay = z.salts, z.depth.may
		for _, pi := range p.zones[zi].probes {
			ps := &st.probes[pi]
			ps.started = ps.has && now.Mono-ps.at <= trustFor
			ps.start, ps.least, ps.rise = ps.smooth, ps.smooth, 0
		}
	}
	l := &st.lines[i]
	l.through = through
	if l.why.Code != garden.Topping {
		l.topped = false
	}
}

// watchOpen asks for an early stop where a zone of the line is to be kept shut,
// where automatic control went off or the plants were pulled, and where the lead zone's
// deepest probe sees water arrive faster than it drains. A probe high in the pot sees
// every pulse pass and says nothing about the floor.
func (p *Plan) watchOpen(st *State, i int) {
	l := &st.lines[i]
	for _, zi := range p.lines[i].zones {
		if st.zones[zi].shut {
			st.stops = append(st.stops, Stop{Line: p.lines[i].ID, Order: l.order, Zone: p.zones[zi].ID})
			return
		}
	}
	if l.kind != garden.Irrigate && l.kind != garden.Estimated {
		return
	}
	zp := &p.zones[l.lead]
	if st.AutoOff || st.zones[l.lead].empty() {
		st.stops = append(st.stops, Stop{Line: p.lines[i].ID, Order: l.order, Zone: zp.ID})
		return
	}
	if l.through {
		return // it is meant to drain
	}
	deepest := -1
	for _, pi := range zp.probes {
		pp := &p.probes[pi]
		if pp.deep && pp.profile != nil && !st.probes[pi].distrusted && (deepest < 0 || pp.rel > p.probes[deepest].rel) {
			deepest = pi
		}
	}
	if deepest < 0 {
		return
	}
	ps, pp := &st.probes[deepest], &p.probes[deepest]
	if ps.wetTicks < stopTicks || ps.started && ps.start >= pp.wet || st.zones[l.lead].doubt.stopsNothing(st.last.Mono) {
		return
	}
	st.stops = append(st.stops, Stop{Line: p.lines[i].ID, Order: l.order, Zone: zp.ID, Probe: pp.id, Water: garden.WaterFraction(ps.smooth)})
}
