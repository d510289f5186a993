package season

import (
	"time"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/feed"
	"fabricpot/control/feeding"
	"fabricpot/control/garden"
	"fabricpot/control/task"
	"fabricpot/sim/bench"
)

// What a campaign's journal keeps of feeding, with the faults of its card. A book
// that lacks a method would be taken for one that keeps no feeds.
var _ runner.FeedJournal = (*memBook)(nil)

// AddFeedSteps keeps the steps of feeds, all or none.
func (m *memBook) AddFeedSteps(r []feed.Record) error {
	if len(r) == 0 {
		return nil
	}
	if err := m.write(); err != nil {
		return err
	}
	m.fed.Records = append(m.fed.Records, r...)
	for i := range r {
		switch r[i].Kind {
		case feed.Begun:
			m.w.feedBegun(r[i].Zone, r[i].Litres)
		case feed.FlushBegun:
			m.w.flushBegun(r[i].Zone, r[i].Litres)
		}
	}
	return nil
}

// KeepLedgers keeps the latest ledger of each zone.
func (m *memBook) KeepLedgers(s []feeding.Snapshot) error {
	if err := m.write(); err != nil {
		return err
	}
	for _, x := range s {
		kept := false
		for i := range m.fed.Snapshots {
			if m.fed.Snapshots[i].Zone == x.Zone {
				m.fed.Snapshots[i], kept = x, true
			}
		}
		if !kept {
			m.fed.Snapshots = append(m.fed.Snapshots, x)
		}
	}
	return nil
}

// AddTaskEvents keeps the gardener's list.
func (m *memBook) AddTaskEvents(e []task.Event) error {
	if err := m.write(); err != nil {
		return err
	}
	m.fed.Events = append(m.fed.Events, e...)
	return nil
}

// AddFeed and AddNote are written like the rest.
func (m *memBook) AddFeed(journal.Feed) error { return m.write() }
func (m *memBook) AddNote(journal.Note) error { return m.write() }

// Notes are none: nobody writes any in a campaign.
func (m *memBook) Notes(time.Time) ([]journal.Note, error) { return nil, nil }

// Fed is what earlier lives left of feeding.
func (m *memBook) Fed(time.Time) (feeding.Past, error) {
	return feeding.Past{
		Records:   append([]feed.Record(nil), m.fed.Records...),
		Snapshots: append([]feeding.Snapshot(nil), m.fed.Snapshots...),
		Events:    append([]task.Event(nil), m.fed.Events...),
	}, nil
}

// feedUnderWay reports whether a feed or a flush was begun and not ended, as far as
// the card could be written.
func (m *memBook) feedUnderWay() bool {
	if m.broken || m.flaky {
		return true
	}
	begun := map[garden.ZoneID]bool{}
	for _, r := range m.fed.Records {
		switch r.Kind {
		case feed.Begun, feed.FlushBegun:
			begun[r.Zone] = true
		case feed.Ended, feed.FlushEnded:
			delete(begun, r.Zone)
		}
	}
	return len(begun) > 0
}

// Week says nothing: nobody asks in a campaign.
func (m *memBook) Week(garden.ZoneID, []garden.ProbeID, float64, time.Time) (feeding.Week, error) {
	return feeding.Week{}, nil
}

// tend writes that the fed pots have been looked after for weeks, so that a feed
// is due.
func (m *memBook) tend(g *garden.Garden, start time.Time) {
	g.EachZone(func(_ *garden.Pot, z *garden.Zone) {
		if z.Feed.Fed() {
			m.fed.Snapshots = append(m.fed.Snapshots, feeding.Snapshot{Zone: z.ID, At: start.Add(-2 * time.Hour), Began: start.AddDate(0, 0, -40)})
		}
	})
}

// seenFeed is one line's injector as its pin and the terrace show it.
type seenFeed struct {
	s    *seenLine
	zone garden.ZoneID
	// capL is the most ready solution in any feed.CapWindow, L.
	capL float64
	on   bool
	// since, and what had run through the line by then, L.
	since time.Duration
	ranL  float64
	spans []fedSpan
	// begun is when the present feed began, of plannedL litres in a pot that got
	// givenL of it; pulses counts them.
	begun    time.Duration
	plannedL float64
	givenL   float64
	pulses   int
	any      bool
}

type fedSpan struct {
	to     time.Duration
	litres float64
}

const (
	// feedEarly is how much sooner than feed.MinGap after the last a feed may
	// begin: a clock that jumps may fool the calendar by as much.
	feedEarly = 8 * time.Hour
	// feedOver is how much more than planned a feed may come to, and feedSlackL
	// for each pulse: emitters are never quite what their label says.
	feedOver, feedSlackL = 1.12, 0.05
	// dryDose is how long an injector may run while less than noFlowL flows.
	dryDose, noFlowL = garden.DefaultFlowWithin + 2*meterEvery, 0.005
)

