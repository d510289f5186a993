package control

import (
	"time"

	"fabricpot/control/garden"
)

const (
	// lostAfter is how long past its own limit an order may stay unheard of.
	lostAfter = 10 * time.Minute
	// meteredDoubt and nominalDoubt are how far a delivery's litres may be off,
	// as a share: by a flow meter, or by the emitters' rating and the time.
	meteredDoubt, nominalDoubt = 0.03, 0.12
	// heardWithin is how long before a memory a delivery closed that is surely in it.
	heardWithin = time.Minute
	// worstCase is how many times its order a delivery that no meter counted must be to
	// be the most that may have run, of a line that was not known to be closed.
	worstCase = 2
	// Waits after a refusal, where it does not say itself how long.
	retrySoon   = time.Minute
	retryLater  = 10 * time.Minute
	retryMuch   = time.Hour
	retryFaults = 15 * time.Minute
)

// hear takes in what happened since the last tick.
func (p *Plan) hear(st *State, now garden.Moment, obs *garden.Observed) {
	for i := range obs.Delivered {
		p.delivered(st, now, &obs.Delivered[i], obs.Delivered[i].ClosedAt.Mono, comesNow)
	}
	for i := range obs.Refused {
		p.refused(st, now, &obs.Refused[i])
	}
	for i := range obs.Asks {
		p.ask(st, now, &obs.Asks[i])
	}
	if st.AutoOff && !st.wasOff {
		st.offFrom = now.Mono
	}
	st.wasOff = st.AutoOff
	for i := range st.lines {
		l := &st.lines[i]
		if l.phase == garden.Pulsing && now.Mono-l.at > l.maxOn+lostAfter {
			// The worst case is taken: given in full.
			st.note(Event{Kind: OrderLost, At: now, Line: p.lines[i].ID, A: l.ordered})
			p.delivered(st, now, &garden.Delivery{Order: l.order, Line: p.lines[i].ID, Kind: l.kind, Litres: l.ordered, End: garden.Unfinished}, now.Mono, comesNow)
		}
	}
}

// comes tells what a delivery's litres mean to the zone's account of water.
type comes uint8

const (
	comesNow   comes = iota // they are new to it
	remembered              // the memory that was recalled has them
	doubted                 // the memory may have them
	sinceThen               // they are new, and hours old already
	longAgo                 // it has no place for them
)

// delivered books a delivery that closed at mono.
func (p *Plan) delivered(st *State, now garden.Moment, d *garden.Delivery, mono time.Duration, water comes) {
	li := p.lineIndex(d.Line)
	if li < 0 || !garden.Finite(d.Litres) || d.Litres < 0 {
		return
	}
	l, lp := &st.lines[li], &p.lines[li]
	mono = min(mono, now.Mono)
	l.given.add(mono, d.Litres)
	switch d.Kind {
	case garden.Estimated:
		l.guessed.add(mono, d.Litres)
	case garden.Survival:
		// The guard's day counts from here too: none is asked for before.
		for _, zi := range lp.zones {
			st.zones[zi].survived, st.zones[zi].survivedAt = true, mono
		}
	}
	if water < longAgo {
		p.uncounted(st, li, d, mono)
		// A meter may count nothing of what a line gave.
		for _, zi := range lp.zones {
			st.zones[zi].doubt.uncounted(mono)
		}
	}
	if d.Litres > 0 {
		doubt := meteredDoubt
		if !d.Metered {
			doubt = nominalDoubt
		}
		litres := d.Litres
		if d.End == garden.Unfinished {
			// A worst case for the caps; for the water it is a doubt that the
			// next readings settle.
			litres, doubt = litres/2, 0.6
		}
		for _, zi := range lp.zones {
			z := &st.zones[zi]
			if water < longAgo {
				z.uneven.came += litres * p.zones[zi].share
				z.arrival.came += litres * p.zones[zi].share
				z.anchor.came += litres * z.shareOf(&p.zones[zi])
				z.anchor.open = z.anchor.open && d.End != garden.Unfinished
			}
			zp, came := &p.zones[zi], litres*z.shareOf(&p.zones[zi])
			switch water {
			case comesNow, sinceThen:
				p.credit(st, zi, came, doubt, mono)
				z.salts.enter(came, zp)
				if water == sinceThen {
					z.depth.lost(0, now.Mono-mono, z, zp)
				}
			case remembered:
				z.wet(mono)
			case doubted:
				// Readings mend the water if it is counted twice; nothing mends these.
				depth := z.depth
				p.credit(st, zi, came, doubt, mono)
				z.depth = depth
			case longAgo:
				if !z.hasWater || mono > z.wetAt {
					z.wetAt, z.hasWater = mono, true
				}
			}
			z.lastL, z.lastAt = d.Litres*p.zones[zi].share, now.Add(mono-now.Mono)
		}
		if !l.hasClosed || mono > l.closed {
			l.closed, l.hasClosed = mono, true
		}
	}
	if water == comesNow {
		l.flow.flowed(d, p.supply.MeterPulsesPerL.Or(0), mono)
	}
	if l.phase != garden.Pulsing || d.Order != l.order {
		return
	}
	if d.End == garden.Unfinished || d.End == garden.Faulted || !d.Metered && d.Litres > worstCase*l.ordered {
		p.unjudged(st, lp)
	}
	l.phase, l.order = garden.Soaking, 0
	l.owed = max(0, l.owed-d.Litres)
	l.soakTill = mono + lp.soak
	// Whoever asked may have said what ended it: advance gives up what is owed.
	switch d.End {
	case garden.Stopped:
		// Water came through, or somebody said no: look again at rest.
		if l.ended == garden.NotRefused {
			l.ended = garden.Withdrawn
		}
		if d.PumpDry {
			l.ended = garden.PumpLocked
		}
		if d.TankLow {
			l.ended = garden.TankEmpty
		}
		if d.PumpDry {
			// Neither: how long a pump rests is the guard's to say.
			l.soakTill = mono
			break
		}
		l.lookAt = mono + unsettled
	case garden.Unfinished:
		l.ended = garden.NotConfirmed
	case garden.Faulted:
		l.ended = garden.DeviceFault
		l.retryAt, l.refusal = now.Mono+retryFaults, garden.DeviceFault
		st.note(Event{Kind: LineFaulted, At: now, Line: lp.ID, Zone: d.Zone})
	}
	l.verifyAt, l.verify = mono+settled, true
}

