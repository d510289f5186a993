package season

import (
	"math"
	"sort"
	"time"

	"fabricpot/control/garden"
)

// ownFlow is how long a line must run alone for its flow to be told from others'.
const ownFlow = 3 * time.Minute

// alone reports whether no other line was open at any time within ownFlow of an
// order at that time. It is asked when the run is over and all openings are known.
func (w *witness) alone(line int, at time.Duration) bool {
	for i := range w.lines {
		s := &w.lines[i]
		if i == line {
			continue
		}
		if s.on && s.since < at+ownFlow {
			return false
		}
		for _, o := range s.spans {
			if o.from < at+ownFlow && o.to > at {
				return false
			}
		}
	}
	return true
}

// openFor is for how long between two times any line was told to be open, by its pin.
// It is asked when the run is over.
func (w *witness) openFor(from, to time.Duration) (open time.Duration) {
	var spans []openSpan
	for i := range w.lines {
		s := &w.lines[i]
		spans = append(spans, s.spans...)
		if s.on {
			spans = append(spans, openSpan{s.since, to})
		}
	}
	sort.Slice(spans, func(i, k int) bool { return spans[i].from < spans[k].from })
	for _, o := range spans { // from is how far they are counted
		if begin, until := max(o.from, from), min(o.to, to); until > begin {
			open += until - begin
			from = until
		}
	}
	return open
}

// lastDay is what a line of nominal flow gave in the day before now, litres.
func (s *seenLine) lastDay(now time.Duration) float64 {
	var d time.Duration
	for i := len(s.spans) - 1; i >= 0 && s.spans[i].to > now-24*time.Hour; i-- {
		d += s.spans[i].to - max(s.spans[i].from, now-24*time.Hour)
	}
	return s.l.FlowLPH() * d.Hours()
}

// balance closes the books at the end: no water made or lost in the terrace, and
// none received that the journal does not know. leaky tells the lines of which
// nobody can know.
func (w *witness) balance(b *Bench, leaky func(*seenLine) bool, unfinished []garden.Intent) {
	for i := range b.Plan.Zones() {
		t := b.Terrace.Totals(i)
		if t.MassErrorL > 1e-6 {
			w.fault("zone %d: %.2g L of water made or lost", i, t.MassErrorL)
		}
		out := t.DrainedL + t.TranspiredL + t.EvaporatedL + t.StoredChangeL
		if math.Abs(t.AppliedL+t.RainL-out) > 1e-6 {
			w.fault("zone %d: %.6f L came and %.6f L are somewhere", i, t.AppliedL+t.RainL, out)
		}
	}
	metered := w.g.Supply.MeterPulsesPerL.Known
	// A sampling may pass between the order and the click of the valve.
	short := func(got, most float64, openings int) bool { return got > most+0.05*float64(openings)+0.01 }
	var got, said, mostL float64
	openings := 0
	for i := range w.lines {
		s := &w.lines[i]
		if leaky(s) {
			continue
		}
		l := b.Terrace.LineLitres(s.l.ID)
		for _, in := range unfinished {
			if in.Order.Line != s.l.ID {
				continue
			}
			most := in.MaxLitres // in full, as the next start would
			if metered {
				// While a pulse is not confirmed ended, the one meter's litres are
				// shared with its line.
				most = max(most, s.l.FlowLPH()*(b.Clock.Now()-in.At.Mono).Hours())
			}
			s.saidL += most
		}
		// The journal knows of rated litres where no meter counts, and emitters
		// spread: a line with few of them is a tenth off. Age and pressure only take
		// from what they give.
		most := s.saidL * s.trueFlow
		if metered { // rated litres are in the books only where it failed
			most = s.saidL * min(max(1, s.trueFlow), mostSpread)
		}
		got, said, mostL, openings = got+l, said+s.saidL, mostL+most, openings+len(s.opened)
		// One meter before several open lines tells what ran in all: whose it was
		// is a guess that one dead line spoils.
		if !metered && short(l, most, len(s.opened)) {
			w.fault("line %s gave %.2f L and the journal knows of %.2f L", s.l.ID, l, s.saidL)
		}
	}
	if short(got, mostL, openings) {
		w.fault("the lines gave %.2f L and the journal knows of %.2f L", got, said)
	}
}
