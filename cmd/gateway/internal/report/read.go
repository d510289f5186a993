package report

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/cmd/gateway/internal/season"
	"fabricpot/control"
	"fabricpot/control/garden"
)

// ErrNothing tells that the journal has no sample in the span asked for.
var ErrNothing = errors.New("the journal has nothing in that time")

// step is how finely the samples are looked at: old ones are kept by the
// quarter hour anyway.
const step = 15 * time.Minute

// Days settles the span of a report: from and to are midnights of civil days,
// both included, and zero for the journal's first and last. It returns To as
// the midnight after the last day.
func Days(s Source, from, to time.Time, zone *time.Location) (time.Time, time.Time, error) {
	first, last, ok, err := s.Span()
	if err != nil {
		return from, to, err
	}
	if !ok {
		return from, to, fmt.Errorf("%s: %w", s.Path(), ErrNothing)
	}
	// A sample at midnight ends the day before.
	last = maxTime(first, last.Add(-time.Millisecond))
	if from.IsZero() {
		from = midnight(first.In(zone), 0)
	}
	if to.IsZero() {
		to = midnight(last.In(zone), 0)
	}
	to = midnight(to, 1)
	if from.After(last) || !to.After(first) {
		return from, to, fmt.Errorf("%s: %w: it reaches from %s to %s", s.Path(), ErrNothing,
			first.In(zone).Format(time.DateOnly), last.In(zone).Format(time.DateOnly))
	}
	if !to.After(from) {
		return from, to, fmt.Errorf("%s lies before %s", to.AddDate(0, 0, -1).Format(time.DateOnly), from.Format(time.DateOnly))
	}
	return from, to, nil
}

func midnight(t time.Time, days int) time.Time {
	y, m, d := t.Date()
	return time.Date(y, m, d+days, 0, 0, 0, 0, t.Location())
}

// Read makes the book of the days from from up to to, which is not included.
func Read(s Source, g *garden.Garden, plan *control.Plan, from, to time.Time) (*Book, error) {
	if !to.After(from) || to.Sub(from) > 3700*24*time.Hour {
		return nil, fmt.Errorf("report: %s to %s: expected a span of at most ten years", from.Format(time.DateOnly), to.Format(time.DateOnly))
	}
	r := reader{s: s, g: g, from: from, to: to}
	if err := r.gather(); err != nil {
		return nil, err
	}
	b := &Book{Site: g.Site.Name, From: from, To: to}
	if err := r.sky(b); err != nil {
		return nil, err
	}
	known := map[garden.ZoneID]bool{}
	for i := range plan.Zones() {
		zp := &plan.Zones()[i]
		known[zp.ID] = true
		z, err := r.zone(zp, b)
		if err != nil {
			return nil, err
		}
		b.Zones = append(b.Zones, z)
	}
	names, err := s.ZoneNames()
	if err != nil {
		return nil, err
	}
	for _, n := range names {
		if !known[n] {
			b.Strangers = append(b.Strangers, n)
		}
	}
	b.Whole = r.alarmsOf(func(about string) bool { return !r.ofZone[about] })
	return b, nil
}

// Simulate adds what only a simulator knows.
func (b *Book) Simulate(res season.Result) {
	b.Simulated = true
	for i := range b.Zones {
		for k := range res.Zones {
			if res.Zones[k].Name == string(b.Zones[i].ID) {
				b.Zones[i].True = &res.Zones[k]
			}
		}
	}
}

// reader holds what is read once for all zones.
type reader struct {
	s          Source
	g          *garden.Garden
	from, to   time.Time
	deliveries []garden.PastDelivery
	asks       []journal.AskedFor
	feeds      []journal.Feed
	notes      []journal.Note
	plants     []garden.PlantEvent
	alarms     []journal.AlarmEvent
	refusals   []journal.Decision
	tasks      []taskEvent
	probes     []journal.ProbeHealth
	ofZone     map[string]bool
}

func (r *reader) in(t time.Time) bool { return !t.Before(r.from) && t.Before(r.to) }

// most bounds lists that have no end of their own.
const most = 200000

func (r *reader) gather() error {
	var errs [9]error
	r.deliveries, errs[0] = r.s.DeliveriesSince(r.from)
	r.asks, errs[1] = r.s.Asks(r.from, r.to.Add(-time.Millisecond))
	r.feeds, errs[2] = r.s.Feeds("", r.from)
	r.notes, errs[3] = r.s.Notes(r.from)
	r.alarms, errs[4] = r.s.Alarms(r.from, most)
	all, err := r.s.Decisions(r.from, r.to.Add(-time.Millisecond), most)
	for _, d := range all {
		if d.Cause != garden.NotRefused {
			r.refusals = append(r.refusals, d)
		}
	}
	errs[5] = err
	r.probes, errs[6] = r.s.ProbesBetween(r.from, r.to.Add(-time.Millisecond))
	r.tasks, errs[7] = r.taskEvents()
	r.plants, errs[8] = r.s.PlantEvents(r.from, r.from.Location())
	r.plants = slices.DeleteFunc(r.plants, func(e garden.PlantEvent) bool { return !r.in(e.On) })
	r.deliveries = slices.DeleteFunc(r.deliveries, func(d garden.PastDelivery) bool { return !r.in(d.ClosedAt.Wall) })
	r.feeds = slices.DeleteFunc(r.feeds, func(f journal.Feed) bool { return !r.in(f.At.Wall) })
	r.notes = slices.DeleteFunc(r.notes, func(n journal.Note) bool { return !r.in(n.At.Wall) })
	r.alarms = slices.DeleteFunc(r.alarms, func(a journal.AlarmEvent) bool { return !r.in(a.At.Wall) })
	slices.Reverse(r.alarms) // they come newest first
	r.ofZone = map[string]bool{}
	r.g.EachZone(func(_ *garden.Pot, z *garden.Zone) {
		for _, about := range subjects(z) {
			r.ofZone[about] = true
		}
	})
	return errors.Join(errs[:]...)
}

// subjects are what an alarm about a zone may be about.
func subjects(z *garden.Zone) []string {
	out := []string{string(z.ID)}
	if z.Line != "" {
		out = append(out, string(z.Line))
	}
	for i := range z.Probes {
		out = append(out, string(z.Probes[i].ID))
	}
	return out
}

// sky adds up the weather.
func (r *reader) sky(b *Book) error {
	skies, err := r.s.Skies(r.from, r.to.Add(-time.Millisecond))
	if err != nil {
		return err
	}
	days := map[string]float64{}
	for _, s := range skies {
		if s.RainMM.Known {
			b.RainMM = garden.Known(b.RainMM.Or(0) + s.RainMM.Value)
			if s.RainMM.Value > 0 {
				b.Rain = append(b.Rain, Amount{s.At.Wall, s.RainMM.Value})
				days[s.At.Wall.In(r.from.Location()).Format(time.DateOnly)] += s.RainMM.Value
			}
		}
		if t := s.AirC; t.Known {
			b.ColdestC = garden.Known(math.Min(t.Value, b.ColdestC.Or(t.Value)))
			b.HottestC = garden.Known(math.Max(t.Value, b.HottestC.Or(t.Value)))
		}
	}
	for _, mm := range days {
		if mm >= 1 {
			b.RainDays++
		}
	}
	return nil
}

func maxTime(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}
