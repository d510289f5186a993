package runner

import (
	"context"
	"errors"
	"fmt"
	"reflect"
	"strings"
	"time"

	"fabricpot/control"
	"fabricpot/control/feed"
	"fabricpot/control/feeding"
	"fabricpot/control/garden"
	"fabricpot/valves"
)

// Reloaded is another version of the running garden, checked, and what was made
// of it.
type Reloaded struct {
	Garden  *garden.Garden
	Plan    *control.Plan
	Feeding *feeding.Plan
	// Limits are the guard's.
	Limits valves.Options
	// What changed, in words for the journal.
	What string
}

// NotNow tells that a reload has to wait.
type NotNow struct {
	// Open are the lines that are not confirmed closed, Within how long at most
	// those that are open on purpose stay so; both empty where a feed is under way.
	Open   []garden.LineID
	Within time.Duration
	Why    error
}

func (n NotNow) Error() string {
	if n.Why != nil {
		return n.Why.Error()
	}
	names := make([]string, len(n.Open))
	for i, id := range n.Open {
		names[i] = string(id)
	}
	if n.Within > 0 {
		return fmt.Sprintf("open: line %s, for %v at most", strings.Join(names, ", "), n.Within.Round(time.Second))
	}
	return fmt.Sprintf("not confirmed closed: line %s", strings.Join(names, ", "))
}

// recalibrates is a Sampler that can take over other calibrations.
type recalibrates interface {
	Recalibrate(g *garden.Garden) (apply func(), err error)
}

// Reload goes on with another version of the garden, while every line is
// confirmed closed; otherwise it returns a NotNow. It opens nothing and drives no
// pin. What is known of the zones and what was given stays. All of it is taken
// over or, after any error, nothing.
func (l *Loop) Reload(now garden.Moment, r Reloaded) error {
	if open, until := l.p.Guard.AllShut(); len(open) > 0 {
		l.pause.begin(now)
		return NotNow{Open: open, Within: max(0, until-now.Mono)}
	}
	if err := l.feedUnderWay(r); err != nil {
		return NotNow{Why: err} // before anything that takes long: it is asked for often
	}
	events, records, err := l.past(now)
	if err != nil {
		return fmt.Errorf("reload: %w", err)
	}
	changed := recalibrated(l.p.Garden, r.Garden)
	takeCurves := func() {}
	if s, ok := l.p.Sampler.(recalibrates); ok {
		if takeCurves, err = s.Recalibrate(r.Garden); err != nil {
			return err
		}
	} else if len(changed) > 0 {
		return errors.New("reload: calibrations can't be changed here without a restart")
	}
	state := l.p.State.Clone()
	if err := r.Plan.Reload(l.p.Plan, state, now, func(id garden.ProbeID) bool { return changed[id] }, events); err != nil {
		return err
	}
	book := l.feeds.book.Load()
	takeFeeds := func() {}
	if book != nil && r.Feeding != nil {
		book.mu.Lock()
		defer book.mu.Unlock()
		if takeFeeds, err = r.Feeding.Reload(book.plan, book.state, records); errors.Is(err, feeding.ErrFeeding) {
			return NotNow{Why: err}
		} else if err != nil {
			return err
		}
	}
	if err := l.p.Guard.Reload(now, r.Garden, r.Limits); err != nil {
		return err
	}
	l.keepLimits(now)
	l.pause = hold{}
	takeCurves()
	takeFeeds()
	if book != nil && r.Feeding != nil {
		book.g, book.plan = r.Garden, r.Feeding
	}
	*l.p.State = *state
	l.undated = nil // what was told at the start is not told of another plan
	l.p.Garden, l.p.Plan, l.p.Feeding = r.Garden, r.Plan, r.Feeding
	l.watch.follow(newWatch(r.Garden))
	l.check(now, "keep that the garden file was read again", l.p.Journal.Decided(now, garden.Order{}, garden.NotRefused, r.What))
	l.views = l.p.Plan.View(l.p.State, now, l.views[:0])
	l.refresh(now)
	return nil
}