// unjudged keeps a session's probes from being judged by its water: what is charged is
// the most that may have come, and it may have been none.
func (p *Plan) unjudged(st *State, lp *LinePlan) {
	for _, zi := range lp.zones {
		for _, pi := range p.zones[zi].probes {
			st.probes[pi].started = false
		}
	}
}

func (p *Plan) refused(st *State, now garden.Moment, r *garden.Refusal) {
	li := p.lineIndex(r.Line)
	if li < 0 {
		return
	}
	l := &st.lines[li]
	if l.phase != garden.Pulsing || r.Order != l.order {
		return
	}
	wait := retryLater
	switch r.Cause {
	case garden.SupplyBusy, garden.LineBusy, garden.TooSoon, garden.NotConfirmed:
		wait = retrySoon
	case garden.CapReached, garden.FrostLock, garden.TankEmpty, garden.HeldShut, garden.NoJournal, garden.UnknownLine:
		wait = retryMuch
	case garden.DeviceFault:
		wait = retryFaults
	}
	if r.Cause == garden.CapReached {
		capL, _ := p.budgets(st, li, now)
		st.note(Event{Kind: CapHolds, At: now, Line: r.Line, Zone: r.Zone, A: capL})
	}
	l.retryAt, l.refusal = now.Mono+wait, r.Cause
	if r.Until > now.Mono {
		// Asking again costs nothing, so a far date is not believed blindly.
		l.retryAt = min(r.Until, now.Mono+retryMuch)
	}
	l.order = 0
	if l.kind == garden.ByHand {
		st.note(Event{Kind: Dropped, At: now, Line: r.Line, Zone: r.Zone, A: l.owed * p.zones[l.lead].share, Cause: r.Cause, Refused: true, Begun: l.done > 1})
		l.owed = 0
	}
	if l.kind == garden.Survival {
		// A dose that was not given is still due.
		for _, zi := range p.lines[li].zones {
			st.zones[zi].survived = false
		}
	}
	if l.done > 0 {
		l.done--
	}
	if l.done == 0 || wait > retryLater {
		// Nothing was given yet: the next tick decides afresh.
		l.phase, l.owed = garden.Resting, 0
		return
	}
	l.phase, l.soakTill = garden.Soaking, l.retryAt
}

// ask takes in a wish of a person or a hub.
func (p *Plan) ask(st *State, now garden.Moment, a *garden.Ask) {
	switch a.Kind {
	case garden.AskAutoOff:
		st.AutoOff = true
		// Who turns it off means the water asked for before, too.
		p.forget(st, now, "", garden.ControlOff)
		return
	case garden.AskAutoOn:
		st.AutoOff = false
		return
	case garden.AskPlant:
		p.plant(st, now, &a.Plant)
		st.replanted = true
		return
	}
	for i := range st.zones {
		if a.Zone != "" && p.zones[i].ID != a.Zone {
			continue
		}
		z, zp := &st.zones[i], &p.zones[i]
		switch a.Kind {
		case garden.AskShut:
			z.shut, z.shutTill = true, a.Until.Mono
			z.drop(st, now, zp, garden.HeldShut)
		case garden.AskRelease:
			z.shut = false
		case garden.AskWater:
			// "All zones" names no pot: water must.
			if a.Zone == "" || !garden.Finite(a.Litres) || a.Litres <= 0 {
				continue
			}
			z.asked, z.askedAt = min(a.Litres, zp.VolumeL), now.Mono
			switch opens := Opens(p.supply.Hours, now); {
			case zp.line < 0:
				z.drop(st, now, zp, garden.UnknownLine)
			case z.shut:
				z.drop(st, now, zp, garden.HeldShut)
			case opens.Sub(now.Wall) > AskLasts:
				p.dropClosed(st, i, now)
			}
		case garden.GardenerWatered:
			if a.Zone == "" || !garden.Finite(a.Litres) || a.Litres <= 0 {
				continue
			}
			litres := min(a.Litres, zp.VolumeL)
			p.credit(st, i, litres, 0.25, now.Mono)
			z.salts.enter(litres, zp)
			z.uneven.open, z.arrival.open, z.anchor.open = false, false, false // it came into this pot alone
			z.came.otherWater(litres, zp)
			z.lastL, z.lastAt = litres, now
		}
	}
}
