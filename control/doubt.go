package control

import (
	"math"
	"time"

	"fabricpot/control/garden"
)

// Of all that a probe may say, what is too wet does most harm: nothing is given, and
// the pot dries under a reading that is content. So a zone that goes on hardly drying,
// or whose probes go on reading more than they can at rest, is for some days watered by
// its balance instead, as one without a probe is. That tells, too: no pot at rest holds
// more than it drains to. Readings that lie over that once the pot was filled are wrong,
// and the zone stays on its balance; those that don't are believed again, and the plant
// does drink little.

// All are our judgement, tried on the simulator's pots.
const (
	// A zone that has hardly dried for doubtAfter is doubted for doubtFor. What was
	// noticed longer than doubtGap ago is over: a spell may speak once a day.
	doubtAfter = 24 * time.Hour
	doubtGap   = 36 * time.Hour
	doubtFor   = 4 * 24 * time.Hour
	// Readings that have been beyond all that a probe was calibrated for, of a pot without
	// water, both for restLong, are doubted for wetDoubtFor from when they are last seen.
	restLong    = 12 * time.Hour
	wetDoubtFor = 20 * 24 * time.Hour
	// So are readings that after restLonger lie farTooWet of the way from what they are
	// at capacity to the mix's pores, all full, and overLeast over it, m³/m³; of a zone
	// that is doubted already after restLong, and tooWet of the way. In 40 clean seasons
	// on the simulator none lay over 0.25 of the way from a day after water on, nor over
	// 0.30 half a day after it.
	restLonger        = 24 * time.Hour
	farTooWet, tooWet = 0.45, 0.35
	overLeast         = 0.05
	// A zone that is full by its balance, within nearlyFull, and after restLong reads no
	// more than that and agrees, m³/m³, is believed again clearedFor later, where nothing
	// was too wet meanwhile, and not doubted for slowness for believeFor. One of which
	// nothing was seen either way may be doubted again after unclearFor.
	nearlyFull, agrees = 0.05, 0.03
	clearedFor         = 36 * time.Hour
	believeFor         = 10 * 24 * time.Hour
	unclearFor         = 2 * 24 * time.Hour
)

// doubt tells that a zone's probes seem to read too wet.
type doubt struct {
	on    bool
	till  time.Duration
	wet   bool          // they were seen to, and not only the pot to hardly dry
	again time.Duration // when that is told again
	// cleared tells that it read full where it was, since when and not too wet since.
	cleared   bool
	clearedAt time.Duration
	// slow tells that the zone hardly dried from first to last.
	slow        bool
	share       float64 // of what it should have lost
	first, last time.Duration
	// beyond tells that no probe is good and one reads beyond its wettest point, since
	// when.
	beyond      bool
	beyondSince time.Duration
	// mayCome tells that water may have come, counted or not, last at cameAt.
	mayCome bool
	cameAt  time.Duration
	believe time.Duration // until then it is not doubted for slowness
	// missingL is what the book says is missing since the zone was last full, L.
	missingL float64
}

// ended is what is left of a doubt that ends.
func (d *doubt) ended() doubt {
	return doubt{missingL: d.missingL, mayCome: d.mayCome, cameAt: d.cameAt}
}

// hardly notes that the zone is seen to hardly dry now, by a share of what it should.
func (d *doubt) hardly(share float64, now time.Duration) {
	if !d.slow || now-d.last > doubtGap {
		d.slow, d.first = true, now
	}
	d.share, d.last = share, now
}

// Spilt tells the state that water which nobody ordered soaks a zone at now: for as long
// as it does, and until it drained, readings that are too wet prove nothing. An unknown
// zone is left alone.
func (p *Plan) Spilt(st *State, now garden.Moment, zone garden.ZoneID) {
	if i := p.zoneIndex(zone); i >= 0 {
		st.zones[i].doubt.uncounted(now.Mono)
		st.zones[i].doubt.slow = false
	}
}

