package control

import (
	"time"

	"fabricpot/control/garden"
)

// Swaps watches for two probes whose plugs were confused: after a watering of one
// line a probe of its pot stays as it is and one of a pot on another line, which did
// not run, answers. Once may be a hand with a can; the same pair twice in a row is
// not, whichever of its two lines ran. Lines that ran meanwhile do not matter whose
// own probes answered.
//
// It says nothing of two probes of one line, whose pots are watered together, nor
// of two whose lines always run together, nor of hours with rain: by the gauge where
// there is one, and else of the days that have some.
//
// It keeps nothing over a restart: two more waterings tell again.
type Swaps struct {
	probes []swapProbe
	lines  []swapLine
	rained time.Duration // when it last did
	wet    bool          // it did at all
	nextAt time.Duration
	ring   int // samples taken
}

const (
	// swapEvery is how often readings are kept, swapKept how many: a watering is
	// compared with what was read before it.
	swapEvery = 10 * time.Minute
	swapKept  = 48
	// swapRest is how long after the last pulse a watering is judged, and how long
	// before the first no other line may have run.
	swapRest = time.Hour
	// swapLongest is the longest watering that is judged.
	swapLongest = swapKept*swapEvery - swapRest - 2*swapEvery
	// A probe that rose by swapRose answered, one under swapStill did not.
	swapRose, swapStill = 0.03, 0.008
	// swapTwice is how often in a row it takes, and swapSoon how long apart two may
	// lie: a pair that showed itself once is forgotten.
	swapTwice = 2
	swapSoon  = 30 * 24 * time.Hour
)

type swapProbe struct {
	id   garden.ProbeID
	zone garden.ZoneID
	line int // -1 for a pot without one
	// top is the uppermost of its zone: one further down may rise hours after its
	// own pot's water.
	top bool
	// kept are readings, oldest overwritten; NaN-free: ok tells which are good.
	kept [swapKept]float64
	ok   [swapKept]bool
	at   [swapKept]time.Duration
	now  float64
	good bool
	// with is the probe it seems confused with, if it is that one's as well, times
	// how often in a row and shown when last.
	with, times int
	shown       time.Duration
}

type swapLine struct {
	id          garden.LineID
	first, last time.Duration // of the watering under way
	under       bool
	ran         time.Duration // when it last gave water
	any         bool
}

// Swapped is a pair that looks confused: water of Line moved Other and not Own.
type Swapped struct {
	Line       garden.LineID
	Own, Other garden.ProbeID
}

// NewSwaps watches a garden's wired and remote probes, in ProbeList's order.
func NewSwaps(g *garden.Garden) *Swaps {
	s := &Swaps{lines: make([]swapLine, len(g.Lines))}
	for i := range g.Lines {
		s.lines[i] = swapLine{id: g.Lines[i].ID}
	}
	for _, p := range g.ProbeList() {
		sp := swapProbe{id: p.ID, zone: p.Zone, line: -1, with: -1}
		if _, z, ok := g.Zone(p.Zone); ok {
			for i := range g.Lines {
				if g.Lines[i].ID == z.Line {
					sp.line = i
				}
			}
			sp.top = true
			for i := range z.Probes {
				sp.top = sp.top && z.Probes[i].DepthCM >= p.DepthCM
			}
		}
		s.probes = append(s.probes, sp)
	}
	return s
}

// See takes in a round, after Runs, and returns a pair that has just shown itself.
func (s *Swaps) See(now time.Duration, obs *garden.Observed) (Swapped, bool) {
	rain := obs.Today.RainMM.Or(0)
	if r := obs.Now.RainMM; r.Known && garden.Finite(r.Value) {
		rain = r.Value
	}
	if rain > 0 {
		s.rained, s.wet = now, true
	}
	if len(obs.Readings) != len(s.probes) {
		return Swapped{}, false
	}
	for i := range s.probes {
		r := &obs.Readings[i]
		p := &s.probes[i]
		p.good = r.Quality == garden.Good && garden.Finite(float64(r.Water))
		p.now = float64(r.Water)
	}
	for i := range obs.Delivered {
		if d := &obs.Delivered[i]; d.Litres > 0 {
			s.Runs(d.Line, d.OpenedAt.Mono, d.ClosedAt.Mono)
		}
	}
	if now < s.nextAt {
		return Swapped{}, false
	}
	s.nextAt = now + swapEvery
	var out Swapped
	found := false
	for i := range s.lines {
		if l := &s.lines[i]; l.under && now-l.last >= swapRest {
			l.under = false
			if got, ok := s.judge(i, now); ok {
				out, found = got, true
			}
		}
	}
	n := s.ring % swapKept
	s.ring++
	for i := range s.probes {
		p := &s.probes[i]
		p.kept[n], p.ok[n], p.at[n] = p.now, p.good, now
	}
	return out, found
}

