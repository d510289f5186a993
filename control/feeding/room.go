package feeding

import (
	"time"

	"fabricpot/control/feed"
	"fabricpot/control/garden"
)

// dryingDays is how long past its day a feed keeps plain water off a pot that
// is above its refill point.
const dryingDays = 3

// How a feed that finds too little room in the pot still comes in time. All are
// judgement.
const (
	// mostLeadDays is how long before its day a feed may keep plain water off, so
	// that the pot has room for it on the day.
	mostLeadDays = 2.0
	// smallerAfterDays is how long past its day a feed waits for room before it
	// takes what room there is, leastPortion the least share of a whole one worth giving.
	smallerAfterDays = 0.5
	leastPortion     = 1.0 / 4
	// overAfterDays is how long past its day a feed may stand over capacity, by
	// standShare of the volume: so little runs down so slowly that the plants drink
	// it first.
	overAfterDays = 1.5
	standShare    = 0.02
	// washAheadDays before a feed no wash begins: a pot that was washed in cool
	// weather takes two days to have room for one.
	washAheadDays = 2.0
	// heldFor is how long pot or weather have to have kept it back for that, and for
	// a smaller feed before heavy rain: one that is late for another reason, as after
	// a season without a clock, waits for better weather first.
	heldFor = 12 * time.Hour
	// handWaitsDays is how long past its day a feed by hand waits for that; after
	// it a person's eyes judge.
	handWaitsDays = 1.0
	// intoRoom is the share of the room that such a portion takes.
	intoRoom = 0.95
)

// fit makes a feed no larger than the room that a full pot leaves for it, once it
// has waited for more. A feed by hand waits longer: what a probe sees before
// anybody has carried a can, a person with one sees below. It returns the hold of
// one that waits so.
func (p *Plan) fit(zp *zonePlan, zs *zoneState, fv *feed.View) (full feed.Held) {
	if !fv.Due.Now || !fv.Water.Known || zs.seq.Phase() != feed.Waiting {
		return full
	}
	late := zs.due.OverdueDays
	if late >= overAfterDays && zs.waited >= heldFor {
		fv.OverL = standShare * zp.volumeL
	}
	room := (zp.capacity-fv.Water.Value)*zp.volumeL + fv.OverL
	smaller, rain := late >= smallerAfterDays, fv.RainMM.Or(0) >= feed.HeavyRainMM
	if rain {
		room -= fv.RainL.Value
		smaller = smaller && zs.waited >= heldFor
	}
	room = max(0, room)
	switch {
	case room >= zs.portio.Litres:
	case smaller && intoRoom*room >= leastPortion*zp.portionAt[zs.stage].Litres:
		fv.Portion.Litres = intoRoom * room
	case zp.feed.Line == "" && late < handWaitsDays && !rain:
		fv.Due.Now = false
		full = feed.Held{Hold: feed.NoRoom, A: room, B: zs.portio.Litres}
	}
	return full
}

// makesRoom reports whether plain water is to stay off a zone's line for the sake
// of a feed: one that is due and waits for room, that the gardener has on the
// list, or whose day is near enough that the pot has to begin drying for it. No
// pot of the line may want water meanwhile, but for the one whose can is its watering.
func (p *Plan) makesRoom(zp *zonePlan, zs *zoneState, now garden.Moment, v *Seen, fv *feed.View) bool {
	if zp.line == "" || v.AutoOff || zs.due.OverdueDays >= dryingDays || !fv.Water.Known {
		return false
	}
	carried := p.canWaters(zp, zs, now)
	for k := range v.Zones {
		o := &v.Zones[k]
		if o.Empty {
			continue
		}
		wants := o.ToRefillL <= 0 && !(carried && k == p.at[zp.zone])
		if o.Line == zp.line && (!o.OnProbe || wants || !(o.HoursToLimit > 24)) {
			return false
		}
	}
	switch zs.seq.Phase() {
	case feed.WithGardener:
		return true
	case feed.Waiting:
	default:
		return false
	}
	if zs.due.Now {
		switch zs.held.Hold {
		case feed.NoRoom, feed.NextWatering, feed.LineShut, feed.Saturated, feed.NothingDue:
			return true
		}
		return false
	}
	if zs.due.NextOn.IsZero() || !now.Synced {
		return false
	}
	missing := zs.portio.Litres - max(0, zp.capacity-fv.Water.Value)*zp.volumeL
	loss := v.Zones[p.at[zp.zone]].LossTodayL
	if missing <= 0 || !(loss > 0) {
		return false
	}
	return zs.due.NextOn.Sub(now.Wall).Hours()/24 <= min(missing/loss, mostLeadDays)
}

// canWaters tells that the can of a feed that was put on the list for this evening is the
// pot's watering: on top of another it would drain. Where salts are over what a flush
// would leave, running through is a gain, and the pot is watered.
func (p *Plan) canWaters(zp *zonePlan, zs *zoneState, now garden.Moment) bool {
	if zs.seq.Phase() != feed.WithGardener || !now.Synced || now.Wall.Sub(zs.seq.Begun()) >= handAhead+handWaitsDays*24*time.Hour {
		return false
	}
	salt := p.saltOf(zp, zs)
	return salt.Known && salt.Value <= zs.halfWay()
}

// keepsWash tells that the water that is to leach waits for a feed that is due or
// near: a wash just before it would leave no room for days, and one just after would
// take it along. Where salt presses feeding has no say.
func (p *Plan) keepsWash(st *State, i int, now garden.Moment) bool {
	zp, zs := &p.zones[i], &st.zones[i]
	if zp.line == "" || !now.Synced || zs.due.NextOn.IsZero() || zs.due.OverdueDays >= dryingDays {
		return false
	}
	if ph := zs.seq.Phase(); ph != feed.Waiting && ph != feed.WithGardener {
		return false
	}
	if feed.MustLeach(zs.reading(now), zs.feedMS) || feed.MustLeach(p.saltMS(st, i), zs.feedMS) {
		return false
	}
	return zs.due.Now || zs.due.NextOn.Sub(now.Wall).Hours()/24 < washAheadDays
}