// MayPour tells the state that a person is asked for water for a zone: who brings it may
// say so an hour later or never, so that readings which rise suddenly prove nothing. An
// unknown zone is left alone, and so is one that is doubted already.
func (p *Plan) MayPour(st *State, now garden.Moment, zone garden.ZoneID) {
	if i := p.zoneIndex(zone); i >= 0 && !st.zones[i].doubt.on {
		st.zones[i].doubt.uncounted(now.Mono)
	}
}

// uncounted notes that water may have come until now, counted or not: a line was open, it
// rained, or nobody knows.
func (d *doubt) uncounted(now time.Duration) {
	if !d.mayCome || now > d.cameAt {
		d.mayCome, d.cameAt = true, now
	}
}

// wetness is what the zone's believed probes read over what they do at capacity: the least
// of them, as a share of the way to the mix's pores, all full, and in m³/m³. beyond tells
// that none is good and one reads beyond its wettest point.
func (p *Plan) wetness(st *State, i int, now garden.Moment) (share, over float64, beyond bool) {
	zp := &p.zones[i]
	share, good := math.Inf(1), false
	for _, pi := range zp.probes {
		ps, pp := &st.probes[pi], &p.probes[pi]
		switch {
		case ps.distrusted || pp.profile == nil:
		case ps.has && ps.at == now.Mono:
			good = true
			o := ps.smooth + st.zones[i].anchor.shift - pp.atCapacity
			pores := float64(zp.Porosity) - pp.atCapacity
			if pores < 0.01 {
				pores = 0.01
			}
			if s := o / pores; s < share {
				share, over = s, o
			}
		case ps.beyond:
			beyond = true
		}
	}
	if !good {
		share, over = 0, 0
	}
	return share, over, beyond && !good
}

// watchDoubt decides whether a zone's readings are believed at now.
func (p *Plan) watchDoubt(st *State, i int, now garden.Moment) {
	z, zp := &st.zones[i], &p.zones[i]
	d := &z.doubt
	if zp.line < 0 || len(zp.probes) == 0 {
		return // people pour, and don't say so
	}
	if !st.began || st.lines[zp.line].flows() {
		d.uncounted(now.Mono) // nobody knows what came before, nor yet what comes
	}
	share, over, beyond := p.wetness(st, i, now)
	if beyond && !d.beyond {
		d.beyondSince = now.Mono
	}
	d.beyond = beyond
	rest := z.sinceWater(now)
	if d.mayCome {
		rest = min(rest, now.Mono-d.cameAt)
	}
	wet := false
	switch {
	case rest < restLong || z.salt > restedSalt: // it may be draining, and salt reads as water
	case beyond:
		wet = now.Mono-d.beyondSince >= restLong
	case over > overLeast:
		wet = share > farTooWet && rest >= restLonger || d.on && share > tooWet
	}
	switch {
	case wet:
		if !d.on {
			p.disbelieve(st, i, now)
		}
		d.wet, d.cleared, d.till = true, false, max(d.till, now.Mono+wetDoubtFor)
	case !d.on && d.slow && now.Mono-d.last <= doubtGap && d.last-d.first >= doubtAfter && now.Mono >= d.believe:
		p.disbelieve(st, i, now)
	case d.on && rest >= restLong && z.water.Mean >= float64(zp.Capacity)-nearlyFull:
		var v verdict
		if p.consensus(st, i, now, &v) && v.mid <= z.water.Mean+agrees && !d.cleared {
			d.cleared, d.clearedAt = true, now.Mono
		}
	}
	switch {
	case !d.on:
	case d.cleared && now.Mono-d.clearedAt >= clearedFor:
		*d = d.ended()
		d.believe = now.Mono + believeFor
	case now.Mono >= d.till:
		*d = d.ended()
		d.believe = now.Mono + unclearFor
	case now.Mono >= d.again:
		d.again = now.Mono + oddAgain
		p.tellDoubt(st, i, now)
	}
}

// stopsNothing tells that a reading over which water would run through ends no watering:
// it is not believed, or has been beyond all that its probe was calibrated for so long that
// no watering brought it there.
func (d *doubt) stopsNothing(now time.Duration) bool {
	return d.on || d.beyond && now-d.beyondSince >= restLong
}

