package control

import (
	"time"

	"fabricpot/control/garden"
)

// But for what is said to have a source the figures are our judgement.
const (
	// A zone that over oddSpans weighed spans running lost oddMore times what the
	// book says, or less than oddLess, is no longer only another plant: twice is
	// beyond what a lone pot on hot paving loses against a field (FAO-56 chapters
	// 9 and 10, from memory; the exposure has its own factor already).
	oddSpans = 2
	oddMore  = 1.9
	oddLess  = 0.5
	// So has one that lost unusualMore times what it usually does, or less than
	// unusualLess, once usualSpans said what is usual.
	usualSpans  = 3
	unusualMore = 1.6
	unusualLess = 0.65
	// A spell without water at least oddFor long says so at once where it dried
	// oddFast times what was expected and by oddLevel more, or by less than a
	// sixth of what was expected and by oddLevel less.
	oddFor   = 12 * time.Hour
	oddFast  = 3.0
	oddLevel = 0.05
	// oddAfter is how long after water a spell begins to be looked at, and
	// middleFrom and middleTo bound the depths that may speak, as shares.
	oddAfter             = 12 * time.Hour
	middleFrom, middleTo = 0.25, 0.8
	// oddDrizzle is the share of its volume that may come in and leave it a spell
	// without water.
	oddDrizzle = 0.005
	// oddAgain is how often it is told while it goes on.
	oddAgain = 10 * time.Hour
	// A clock that was set by more than clockStep is taken for a wrong one for
	// clockDoubt: it may have day and night mixed up, and half a day says nothing.
	clockStep  = 30 * time.Minute
	clockDoubt = 14 * 24 * time.Hour
)

// odd watches a zone for losses that are no plant's.
type odd struct {
	more, less int // spans running
	ratio      float64
	doubt      float64 // of the span to come, as a share: what nobody measured came in
	usual      float64 // mean of the spans that were not odd
	unsure     float64 // mean of their doubts
	spans      int
	// The spell without water: when it began to be looked at, and from where.
	open       bool
	at         time.Duration
	notBefore  time.Duration // after hours of drizzle, which still spread
	mid, spent float64
	inL        float64 // what had come in by then, of the span
	drizzleL   float64 // what did since
	told       time.Duration
	hasTold    bool
}

// spanned takes in what a weighed span came to against the book.
func (o *odd) spanned(ratio float64) {
	o.ratio = ratio
	odd := ratio >= oddMore || ratio <= oddLess
	// Rain is credited by half a guess: what it may have been is not odd. What is
	// usual is no surer than the spans that said so.
	low, high := ratio-o.doubt, ratio+o.doubt
	switch {
	case low >= oddMore || o.spans >= usualSpans && low > unusualMore*(o.usual+o.unsure):
		o.more, o.less = o.more+1, 0
	case ratio <= 0 && high+o.doubt <= oddLess:
		// It grew wetter than what was given, whatever the rain was: one span
		// is enough.
		o.more, o.less = 0, o.less+oddSpans
	case high <= oddLess || o.spans >= usualSpans && high < unusualLess*(o.usual-o.unsure):
		o.more, o.less = 0, o.less+1
	case odd:
		// Not sure enough to say so, and not usual either.
	default:
		o.more, o.less = 0, 0
		o.spans++
		of := float64(min(o.spans, 8))
		o.usual += (ratio - o.usual) / of
		o.unsure += (o.doubt - o.unsure) / of
	}
}

// OddMemory is what a restart must not forget of it: how many spans running lost More or
// Less than a plant does, what the last came to against the book, and of the Spans that
// were usual the mean and their doubt.
type OddMemory struct {
	More   int     `json:"more,omitempty"`
	Less   int     `json:"less,omitempty"`
	Ratio  float64 `json:"ratio,omitempty"`
	Spans  int     `json:"spans,omitempty"`
	Usual  float64 `json:"usual,omitempty"`
	Unsure float64 `json:"unsure,omitempty"`
}

// remember is nil where no span was weighed.
func (o *odd) remember() *OddMemory {
	if o.more == 0 && o.less == 0 && o.spans == 0 {
		return nil
	}
	return &OddMemory{More: o.more, Less: o.less, Ratio: o.ratio, Spans: min(o.spans, 8), Usual: o.usual, Unsure: o.unsure}
}