// Runs is told each line that is open, since when and that it still is at that
// time.
func (s *Swaps) Runs(line garden.LineID, since, at time.Duration) {
	for i := range s.lines {
		l := &s.lines[i]
		if l.id != line {
			continue
		}
		if !l.under {
			l.under, l.first = true, since
		}
		l.last = max(at, l.last)
		l.ran, l.any = l.last, true
	}
}

// judge looks at a line's watering that is over.
func (s *Swaps) judge(i int, now time.Duration) (Swapped, bool) {
	l := &s.lines[i]
	if l.last-l.first > swapLongest || s.wet && s.rained >= l.first-swapRest {
		return Swapped{}, false
	}
	alone := true
	for k := range s.lines {
		alone = alone && (k == i || !s.ran(k, l.first))
	}
	own, other := -1, -1 // the first of its own that stays as it is
	hardly := false      // one moved, and not so that it is known to have answered
	for k := range s.probes {
		p := &s.probes[k]
		rose, ok := p.rose(l.first)
		switch meanwhile := p.line >= 0 && p.line != i && !alone && s.ran(p.line, l.first); {
		case p.line == i && !ok: // it may be soaked for hours, and says nothing of the others
		case p.line == i && rose >= swapStill:
			// Beside others it may be confused and that the other line's water; and what
			// was clear takes as clear an answer to be over.
			if alone && (rose >= swapRose || !s.confused(k)) {
				p.times = 0
			}
		case p.line == i && own < 0:
			own = k
		case p.line == i:
		case !p.top:
		case meanwhile && (!ok || rose < swapRose):
			return Swapped{}, false // it may be that line's water that others answer to
		case meanwhile:
		case ok && rose >= swapRose && other >= 0 && s.probes[other].zone != p.zone:
			return Swapped{}, false // more than one: it is no plug
		case ok && rose >= swapRose:
			other = k
		case ok && rose >= swapStill:
			hardly = true
		}
	}
	if own < 0 {
		return Swapped{}, false
	}
	a := &s.probes[own]
	if other < 0 {
		// Little water says little, and a probe that can't be read, as in a soaked pot,
		// may have answered.
		if alone && !hardly && !s.confused(own) && s.readable(a.with, l.first) {
			a.times = 0
		}
		return Swapped{}, false
	}
	b := &s.probes[other]
	if s.confused(own) && a.with != other || s.confused(other) && b.with != own {
		return Swapped{}, false // a hand with a can: what was clear stays
	}
	if a.with != other || b.with != own || now-a.shown > swapSoon && !s.confused(own) {
		a.times, b.times = 0, 0
	}
	a.times = min(a.times, b.times) + 1
	a.with, a.shown, b.with, b.times, b.shown = other, now, own, a.times, now
	if a.times < swapTwice {
		return Swapped{}, false
	}
	return Swapped{Line: l.id, Own: a.id, Other: b.id}, true
}

// readable tells that a probe, where it is one, says how much it rose since a time.
func (s *Swaps) readable(k int, since time.Duration) bool {
	if k < 0 {
		return true
	}
	_, ok := s.probes[k].rose(since)
	return ok
}

// ran tells that a line gave water since an hour before a time.
func (s *Swaps) ran(line int, since time.Duration) bool {
	l := &s.lines[line]
	return l.any && l.ran >= since-swapRest
}

// rose is how much more a probe reads than just before a time.
func (p *swapProbe) rose(since time.Duration) (float64, bool) {
	best, found := 0, false
	for n := range p.kept {
		if p.at[n] < since && p.ok[n] && (!found || p.at[n] > p.at[best]) {
			best, found = n, true
		}
	}
	if !found || !p.good || since-p.at[best] > 2*swapEvery {
		return 0, false
	}
	return p.now - p.kept[best], true
}
