package feeding

import (
	"fmt"

	"fabricpot/control/feed"
	"fabricpot/control/garden"
)

// Dose looks over the orders of a tick's watering before they go anywhere and has
// those carry weak feed whose zones are fed with every watering, where nothing
// forbids it: it sets their Dosed. What it appends to out.Records must be on
// stable storage first; where that fails, Undose makes them plain again. Water
// that is no watering of its own accord stays plain: what a person asks for, what
// is given with no trustworthy probe, and survival doses. So does what washes salts out.
func (p *Plan) Dose(st *State, now garden.Moment, v *Seen, orders []garden.Order, out *Output) {
	out.reset()
	for k := range orders {
		o := &orders[k]
		i := p.weakLead(o.Line)
		if i < 0 || o.Kind != garden.Irrigate || st.zones[i].seq == nil {
			continue
		}
		zp, zs := &p.zones[i], &st.zones[i]
		if zp.byNeed && o.Why.Code == garden.RefillAndWash {
			// It would run out below with the salts that are to leave.
			zs.plain = feed.Held{Hold: feed.Salty, A: p.saltMS(st, i).Or(0), B: zs.feedMS.Or(0)}
			continue
		}
		litres := o.Litres * zp.feed.LineShare
		if zs.plain = p.forbidden(st, i, now, v, litres); zs.plain.Hold != feed.NoHold {
			continue
		}
		fv := p.look(st, i, now, v)
		r, held := feed.Dose(zp.feed, zs.seq, now, &fv, litres, o.ID, o.MaxOn)
		if zs.plain = held; held.Hold == feed.NoHold {
			o.Dosed = true
			out.Records = append(out.Records, r)
		}
	}
}

// forbidden says what the zones that are fed along with zone i have against feed
// in a watering that brings it litres. That one of them has plenty is no reason to
// starve the others.
func (p *Plan) forbidden(st *State, i int, now garden.Moment, v *Seen, litres float64) feed.Held {
	for _, s := range p.zones[i].shares {
		if st.zones[s.zone].seq == nil || st.zones[s.zone].empty {
			continue
		}
		fv := p.look(st, s.zone, now, v)
		if h := feed.Forbids(p.zones[s.zone].feed, st.zones[s.zone].seq, now, &fv, litres*s.per); h.Hold != feed.NoHold && h.Hold != feed.Plenty {
			return h
		}
	}
	return feed.Held{}
}

// Undose takes the feed out of orders whose records could not be kept.
func (p *Plan) Undose(st *State, now garden.Moment, orders []garden.Order) {
	for k := range orders {
		o := &orders[k]
		if i := p.weakLead(o.Line); o.Dosed && i >= 0 {
			o.Dosed = false
			st.zones[i].seq.Undose(p.zones[i].feed, now, o.ID)
		}
	}
}

// weakLead is the zone whose weak feed a line's waterings carry, or -1.
func (p *Plan) weakLead(id garden.LineID) int {
	if l, ok := p.lines[id]; ok && l.lead >= 0 && p.zones[l.lead].weak {
		return l.lead
	}
	return -1
}

// words say how a zone is fed that gets feed with every watering.
func (zs *zoneState) weakWords() string {
	s := fmt.Sprintf("fed with every watering at %.0f ppm N", zs.portio.NPPM)
	if zs.plain.Hold != feed.NoHold {
		s += "; the last one went plain: " + zs.plain.String()
	}
	return s
}