// watchFeeds has every injector's pin report.
func (w *witness) watchFeeds(b *Bench, g *garden.Garden) {
	for i := range w.lines {
		s := &w.lines[i]
		pin := b.Wires.InjectorPin(s.l.ID)
		if pin == nil || len(s.l.Outlets) == 0 {
			continue
		}
		p, z, ok := g.Zone(s.l.Outlets[0].Zone)
		if !ok {
			continue
		}
		capL, err := feed.CapL(z.Feed, z.VolumeL(p))
		if err != nil {
			continue
		}
		f := &seenFeed{s: s, zone: z.ID, capL: capL}
		s.feed = f
		// The bench watches it too: what it feeds depends on it.
		pin.Also(func(e bench.PinEvent) { w.dosed(b, f, e) })
	}
}

// dosed is told each change of an injector's pin.
func (w *witness) dosed(b *Bench, f *seenFeed, e bench.PinEvent) {
	if e.Energised == f.on {
		return
	}
	f.on = e.Energised
	if e.Energised {
		if !f.s.on {
			w.fault("the injector of line %s runs without water", f.s.l.ID)
		}
		if f.s.kind != garden.Feeding {
			w.fault("the injector of line %s runs for an order of kind %s", f.s.l.ID, f.s.kind)
		}
		if !f.any {
			w.fault("line %s feeds and no feed was begun", f.s.l.ID)
		}
		f.since, f.ranL = e.At, b.Terrace.LineLitres(f.s.l.ID)
		f.pulses++
		return
	}
	litres := b.Terrace.LineLitres(f.s.l.ID) - f.ranL
	if on := e.At - f.since; w.g.Supply.MeterPulsesPerL.Known && !w.unattended(f.since, e.At) && litres < noFlowL && on > dryDose {
		w.fault("the injector of line %s ran %v without flow", f.s.l.ID, on)
	}
	if on := e.At - f.since; w.unattended(f.since, e.At) && e.At > f.s.deadline {
		// Nobody lived to close it at its deadline.
		litres *= max(0, f.s.deadline-f.since).Hours() / on.Hours()
	}
	f.givenL += litres
	f.spans = append(f.spans, fedSpan{e.At, litres})
	slack := feedSlackL * float64(f.pulses)
	if f.any && !w.untrue(f.s) && f.givenL > f.plannedL*feedOver+slack {
		w.fault("line %s fed %.2f L of a feed of %.2f L", f.s.l.ID, f.givenL, f.plannedL)
	}
	var week float64
	for _, x := range f.spans {
		if x.to > e.At-feed.CapWindow {
			week += x.litres
		}
	}
	if !w.untrue(f.s) && week > f.capL*feedOver+slack {
		w.fault("line %s fed %.2f L in a week over its cap of %.2f L", f.s.l.ID, week, f.capL)
	}
}

// feedBegun is told that a feed of so many litres was begun.
func (w *witness) feedBegun(zone garden.ZoneID, litres float64) {
	for i := range w.lines {
		f := w.lines[i].feed
		if f == nil || f.zone != zone {
			continue
		}
		at := w.clock.Now()
		if f.any && f.givenL > 0 && at-f.begun < feed.MinGap-feedEarly {
			w.fault("a feed of %s was begun %v after the last", zone, at-f.begun)
		}
		f.any, f.begun, f.plannedL, f.givenL, f.pulses = true, at, litres, 0, 0
		w.feeds++
	}
}

// unattended tells that no gateway lived at some time between.
func (w *witness) unattended(from, to time.Duration) bool {
	return w.dead || w.diedAt > from && w.diedAt <= to
}

// seenFlush is the present flush of a zone: what was planned, and what its line had
// given when it began, L.
type seenFlush struct {
	plannedL, ranL float64
	pulses         int
}

// flushBegun is told that a flush of so many litres was begun.
func (w *witness) flushBegun(zone garden.ZoneID, litres float64) {
	w.flushes[zone] = &seenFlush{plannedL: litres}
	if !w.trusted(zone, w.clock.Now()) {
		w.fault("a flush of %s was begun with no good reading", zone)
	}
}

// flushed is told an order that washes salts out. It is given by the litre,
// whatever probes say while the pot is soaked, but never without end, and never
// begun blindly.
func (w *witness) flushed(o garden.Order) {
	s, f := w.line(o.Line), w.flushes[o.Zone]
	if s == nil || f == nil {
		w.fault("line %s washes salts out and no flush was begun", o.Line)
		return
	}
	ran := w.bench().Terrace.LineLitres(o.Line)
	if f.pulses == 0 {
		f.ranL = ran
	}
	f.pulses++
	if most := ran - f.ranL + o.Litres; !w.untrue(s) && !w.miscounted() && most > f.plannedL*feedOver+feedSlackL*float64(f.pulses) {
		w.fault("line %s may give %.2f L of a flush of %.2f L", o.Line, most, f.plannedL)
	}
}
