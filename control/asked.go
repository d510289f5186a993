package control

import (
	"time"

	"fabricpot/control/garden"
)

// AskLasts is how long a person's wish for water waits for its turn. Water that
// comes hours later is not what they asked for.
const AskLasts = time.Hour

// Opens is when the hours let water: at now where they do already or there are none, and
// where the clock is not confirmed; otherwise at most a day later, as the windows say. A wish
// for water that would wait longer than AskLasts for it is not taken.
func Opens(ws []garden.DayWindow, now garden.Moment) time.Time {
	if len(ws) == 0 || !now.Synced || within(ws, now.Wall) {
		return now.Wall
	}
	return edge(ws, now.Wall, false)
}

// release ends keeping zones shut when the time for it is over, and gives up
// wishes that nobody could meet in time.
func (p *Plan) release(st *State, now garden.Moment) {
	for i := range st.zones {
		z := &st.zones[i]
		if z.shut && z.shutTill > 0 && now.Mono >= z.shutTill {
			z.shut = false
		}
		if z.asked <= 0 || now.Mono-z.askedAt <= AskLasts {
			continue
		}
		if why := p.waitsFor(st, i, now); why != garden.OutsideHours {
			z.drop(st, now, &p.zones[i], why)
		} else {
			p.dropClosed(st, i, now)
		}
	}
}

// waitsFor is what keeps the zone's line from watering at once.
func (p *Plan) waitsFor(st *State, i int, now garden.Moment) garden.RefusalCause {
	if p.zones[i].line < 0 {
		return garden.UnknownLine
	}
	l := &st.lines[p.zones[i].line]
	switch {
	case l.phase == garden.Pulsing:
		return garden.LineBusy
	case l.phase == garden.KeptShut:
		return garden.HeldShut
	case Opens(p.supply.Hours, now).After(now.Wall):
		return garden.OutsideHours
	case l.lent:
		return garden.LentToFeed
	case now.Mono < l.retryAt:
		return l.refusal
	case l.hasClosed && now.Mono-l.closed < p.limits.MinRest:
		return garden.TooSoon
	}
	return garden.SupplyBusy
}

// Forget drops the water that people asked for in a zone, or in all of them where
// zone is empty, and what its line still owes after this opening or soak: somebody said stop.
// It is between two Steps; what there is to tell of it is among the next one's Events.
func (p *Plan) Forget(st *State, now garden.Moment, zone garden.ZoneID) {
	st.events, st.between = st.between, st.events
	p.forget(st, now, zone, garden.Withdrawn)
	st.events, st.between = st.between, st.events
}

func (p *Plan) forget(st *State, now garden.Moment, zone garden.ZoneID, why garden.RefusalCause) {
	for i := range st.zones {
		z, zp := &st.zones[i], &p.zones[i]
		if zone != "" && zp.ID != zone {
			continue
		}
		z.drop(st, now, zp, why)
		if zp.line >= 0 {
			p.dropRest(st, zp.line, now, why)
		}
	}
}

// dropRest gives up what a soaking line still owes, or an open one will once it is closed,
// and tells so where a person asked for it and it was worth an opening.
func (p *Plan) dropRest(st *State, i int, now garden.Moment, why garden.RefusalCause) {
	l := &st.lines[i]
	if l.phase == garden.Pulsing {
		l.ended = why
	}
	if l.phase != garden.Soaking {
		return
	}
	if zp := &p.zones[l.lead]; l.kind == garden.ByHand && l.owed > 0 && l.owed >= leastShare*l.pulse {
		st.note(Event{Kind: Dropped, At: now, Zone: zp.ID, Line: zp.Line, A: l.owed * zp.share, Cause: why, Begun: true})
	}
	l.owed = 0
}

// drop gives a person's wish up and tells so.
func (z *zoneState) drop(st *State, now garden.Moment, zp *ZonePlan, why garden.RefusalCause) {
	z.dropFor(st, zp, Event{Kind: Dropped, At: now, Cause: why})
}

// dropClosed is drop where the hours are why.
func (p *Plan) dropClosed(st *State, i int, now garden.Moment) {
	opens := Opens(p.supply.Hours, now).Sub(now.Wall)
	st.zones[i].dropFor(st, &p.zones[i], Event{Kind: Dropped, At: now, Cause: garden.OutsideHours, B: opens.Hours()})
}

func (z *zoneState) dropFor(st *State, zp *ZonePlan, e Event) {
	if z.asked > 0 {
		e.Zone, e.Line, e.A = zp.ID, zp.Line, z.asked
		st.note(e)
		z.asked = 0
	}
}
