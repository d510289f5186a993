package control

import (
	"math"
	"time"

	"fabricpot/control/garden"
)

const (
	// confirmFor is how long a zone must be under its refill point on good
	// readings, without a break, before water starts.
	confirmFor = 3 * time.Minute
	// dryShare of the available water left is where a mix begins to repel water.
	dryShare = 0.3
	// leastShare of a pulse is too little to open a valve for.
	leastShare = 0.1
	// blindSurplus is given where no probe stands near the floor: a deficit there
	// adds up unseen, a surplus drains.
	blindSurplus = 1.15
	// notYetThirsty is the share of its band under which a zone on a shared line
	// has no use for the water its neighbour needs.
	notYetThirsty = 0.7
	// drowningShare of a refill is given at a time where that is so.
	drowningShare = 0.35
	// stopTicks readings in a row must see water before a watering is ended.
	stopTicks = 2
	// survivalRest is how long a zone must have had no water before a dose.
	survivalRest = 20 * time.Hour
	// mostCut is how many closed hours a wash waits for.
	mostCut = 16.0
	// aheadShare of the band must be gone before water is given ahead of need.
	aheadShare = 0.25
)

// advance moves one line's state machine on and notes what it wants.
func (p *Plan) advance(st *State, i int, now garden.Moment, a *ahead) {
	l, lp := &st.lines[i], &p.lines[i]
	if len(lp.zones) == 0 || lp.FlowLPH <= 0 {
		return
	}
	if l.phase == garden.Pulsing {
		p.watchOpen(st, i)
		return
	}
	if l.verify && now.Mono >= l.verifyAt {
		p.verify(st, i, now)
	}
	shut, asked := false, false
	for _, zi := range lp.zones {
		z := &st.zones[zi]
		shut, asked = shut || z.shut, asked || z.asked > 0
	}
	if shut {
		p.dropRest(st, i, now, garden.HeldShut)
		l.phase, l.owed, l.waits, l.ended = garden.KeptShut, 0, false, garden.NotRefused
		return
	}
	if l.phase == garden.KeptShut {
		l.phase = garden.Resting
	}
	if l.ended != garden.NotRefused {
		p.dropRest(st, i, now, l.ended)
		l.ended = garden.NotRefused
	}
	// A person who asks for water does not wait for a soak, nor for a look at
	// rest after an early stop; only rests and faults hold their wish.
	if asked && l.phase == garden.Soaking {
		p.dropRest(st, i, now, garden.Replaced)
		l.phase = garden.Resting
	}
	if l.phase == garden.Soaking {
		if now.Mono < l.soakTill {
			return
		}
		if p.pulseAgain(st, i, now, a) {
			return
		}
		l.phase, l.owed = garden.Resting, 0
	}
	if (l.lent || l.keptDry && !asked) && !st.AutoOff {
		return
	}
	if now.Mono < l.retryAt || l.hasClosed && now.Mono-l.closed < p.limits.MinRest {
		return
	}
	if !a.open || now.Mono < l.lookAt && !asked {
		return
	}
	if asked && p.wantByHand(st, i, now) {
		return
	}
	p.want(st, i, now, a)
}

