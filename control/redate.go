package control

import "fabricpot/control/garden"

// Redate begins anew at now, with its clock confirmed, what was begun before it was: a
// board without a clock of its own wakes up in the past, and then Recall and Restore can't
// tell how old any of what they are given is, so that what was known of the pots' water is
// lost and every pot counts as just watered. Lines of which something has come by then - an
// order, water, a feed - go on as they are with their pots, and so does a pot of which
// people said something. What was asked to stay shut, what probes read and the day's limits
// go on everywhere. It does nothing while the clock is not confirmed.
func (p *Plan) Redate(st *State, now garden.Moment, m Memory, events []garden.PlantEvent, recent []garden.Delivery) {
	if !now.Synced {
		return
	}
	to := p.NewState()
	to.NextOrder, to.AutoOff, to.wasOff, to.offFrom = st.NextOrder, st.AutoOff, st.wasOff, st.offFrom
	to.synced, to.clockTill, to.sky = st.synced, st.clockTill, st.sky
	copy(to.probes, st.probes)
	to.between = append(to.between, st.between...)
	p.Recall(to, now, m, events)
	p.Restore(to, now, recent)
	for i := range to.lines {
		l, was := &to.lines[i], &st.lines[i]
		if was.used || was.lent || was.phase == garden.Pulsing || was.phase == garden.Soaking {
			*l = *was
			l.used = true
			continue
		}
		l.hold = was.hold
	}
	for i := range to.zones {
		z, was := &to.zones[i], &st.zones[i]
		if li := p.zones[i].line; was.used || li >= 0 && to.lines[li].used {
			*z = *was
			z.used = true
			continue
		}
		z.shut, z.shutTill = was.shut, was.shutTill
	}
	*st = *to
}

// uses notes of which lines and zones something came in a tick.
func (p *Plan) uses(st *State, obs *garden.Observed, orders []garden.Order) {
	line := func(id garden.LineID) {
		if i := p.lineIndex(id); i >= 0 {
			st.lines[i].used = true
		}
	}
	for i := range orders {
		line(orders[i].Line)
	}
	for i := range obs.Delivered {
		line(obs.Delivered[i].Line)
	}
	for i := range obs.Asks {
		a := &obs.Asks[i]
		switch a.Kind {
		case garden.AskWater, garden.GardenerWatered, garden.AskPlant:
			zone := a.Zone
			if a.Kind == garden.AskPlant {
				zone = a.Plant.Zone
			}
			if k := p.zoneIndex(zone); k >= 0 {
				st.zones[k].used = true
				line(p.zones[k].Line)
			}
		}
	}
}
