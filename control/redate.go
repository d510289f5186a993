package control

import "fabricpot/control/garden"

// Redate begins anew at now, with its clock confirmed, what was begun before it was: a
// board without a clock of its own wakes up in the past, and then Recall and Restore can't
// tell how old any of what they are given is, so that what was known of the pots' water is
// lost and every pot counts as just watered. It does so only while nothing has come of the
// beginning: no order, no water, nothing done to the plants. It reports whether it did.
// What people asked for, what probes read and the day's limits go on.
func (p *Plan) Redate(st *State, now garden.Moment, m Memory, events []garden.PlantEvent, recent []garden.Delivery) bool {
	if !now.Synced || st.used {
		return false
	}
	for i := range st.lines {
		if l := &st.lines[i]; l.phase == garden.Pulsing || l.phase == garden.Soaking || l.lent {
			return false
		}
	}
	to := p.NewState()
	to.NextOrder, to.AutoOff, to.wasOff, to.offFrom = st.NextOrder, st.AutoOff, st.wasOff, st.offFrom
	to.synced, to.clockTill, to.sky = st.synced, st.clockTill, st.sky
	copy(to.probes, st.probes)
	for i := range to.zones {
		z, was := &to.zones[i], &st.zones[i]
		z.shut, z.shutTill = was.shut, was.shutTill
	}
	for i := range to.lines {
		to.lines[i].hold = st.lines[i].hold
	}
	p.Recall(to, now, m, events)
	p.Restore(to, now, recent)
	*st = *to
	return true
}

// uses notes whether anything came of a tick that a beginning made anew would lose.
func (st *State) uses(obs *garden.Observed, orders int) {
	st.used = st.used || orders > 0 || len(obs.Delivered) > 0
	for i := range obs.Asks {
		switch obs.Asks[i].Kind {
		case garden.AskWater, garden.GardenerWatered, garden.AskPlant:
			st.used = true
		}
	}
}