// pulseAgain wishes for the next pulse of a session; false ends the session.
func (p *Plan) pulseAgain(st *State, i int, now garden.Moment, a *ahead) bool {
	l, lp := &st.lines[i], &p.lines[i]
	if l.owed < leastShare*l.pulse || l.owed <= 0 {
		return false
	}
	lead := &st.zones[l.lead]
	if lead.empty() && l.kind != garden.ByHand {
		return false
	}
	switch l.kind {
	case garden.Irrigate:
		// Water that began on a good reading does not go on without one.
		if !lead.trusted {
			return false
		}
		if st.AutoOff {
			return false
		}
	case garden.Estimated:
		if st.AutoOff {
			return false
		}
	}
	if !a.open {
		if l.kind == garden.ByHand {
			lead.asked = l.owed * p.zones[l.lead].share
			p.dropClosed(st, l.lead, now)
		}
		// A wash cut in two by closed hours has filled the pot and washed nothing:
		// it goes on when they are over.
		l.cut = l.through && a.reopensIn <= mostCut && lead.owes(&p.zones[l.lead]) > 0
		return l.cut
	}
	if l.cut {
		// What was drunk meanwhile comes on top, and what fell counts.
		l.cut, l.owed = false, lead.washes(&p.zones[l.lead])/p.zones[l.lead].share
		capL, _ := p.budgets(st, i, now)
		l.owed = min(l.owed, max(capL-l.given.sum(now.Mono), p.plainNeed(st, l.lead)/p.zones[l.lead].share))
		if lead.owes(&p.zones[l.lead]) <= 0 {
			return false
		}
	}
	if now.Mono < l.retryAt || l.hasClosed && now.Mono-l.closed < p.limits.MinRest {
		return true
	}
	if l.kind != garden.ByHand && l.done > 0 {
		l.why = garden.Reason{Code: garden.NextPulse, A: float64(l.done + 1), B: float64(max(l.planned, l.done+1)), C: l.owed}
	}
	litres := min(l.pulse, l.owed)
	if l.owed-litres < 0.3*l.pulse {
		litres = min(l.owed, lp.mostPerOrder())
	}
	p.wishFor(st, i, now, litres, p.urgency(st, l.lead)+0.5)
	return true
}

// mostPerOrder is what fits into one opening of the line, L.
func (lp *LinePlan) mostPerOrder() float64 { return 0.95 * lp.FlowLPH * lp.MaxOn.Hours() }

// want begins a session where one of the line's zones asks for it.
func (p *Plan) want(st *State, i int, now garden.Moment, a *ahead) {
	l, lp := &st.lines[i], &p.lines[i]
	if st.AutoOff {
		p.wantSurvival(st, i, now)
		return
	}
	lead, most := -1, 0.0
	var kind garden.OrderKind
	var why garden.Reason
	for _, zi := range lp.zones {
		k, w := p.trigger(st, zi, a)
		if w.Code == garden.NoReason || w.Code == garden.BeforeHeat && p.drowns(st, i, zi) {
			continue
		}
		// A need that a probe saw goes before one that was reckoned.
		if through := p.need(st, zi) / p.zones[zi].share; lead < 0 || through > most {
			lead, most, kind, why = zi, through, k, w
		}
	}
	if lead < 0 {
		if t := p.topUp(st, i); t >= 0 {
			z, zp := &st.zones[t], &p.zones[t]
			lead, most, kind = t, p.need(st, t)/zp.share, garden.Irrigate
			why = garden.Reason{Code: garden.Topping, A: z.water.Mean, B: z.stop(zp)}
			l.topped = true
		}
	}
	if lead < 0 || most <= 0 {
		l.waits = false
		return
	}
	through := func(litres float64) float64 {
		if kind == garden.Estimated || len(lp.zones) > 1 {
			more := 1 / lp.DU
			if z := &st.zones[lead]; z.blind && z.trusted && z.known {
				// One allowance for what can't be seen is enough.
				more = max(more, blindSurplus) / blindSurplus
			}
			litres *= more
		}
		return p.spareOthers(st, i, lead, litres)
	}
	litres := through(most)
	if z, zp := &st.zones[lead], &p.zones[lead]; z.washDue(zp) {
		// A wash that the day no longer holds waits; what the pot needs does not.
		plain := through(p.plainNeed(st, lead) / zp.share)
		capL, _ := p.budgets(st, i, now)
		if left := max(plain, capL-l.given.sum(now.Mono)); left < litres {
			litres = left
			if why.Code == garden.RefillAndWash && left < plain+washShare*zp.VolumeL/zp.share {
				litres, why = plain, garden.Reason{Code: garden.BelowRefill, A: z.water.Mean, B: z.refillAt(zp), C: plain * zp.share}
			}
		}
	}
	if a.rainMM >= 3 && why.Code != garden.Topping {
		// Leave room for the rain that is due, but fill half the band.
		z, zp := &st.zones[lead], &p.zones[lead]
		room := max(litres-0.7*a.rainMM*zp.AreaM2/zp.share, (z.refillAt(zp)+0.5*z.band-z.water.Mean)*zp.VolumeL/zp.share)
		litres = min(litres, max(room, 0))
	}
	p.begin(st, i, now, lead, litres, kind, why)
}

