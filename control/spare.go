package control

// drowns reports whether water for one zone of a shared line would come to
// another that has no use for it yet.
func (p *Plan) drowns(st *State, i, lead int) bool {
	for _, zi := range p.lines[i].zones {
		if zi != lead && !st.zones[zi].empty() && p.urgency(st, zi) < notYetThirsty {
			return true
		}
	}
	return false
}

// spareOthers shortens a shared line's litres for the sake of the others: to what
// they have room for, but the neediest is at least half refilled; or to a part of
// a refill at a time where another has no use for any.
func (p *Plan) spareOthers(st *State, i, lead int, litres float64) float64 {
	lp := &p.lines[i]
	least := litres / 2
	if p.drowns(st, i, lead) {
		// Another always gets more than it drinks: keep the neediest lower, so
		// that at least its own surplus does not come on top.
		return drowningShare * litres
	}
	for _, zi := range lp.zones {
		z, zp := &st.zones[zi], &p.zones[zi]
		if zi == lead || z.empty() {
			continue
		}
		// What fits, and a little to drain.
		room := p.need(st, zi) + 0.1*z.band*zp.VolumeL
		if zp.share > 0 && room/zp.share < litres {
			litres = room / zp.share
		}
	}
	return max(litres, least)
}