// recall brings a memory in that is sane. What was odd by then was told; how many spans
// were so one after another says something only where lately, of a short while ago.
func (o *odd) recall(m *OddMemory, now time.Duration, lately bool) {
	if m == nil || m.More < 0 || m.Less < 0 || m.Spans < 0 || !garden.Finite(m.Ratio) ||
		!(m.Usual >= 0 && m.Usual < oddMore) || !(m.Unsure >= 0 && m.Unsure < oddMore) {
		return
	}
	*o = odd{more: min(m.More, oddSpans), less: min(m.Less, oddSpans), ratio: m.Ratio, spans: min(m.Spans, 8), usual: m.Usual, unsure: m.Unsure}
	if !lately {
		o.more, o.less = 0, 0
	}
	o.told, o.hasTold = now, o.more >= oddSpans || o.less >= oddSpans
}

// watchClock notices that the clock was set. A spell in which it was is reckoned with
// hours that never were.
func (st *State) watchClock(now garden.Moment) {
	if !now.Synced {
		return
	}
	was := st.synced
	st.synced = now
	if was.Wall.IsZero() || (now.Wall.Sub(was.Wall)-(now.Mono-was.Mono)).Abs() <= clockStep {
		return
	}
	st.clockTill = now.Mono + clockDoubt
	for i := range st.zones {
		st.zones[i].odd.open = false
	}
}

// watchOdd looks at a zone at rest whose probes say mid. That a zone without a line
// dries too little is not told: people pour and don't say so.
func (p *Plan) watchOdd(st *State, i int, v *verdict, now garden.Moment) {
	z, zp := &st.zones[i], &p.zones[i]
	o, mid := &z.odd, v.mid
	tell := func(kind EventKind, ratio float64) {
		if kind == DrinksLess && zp.Line != "" && mid > z.refillAt(zp) { // else it asks for water anyway
			z.doubt.hardly(ratio, now.Mono)
		}
		if o.hasTold && now.Mono-o.told < oddAgain {
			return
		}
		o.told, o.hasTold = now.Mono, true
		st.note(Event{Kind: kind, At: now, Zone: zp.ID, Line: zp.Line, A: ratio})
	}
	switch {
	case o.more >= oddSpans:
		tell(DrinksMore, o.ratio)
	case o.less >= oddSpans:
		tell(DrinksLess, o.ratio)
	}
	if !v.middle {
		return
	}
	if !o.open {
		if z.sinceWater(now) < oddAfter || now.Mono < o.notBefore || mid >= float64(zp.Capacity) {
			return // still draining down
		}
		o.drizzleL = 0
		o.begin(z, mid, now)
		return
	}
	came := z.span.inL - o.inL
	if came < 0 {
		// The span was weighed: the spell begins anew with the next, and at once, with
		// what drizzled until then.
		o.begin(z, mid, now)
		o.open = mid < float64(zp.Capacity)
		return
	}
	if o.drizzleL = came; came > oddDrizzle*zp.VolumeL {
		o.open, o.notBefore = false, now.Mono+oddAfter // hours of drizzle are rain
		return
	}
	if since := now.Mono - o.at; since < oddFor || since < 2*oddFor && now.Mono < st.clockTill {
		return
	}
	// Against the book or what was learnt, whichever makes it less odd.
	gone, spent := o.mid-mid, z.spent-o.spent
	most, due := max(z.water.Factor, 1)*spent, min(z.water.Factor, 1)*spent
	if !v.floor {
		most *= 1.5 // the top of a pot dries faster than the pot
	}
	switch {
	case gone > oddFast*most && gone-most > oddLevel:
		tell(DrinksMore, gone/max(spent, 1e-3))
	case gone < due/6 && due-gone > oddLevel && v.hi < float64(zp.Capacity) && zp.Line != "":
		tell(DrinksLess, max(gone, 0)/max(spent, 1e-3))
	}
	if now.Mono-o.at >= 2*oddFor {
		o.drizzleL = 0
		o.begin(z, mid, now)
	}
}

// begin has a spell begin now, in which drizzleL came already.
func (o *odd) begin(z *zoneState, mid float64, now garden.Moment) {
	o.open, o.at, o.mid, o.spent, o.inL = true, now.Mono, mid, z.spent, z.span.inL-o.drizzleL
}
