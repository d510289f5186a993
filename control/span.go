package control

import (
	"math"
	"slices"
	"time"

	"fabricpot/control/garden"
)

const (
	// A span is weighed once it is leastSpan long and leastSpent of modelled
	// loss have gone by, and thrown away when it is older than mostSpan.
	leastSpan  = 3 * 24 * time.Hour
	mostSpan   = 12 * 24 * time.Hour
	leastSpent = 0.12
	// levelSD is what a look at rest errs by from time to time, m³/m³.
	// halfSD is the same where the lowest probe is between halfFrom and floorFrom.
	levelSD = 0.012
	halfSD  = 0.025
	// drainedSD is the doubt about what drained, as a share of it, spanSD what
	// no span tells better than.
	drainedSD = 0.4
	spanSD    = 0.03
	// spreadFor is how long a zone may read over its capacity before that is what it
	// holds. Our judgement, tried on the simulator's pots.
	spreadFor = 48 * time.Hour
)

// span is a zone's account of litres between two looks at rest. Over several
// days the litres that came in tell better than any level what went out: a
// probe's lasting error is in both looks and drops out. Where no probe tells of
// the floor a look is worth less, and under the surface alone nothing.
type span struct {
	open                  bool
	at                    time.Duration
	mid, spent            float64 // at its beginning
	inL, doubtL, drainedL float64
	// from is when probes have been read for long enough to end one that a restart
	// went on with.
	from time.Duration
}

// SpanMemory is what a restart must not forget of an account of litres: how old it is,
// where the probes stood at its beginning, m³/m³, and what came and went since.
type SpanMemory struct {
	Hours    float64 `json:"hours"`
	Mid      float64 `json:"mid"`
	Spent    float64 `json:"spent"`
	InL      float64 `json:"in_l"`
	DoubtL   float64 `json:"doubt_l"`
	DrainedL float64 `json:"drained_l"`
}

// remember is what to keep of it, spent being the zone's modelled loss by now.
func (s *span) remember(now time.Duration, spent float64) *SpanMemory {
	if !s.open {
		return nil
	}
	return &SpanMemory{Hours: (now - s.at).Hours(), Mid: s.mid, Spent: spent - s.spent, InL: s.inL, DoubtL: s.doubtL, DrainedL: s.drainedL}
}

// recall goes on with an account that was kept age ago, in a zone that has lost nothing
// yet in this run. What can't be leaves none.
func (s *span) recall(r *SpanMemory, now, age time.Duration) {
	if r == nil || !sound(r.Hours, r.Mid, r.Spent, r.InL, r.DoubtL, r.DrainedL) || r.Hours > mostSpan.Hours() || r.Mid > 1 {
		return
	}
	*s = span{open: true, at: now - age - hours(r.Hours), mid: r.Mid, spent: -r.Spent, inL: r.InL, doubtL: r.DoubtL, drainedL: r.DrainedL, from: now + trustFor}
}

// sound tells whether all of vs are finite and none is below 0.
func sound(vs ...float64) bool {
	return !slices.ContainsFunc(vs, func(v float64) bool { return !garden.Finite(v) || v < 0 })
}

// credit books litres that came in, with a doubt as a share of them. Emitters err
// the same way every time, so doubts add up straight.
func (s *span) credit(litres, doubt float64) {
	s.inL += litres
	s.doubtL += doubt * litres
}

// weigh looks at a zone at rest whose probes say mid, and learns from the span
// that ends here where it is long enough.
func (z *zoneState) weigh(zp *ZonePlan, mid float64, now garden.Moment) {
	s := &z.span
	age, spent := now.Mono-s.at, z.spent-s.spent
	if s.open && age <= mostSpan {
		if age < leastSpan || spent < leastSpent || now.Mono < s.from {
			return
		}
		z.odd.doubt = s.doubtL / zp.VolumeL / spent
		level := levelSD
		if z.blind {
			level = halfSD
		}
		gone := (s.inL-s.drainedL)/zp.VolumeL + s.mid - mid
		if zp.Line == "" && gone <= oddLess*spent {
			// Tended by hand, and wetter than what was told of: somebody poured
			// and has not said so, or not yet.
			*s = span{open: true, at: now.Mono, mid: mid, spent: z.spent}
			return
		}
		part := func(x float64) float64 { return x / spent }
		sd := math.Sqrt(spanSD*spanSD + 2*part(level)*part(level) +
			part(s.doubtL/zp.VolumeL)*part(s.doubtL/zp.VolumeL) +
			part(drainedSD*s.drainedL/zp.VolumeL)*part(drainedSD*s.drainedL/zp.VolumeL))
		z.water.UpdateFactor(gone/spent, sd)
		z.odd.spanned(gone / spent)
		z.anchor.thirst.weighed(gone, spent, z.odd.doubt+part(s.drainedL/zp.VolumeL))
	}
	*s = span{open: true, at: now.Mono, mid: mid, spent: z.spent}
}

// spreads tells that water still spreads in a zone whose floor no probe sees: no
// pot at rest holds more than its capacity, so a higher level is of its top alone.
// What came would count twice, as litres and as level, and a pot that drinks seem
// to dry not at all. One that stays so for longer does hold too much.
func (z *zoneState) spreads(zp *ZonePlan, mid float64, now time.Duration) bool {
	if mid <= float64(zp.Capacity) {
		z.over = false
		return false
	}
	if !z.over {
		z.over, z.overAt = true, now
	}
	return now-z.overAt < spreadFor
}
