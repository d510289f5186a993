package feeding

import (
	"fmt"
	"math"
	"slices"
	"time"

	"fabricpot/control"
	"fabricpot/control/feed"
	"fabricpot/control/garden"
)

// The account of salts: water and feed bring them in, plants take some up, and
// only drainage takes them out. It is reckoned where the water's own
// conductivity is known, and what a person or probe measures in the drainage
// wins over it. From it, from a reading, or where neither is there from the
// calendar comes the flush: plain water through the pot.

// All are our judgement.
const (
	// Where a flush is not pressing it comes between two feeds, so that it takes
	// as little food along as may be and the pot has dried when the next is due.
	flushAfterDays = 2.5
	flushAheadDays = 1.25
	flushMostDays  = 3.0
	// flushPatience is after how long a flush that found no such time comes at
	// any at which no feed is near.
	flushPatience = 10 * 24 * time.Hour
	// plainFlush is the share of the water held that drains in a flush where no
	// conductivity is known.
	plainFlush = 0.5
	// handFlushAfter is how long a flush through a line waits for a trusted probe
	// before a person is asked for it.
	handFlushAfter = 6 * time.Hour
	// lineShare of what the day's limit leaves is the most that one flush takes.
	lineShare = 0.6
)

func (p *Plan) saltKnown() bool { return p.g.Supply.ECmS.Known }

// held is what the zone holds at capacity, L.
func (z *zonePlan) held() float64 { return max(z.capacity, 0.05) * z.volumeL }

// freshSalts is the account of a zone that holds the supply's water with poolN
// grams of nitrogen dissolved in it, and what comes with that.
func (p *Plan) freshSalts(i int, water, poolN float64) feed.Salts {
	var s feed.Salts
	// A checked supply has a conductivity that a ledger takes.
	_ = s.Enter(max(water, 0.05)*p.zones[i].volumeL, min(p.g.Supply.ECmS.Or(0), 20))
	_ = s.Dissolve(max(0, poolN), p.zones[i].slope)
	return s
}

func soundSalts(s feed.Salts) bool {
	for _, v := range [...]float64{s.Load, s.Entered, s.Left, s.Taken} {
		if !garden.Finite(v) || v < 0 {
			return false
		}
	}
	return garden.Finite(s.Corrected)
}

// dissolve enters the salts of nGrams of nitrogen given with feed.
func (p *Plan) dissolve(i int, zs *zoneState, nGrams float64) {
	if p.saltKnown() {
		_ = zs.salts.Dissolve(nGrams, p.zones[i].slope)
	}
}

// saltMS is the mean conductivity of the zone's water at capacity by the account, mS/cm.
// It is held against what drainage may have: readings of it, by pour-through, are taken
// for the mean as well.
func (p *Plan) saltMS(st *State, i int) garden.Measured { return p.saltOf(&p.zones[i], &st.zones[i]) }

func (p *Plan) saltOf(zp *zonePlan, zs *zoneState) garden.Measured {
	if zs.seq == nil || !zs.has || !p.saltKnown() {
		return garden.Measured{}
	}
	ms, err := zs.salts.EC(zp.held())
	if err != nil {
		return garden.Measured{}
	}
	return garden.Known(ms)
}

// passSalts lets the hour go by in the account: the starter charge released and
// what the plants took up, and what drained.
func (p *Plan) passSalts(i int, zs *zoneState, releasedN, takenN, held float64) {
	if !p.saltKnown() {
		return
	}
	_ = zs.salts.Dissolve(max(0, releasedN), p.zones[i].slope)
	_ = zs.salts.Uptake(max(0, takenN), p.zones[i].slope)
	_, _ = zs.salts.Leach(drainsRicher*zs.overL, held)
}

// judgeSalts says whether a zone is to be flushed now, and with how much.
func (p *Plan) judgeSalts(st *State, i int, now garden.Moment, zv *control.ZoneView) {
	zp, zs := &p.zones[i], &st.zones[i]
	zs.flushL, zs.flushWhy, zs.flushMS, zs.flushAll = garden.Measured{}, "", 0, 0
	if zv.Empty {
		zs.wanted = time.Time{} // nobody is there to wash for
		return
	}
	if !now.Synced {
		return
	}
	ledger, reading := p.saltMS(st, i), zs.reading(now)
	over := zs.feedMS
	if zp.byNeed {
		// What the plants bear says there what has to leave, food counted. So much over
		// the feed is for most of them food that costs nothing.
		over = garden.Measured{}
	}
	last := zs.flushed
	if last.IsZero() {
		last = st.began
	}
	pressing := false
	switch {
	case feed.MustLeach(reading, zs.feedMS):
		pressing = true
		zs.flushMS, zs.flushWhy = reading.Value, fmt.Sprintf("drainage read %.1f mS/cm: salts have to leave before the next feed", reading.Value)
	case feed.MustLeach(ledger, over):
		zs.flushMS, zs.flushWhy = ledger.Value, fmt.Sprintf("by the account of salts the pot's water is at %.1f mS/cm", ledger.Value)
	case feed.FlushDue(now.Wall, last) && !(ledger.Known && !zs.salts.Guess && (ledger.Value <= zs.halfWay() || zp.byNeed)):
		zs.flushMS, zs.flushWhy = ledger.Or(0), fmt.Sprintf("planned: %.0f days since the last flush or since feeding began", now.Wall.Sub(last).Hours()/24)
	default:
		zs.wanted = time.Time{}
		return
	}
	if zs.wanted.IsZero() {
		zs.wanted = now.Wall
	}
	if !pressing && !zs.between(now, now.Wall.Sub(zs.wanted) > flushPatience) {
		return
	}
	today, whole := p.flushLitres(zp, zs, zv)
	zs.flushL, zs.flushAll = garden.Known(today), whole
}

