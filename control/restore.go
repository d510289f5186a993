package control

import (
	"slices"
	"time"

	"fabricpot/control/garden"
)

// Restore tells a fresh state what was delivered in the last day, so that a
// restart repeats nothing: caps, rests and the survival dose count on. The
// deliveries' Mono belongs to another run, so their age is taken from civil
// time, and from the younger end where that is not to be trusted: a rest then
// counts from now.
func (p *Plan) Restore(st *State, now garden.Moment, recent []garden.Delivery) {
	for i := range recent {
		d := &recent[i]
		age := now.Wall.Sub(d.ClosedAt.Wall)
		if !now.Synced || !d.ClosedAt.Synced || d.ClosedAt.Wall.IsZero() {
			age = 0
		}
		age = min(max(age, 0), 48*time.Hour)
		p.delivered(st, now, d, now.Mono-age, st.isKnown(d, age))
	}
}

// isKnown tells what a delivery of that age before a start means to what was recalled.
func (st *State) isKnown(d *garden.Delivery, age time.Duration) comes {
	old := age >= unsettled
	switch isNew := st.knownOrders > 0 && (d.Order >= st.knownOrders || slices.Contains(st.openOrders, d.Order)); {
	case isNew && old:
		return sinceThen
	case isNew:
		return comesNow
	case st.timeless, st.knownOrders > 0 && !d.ClosedAt.Synced:
		return remembered
	case st.knownTill.IsZero() && old:
		return longAgo
	case st.knownTill.IsZero():
		return comesNow
	case !d.ClosedAt.Synced:
		return doubted
	case st.knownTill.Sub(d.ClosedAt.Wall) < heardWithin && old:
		return sinceThen
	case st.knownTill.Sub(d.ClosedAt.Wall) < heardWithin:
		return comesNow
	case old:
		return longAgo
	}
	return remembered
}