// feedUnderWay is an ErrFeeding where a feed keeps the garden from being changed.
func (l *Loop) feedUnderWay(r Reloaded) error {
	book := l.feeds.book.Load()
	if book == nil || r.Feeding == nil {
		return nil
	}
	book.mu.Lock()
	defer book.mu.Unlock()
	if _, err := r.Feeding.Reload(book.plan, book.state, nil); errors.Is(err, feeding.ErrFeeding) {
		return err
	}
	return nil
}

// LetGo tells that a reload is waited for no more.
func (l *Loop) LetGo(now garden.Moment) { l.pause.end(now) }

// heldBack refuses a watering while a reload waits for the lines to close: where
// lines take turns they would never all be closed. What a person asked for, feeds
// and survival doses go on.
func (l *Loop) heldBack(now garden.Moment, o garden.Order) bool {
	if !l.pause.holds(now) || o.Kind != garden.Irrigate && o.Kind != garden.Estimated {
		return false
	}
	l.obs.Refused = append(l.obs.Refused, garden.Refusal{Order: o.ID, Line: o.Line, Zone: o.Zone, At: now, Cause: garden.SupplyBusy})
	return true
}

// past is what the journal knows that a changed zone begins with.
func (l *Loop) past(now garden.Moment) ([]garden.PlantEvent, []feed.Record, error) {
	var events []garden.PlantEvent
	var records []feed.Record
	if h, ok := l.p.History.(LongMemory); ok {
		var since time.Time
		if now.Synced {
			since = now.Wall.Add(-plantsFor)
		}
		var err error
		if events, err = h.PlantEvents(since, l.p.Garden.Site.Zone); err != nil {
			return nil, nil, fmt.Errorf("what was done to the plants: %w", err)
		}
	}
	if l.p.FeedJournal != nil {
		past, err := l.p.FeedJournal.Fed(now.Wall)
		if err != nil {
			return nil, nil, fmt.Errorf("what was fed: %w", err)
		}
		records = past.Records
	}
	return events, records, nil
}

// recalibrated are the probes whose readings mean something else in the other
// garden.
func recalibrated(was, to *garden.Garden) map[garden.ProbeID]bool {
	of := func(g *garden.Garden) map[garden.ProbeID]garden.Calibration {
		out := map[garden.ProbeID]garden.Calibration{}
		for i := range g.Pots {
			p := &g.Pots[i]
			for k := range p.Zones {
				for n := range p.Zones[k].Probes {
					c := g.CalibrationFor(p, &p.Zones[k].Probes[n])
					c.File, c.ProbeOffsets = "", nil // in the offset already
					out[p.Zones[k].Probes[n].ID] = c
				}
			}
		}
		return out
	}
	before, out := of(was), map[garden.ProbeID]bool{}
	for id, c := range of(to) {
		if !reflect.DeepEqual(c, before[id]) {
			out[id] = true
		}
	}
	return out
}

// Reload has the loop go on with another version of the garden, or says why not;
// see Loop.Reload.
func (d *Desk) Reload(ctx context.Context, r Reloaded) error {
	var refused error
	if err := d.inbox.Do(ctx, func(now garden.Moment) { refused = d.loop.Reload(now, r) }); err != nil {
		return err
	}
	return refused
}

// follow takes over what another version of the garden says; alarms and what was
// noticed stay.
func (w *watch) follow(to watch) {
	w.supply, w.frostC, w.flowLPH = to.supply, to.frostC, to.flowLPH
	w.doubts.follow(to.doubts)
	to.pairs.Follow(w.pairs.Swaps)
	to.pairs.told = w.pairs.told
	w.causes, w.failsFor, w.pairs = to.causes, to.failsFor, to.pairs
	w.supplies.follow(to.supplies)
}

// LetGo tells that a reload is waited for no more.
func (d *Desk) LetGo(ctx context.Context) error {
	return d.inbox.Do(ctx, d.loop.LetGo)
}