// halfWay is half way from the feed's own conductivity to what drainage may have,
// mS/cm. A flush brings a pot down to it, and under it washes food alone.
func (zs *zoneState) halfWay() float64 { return zs.feedMS.Or(1.5) + feed.DrainOverFeed/2 }

// reading is what drained, as long as it says something of today.
func (zs *zoneState) reading(now garden.Moment) garden.Measured {
	if zs.drain.Known && now.Wall.Sub(zs.drainAt) < 30*24*time.Hour {
		return zs.drain
	}
	return garden.Measured{}
}

// between reports whether today lies well between two feeds; of one that has waited
// for long, whether at least no feed is near.
func (zs *zoneState) between(now garden.Moment, long bool) bool {
	if zs.due.Now || zs.seq.Phase() != feed.Waiting {
		return false
	}
	if zs.due.NextOn.IsZero() {
		return true
	}
	ahead := zs.due.NextOn.Sub(now.Wall).Hours() / 24
	return ahead >= flushAheadDays && (long || zs.due.DaysSince >= flushAfterDays) &&
		(long || ahead <= flushMostDays || zs.due.IntervalDays > flushAfterDays+flushMostDays+3)
}

// flushLitres is what fills the pot and then drains as much as brings its water
// half way down from the limit to the feed's own conductivity, and no lower: a
// flush takes food along with the salts. What the line may still give bounds what
// of the whole is given today.
func (p *Plan) flushLitres(zp *zonePlan, zs *zoneState, zv *control.ZoneView) (today, whole float64) {
	water := p.g.Supply.ECmS.Or(0)
	drain := plainFlush * zp.held()
	if zs.flushMS > zs.halfWay() {
		to := max(zs.halfWay(), water+0.5)
		// Of drainage that much richer than the pot less is needed, and new water keeps
		// up that much less in it.
		if l, err := feed.FlushLitres(zs.flushMS, to, water/drainsRicher, zp.held()); err == nil && l > 0 {
			drain = l / drainsRicher
		}
	}
	whole = min(drain, 2*zp.volumeL) + max(0, float64(zv.Capacity)-float64(zv.Water))*zp.volumeL
	today = whole
	if line, ok := p.g.Line(zp.line); ok && zv.CapL > 0 {
		today = min(today, lineShare*math.Max(0, zv.CapL-zv.GivenTodayL)*line.ShareOf(zp.zone))
	}
	return today, whole
}

// flushFor has one flush do for all fed zones of the zone's line: as much as the
// one takes that needs most, and none while another of them is flushed.
func (p *Plan) flushFor(st *State, i int, fv *feed.View) {
	p.others(i, func(k int, per float64) {
		o := &st.zones[k]
		fv.FlushBlocked = fv.FlushBlocked || o.seq.Phase() == feed.Flushing
		if !o.flushL.Known || !fv.FlushL.Known && !p.zones[k].led {
			return
		}
		if litres := o.flushL.Value / per; !fv.FlushL.Known || litres > fv.FlushL.Value {
			fv.FlushL, fv.FlushMS = garden.Known(litres), o.flushMS
		}
	})
}

// others calls each with every other fed zone of the zone's line, and the litres
// that it gets for each litre of the zone's.
func (p *Plan) others(i int, each func(k int, per float64)) {
	zones := p.lines[p.zones[i].line].zones
	own := slices.IndexFunc(zones, func(s share) bool { return s.zone == i })
	if own < 0 {
		return
	}
	for _, s := range zones {
		if s.zone != i && p.zones[s.zone].feed != nil {
			each(s.zone, s.per/zones[own].per)
		}
	}
}

// flushes hears how a flush through the line came out: enough of it ends what a
// reading said, in this zone and in those of the same line.
func (p *Plan) flushes(st *State, i int, records []feed.Record, v *Seen, out *Output) {
	zs := &st.zones[i]
	for _, r := range records {
		switch r.Kind {
		case feed.FlushSettled:
			zs.flushedL += r.Litres
		case feed.FlushEnded:
			zs.washed(r.At)
			p.others(i, func(k int, per float64) {
				o := &st.zones[k]
				if k >= len(v.Zones) || r.Litres <= 0 {
					return
				}
				whole := o.flushAll
				if whole <= 0 {
					_, whole = p.flushLitres(&p.zones[k], o, &v.Zones[k])
				}
				a := feed.Record{Kind: feed.FlushedAlong, Zone: p.zones[k].zone, Feed: o.seq.Feed(), At: r.At, Litres: r.Litres * per, RoomL: whole, Stage: o.stage}
				o.seq.Apply(a)
				o.washed(r.At)
				out.Records = append(out.Records, a)
			})
		}
	}
}

// washed takes up that a flush ended at at, if it gave enough to be one.
func (zs *zoneState) washed(at time.Time) {
	zs.flushL = garden.Measured{}
	if !zs.seq.Flushed().Equal(at) {
		return
	}
	zs.flushed, zs.salts.Guess = at, false
	zs.drain, zs.wanted, zs.flushWhy = garden.Measured{}, time.Time{}, ""
}
