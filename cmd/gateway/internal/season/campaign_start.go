package season

import (
	"slices"
	"time"

	"fabricpot/control/alarm"
)

// journalBroken is a mishap of a start: a power cut leaves a journal that the next start
// can't read.
const journalBroken MishapKind = "journal broken at a start"

// atStart are mishaps that a start finds. No script draws them beside others: those of
// each seed stay what they were.
var atStart = []mishapType{
	{kind: journalBroken, begin: func(s *scene, _ Mishap) {
		// Somebody asks for far too much, so that the cap is what holds.
		s.book.greedy = s.zone
		clock := s.b.Clock
		clock.At(clock.Now()+greedyFor, s.c.breakJournal)
		clock.At(clock.Now()+greedyFor+brokenFor, func() { s.book.greedy = -1 })
	},
		alarms: []alarm.Kind{alarm.JournalBroken}, within: 5 * time.Minute,
		shows: func(_ *course, m Mishap) time.Duration { return m.At + greedyFor },
		Safe:  "a survival dose a line in the day after, by whomever it is asked for; a limit that was spent is passed by no more",
		Recovery: "a day after the start; what was asked to stay shut or off is asked for again, " +
			"where the broken file does not tell it any more"},
}

const (
	// greedyFor is how long somebody asks before the power cut: a line's cap is spent by
	// then. brokenFor is for how long after it.
	greedyFor, brokenFor = 8 * time.Hour, 12 * time.Hour
	// outage is how long the power is away.
	outage = time.Minute
)

// drawn are the mishaps that scripts draw from.
var drawn = slices.Concat(ordinary, further, plumbing)

// mishaps is the table: fault, alarm, detection time, safe behaviour, recovery.
var mishaps = slices.Concat(drawn, atStart)

// breakJournal cuts the power, and what comes back finds a journal that it can't read.
func (c *course) breakJournal() {
	c.book.breaks()
	c.w.unaccounted()
	c.cut = c.cut || !c.b.gone
}

// breaks loses all that the journal and what stands beside it in memory know. The broken
// file is kept, and tells who looks at it what was under way.
func (m *memBook) breaks() {
	unfinished, _ := m.Unfinished()
	m.aside = append(m.aside, unfinished...)
	lost := newMemBook(m.w)
	m.intents, m.given, m.last, m.fed, m.limits, m.limited = lost.intents, lost.given, lost.last, lost.fed, nil, 0
	m.begunAnew = "the campaign's journal was broken"
}

// Broken and BrokenTold are as the journal's.
func (m *memBook) Broken() (string, error) { return m.begunAnew, nil }

// BrokenTold has Broken say nothing any more.
func (m *memBook) BrokenTold() error {
	if err := m.write(); err != nil {
		return err
	}
	m.begunAnew = ""
	return nil
}

// lostDay is what a line gives in the day after nobody knows any more what it gave
// before: a survival dose.
type lostDay struct {
	from  time.Duration
	doseL float64
	any   bool
}

// unaccounted begins that day for every line.
func (w *witness) unaccounted() {
	lines, _ := w.bench().Guard.Snapshot(w.bench().Moment())
	for _, l := range lines {
		if s := w.line(l.Line); s != nil {
			s.lost = lostDay{from: w.clock.Now(), doseL: l.DoseL, any: true}
		}
	}
}

// holds judges an opening that may last until its deadline within that day.
func (d *lostDay) holds(w *witness, s *seenLine, at time.Duration) {
	if !d.any || at >= d.from+24*time.Hour {
		return
	}
	given := s.between(d.from, at) + s.l.FlowLPH()*max(0, s.deadline-at).Hours()
	if given > d.doseL*(1+1e-6)+0.01 {
		w.fault("line %s may give %.2f L in the day after its account was lost, over its survival dose of %.2f L", s.l.ID, given, d.doseL)
	}
}

// extraL is by how much a line may pass its cap: by that dose, in that day.
func (d *lostDay) extraL(at time.Duration) float64 {
	if !d.any || at >= d.from+24*time.Hour {
		return 0
	}
	return d.doseL
}

// between is what the line gave between two times at most, by its rating, L.
func (s *seenLine) between(from, to time.Duration) float64 {
	var open time.Duration
	for _, x := range s.spans {
		open += max(0, min(x.to, to)-max(x.from, from))
	}
	return s.l.FlowLPH() * open.Hours()
}