// disbelieve has a zone live on its balance. It may have gone without water for as long as
// it was believed, so it is taken to be at its refill point, or where the book says it
// is: a pot that is not drains once. What its demand was learnt from is in doubt as well.
func (p *Plan) disbelieve(st *State, i int, now garden.Moment) {
	z, zp := &st.zones[i], &p.zones[i]
	z.doubt.on, z.doubt.cleared, z.doubt.till, z.doubt.again = true, false, now.Mono+doubtFor, now.Mono
	z.water.Factor = max(z.water.Factor, 1)
	z.water.Drift(guessedFactorSD * guessedFactorSD)
	z.forgetTrend()
	if z.trusted {
		z.lost(zp, z.doubt.missingL)
	}
	z.short = max(z.short, z.doubt.missingL)
	z.fresh = false
}

// lost takes a zone of which nothing is known any more to be at its refill point, or
// to miss missingL where that is more.
func (z *zoneState) lost(zp *ZonePlan, missingL float64) {
	z.short = max(z.short, z.band*zp.VolumeL, missingL)
	z.dryLoss = z.short
	z.water.Mean = max(min(z.water.Mean, float64(zp.Capacity)-z.short/zp.VolumeL), float64(zp.LowerLimit)/4)
	z.water.Forget(z.band * z.band)
	z.good, z.hasGood = 0, false
}

// spent books what the book says a tick took, L, and came what came in. What is missing
// by both, whatever probes said, is never more than the pot holds.
func (d *doubt) spent(litres float64, zp *ZonePlan) {
	if d.missingL += litres; d.missingL > zp.holdsL() {
		d.missingL = zp.holdsL()
	}
}

func (d *doubt) came(litres float64) { d.missingL = max(0, d.missingL-litres) }

func (p *Plan) tellDoubt(st *State, i int, now garden.Moment) {
	z, zp := &st.zones[i], &p.zones[i]
	if !z.doubt.wet {
		st.note(Event{Kind: DrinksLess, At: now, Zone: zp.ID, Line: zp.Line, A: z.doubt.share, B: 1})
		return
	}
	e := Event{Kind: ReadsWet, At: now, Zone: zp.ID, Line: zp.Line}
	if len(zp.probes) == 1 {
		e.Probe = p.probes[zp.probes[0]].id
	}
	st.note(e)
}

// DoubtMemory is for how long on a zone's probes are not believed, h, whether they were
// seen to read too wet, for how long they are believed where they are, h, and what the
// book misses, L.
type DoubtMemory struct {
	ForH     float64 `json:"for_h,omitempty"`
	Wet      bool    `json:"wet,omitempty"`
	BelieveH float64 `json:"believe_h,omitempty"`
	MissingL float64 `json:"missing_l,omitempty"`
	// Share is what the zone was seen to lose of what it should.
	Share float64 `json:"share,omitempty"`
}

func (d *doubt) remember(now time.Duration) *DoubtMemory {
	m := DoubtMemory{MissingL: d.missingL, BelieveH: max(0, (d.believe - now).Hours())}
	if d.on {
		m.ForH, m.Wet, m.Share = max(0, (d.till-now).Hours()), d.wet, d.share
	}
	if m == (DoubtMemory{}) {
		return nil
	}
	return &m
}

// recall brings a memory of that age in, as far as it is sane.
func (d *doubt) recall(m *DoubtMemory, zp *ZonePlan, now, age time.Duration) {
	if m == nil || !garden.Finite(m.ForH) || !garden.Finite(m.BelieveH) || !garden.Finite(m.MissingL) || !garden.Finite(m.Share) {
		return
	}
	left := func(h float64, most time.Duration) time.Duration {
		return time.Duration(min(max(h, 0), most.Hours())*float64(time.Hour)) - age
	}
	*d = doubt{missingL: min(max(m.MissingL, 0), zp.holdsL()), believe: now + max(0, left(m.BelieveH, believeFor))}
	if on := left(m.ForH, wetDoubtFor); on > 0 && zp.line >= 0 && len(zp.probes) > 0 {
		d.on, d.wet, d.share, d.till, d.again = true, m.Wet, m.Share, now+on, now
	}
}