func (p *Plan) wantByHand(st *State, i int, now garden.Moment) bool {
	for _, zi := range p.lines[i].zones {
		z, zp := &st.zones[zi], &p.zones[zi]
		if z.asked <= 0 {
			continue
		}
		p.begin(st, i, now, zi, z.asked/zp.share, garden.ByHand, garden.Reason{Code: garden.AskedFor, A: z.asked})
		return true
	}
	return false
}

func (p *Plan) wantSurvival(st *State, i int, now garden.Moment) {
	lead, most := -1, 0.0
	for _, zi := range p.lines[i].zones {
		z, zp := &st.zones[zi], &p.zones[zi]
		if z.empty() || z.sinceWater(now) < survivalRest || now.Mono-st.offFrom < time.Hour ||
			z.survived && now.Mono-z.survivedAt < 24*time.Hour {
			continue
		}
		if z.trusted && z.known && z.water.Mean > z.refillAt(zp) {
			continue
		}
		if through := zp.survivalL / zp.share; through > most {
			lead, most = zi, through
		}
	}
	if lead < 0 {
		return
	}
	p.begin(st, i, now, lead, most, garden.Survival, garden.Reason{Code: garden.SurvivalDose, A: p.zones[lead].survivalL})
}

// begin sets a session up and wishes for its first pulse. It becomes real only
// when the wish is granted.
func (p *Plan) begin(st *State, i int, now garden.Moment, lead int, litres float64, kind garden.OrderKind, why garden.Reason) {
	l, lp := &st.lines[i], &p.lines[i]
	z, zp := &st.zones[lead], &p.zones[lead]
	if litres <= 0 || !garden.Finite(litres) {
		return
	}
	l.lead, l.kind, l.why, l.owed, l.done, l.cut = lead, kind, why, litres, 0, false
	// A little more than a pulse is still one pulse; what a person asked for
	// comes in as few openings as the line allows.
	pulse, little := zp.PulseL/zp.share, 0.3
	if kind == garden.ByHand || kind == garden.Survival {
		pulse, little = litres, 0
	}
	pulse = min(max(pulse, 1e-3), lp.mostPerOrder())
	n := min(max(int(math.Ceil(litres/pulse-little-1e-9)), 1), 12)
	l.pulse, l.planned = min(litres/float64(n), lp.mostPerOrder()), n
	first := l.pulse
	if dry := float64(zp.LowerLimit) + dryShare*float64(zp.Capacity-zp.LowerLimit); z.known && z.water.Mean < dry &&
		(kind == garden.Irrigate || kind == garden.Estimated) && n > 1 {
		// A dry mix repels water: moisten it first, then water it.
		first = min(first, firstPulseShare*litres)
		l.planned++
	}
	p.wishFor(st, i, now, first, p.urgency(st, lead))
}

// wishFor enters a wish, bounded by the line's budgets for the day.
func (p *Plan) wishFor(st *State, i int, now garden.Moment, litres, urgency float64) {
	l, lp := &st.lines[i], &p.lines[i]
	capL, guessedL := p.budgets(st, i, now)
	left := capL - l.given.sum(now.Mono)
	if l.kind == garden.Estimated {
		left = min(left, guessedL-l.guessed.sum(now.Mono))
	}
	if left < min(litres, leastShare*l.pulse) {
		// What a guess may give a day is no limit of the line, and no fault.
		if capL-l.given.sum(now.Mono) < min(litres, leastShare*l.pulse) {
			st.note(Event{Kind: CapHolds, At: now, Line: lp.ID, Zone: p.zones[l.lead].ID, A: capL})
		}
		if l.kind == garden.ByHand {
			z, zp := &st.zones[l.lead], &p.zones[l.lead]
			z.asked = l.owed * zp.share // all that is given up, not the next opening alone
			z.drop(st, now, zp, garden.CapReached)
		}
		l.retryAt, l.refusal, l.owed, l.phase = now.Mono+retryMuch, garden.CapReached, 0, garden.Resting
		return
	}
	if l.kind == garden.ByHand {
		urgency += 10
	}
	if !l.waits {
		l.waits, l.waiting = true, now.Mono
	}
	// Waiting makes needier, so that nobody waits for ever.
	urgency += (now.Mono - l.waiting).Hours() / 4
	st.wishes = append(st.wishes, wish{line: i, urgency: urgency, litres: min(litres, left)})
}
