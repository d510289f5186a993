package runner

import (
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/cmd/gateway/internal/units"
	"fabricpot/control"
	"fabricpot/control/feed"
	"fabricpot/control/feeding"
	"fabricpot/control/garden"
	"fabricpot/control/task"
)

// FeedJournal keeps what must outlive a restart so that no feed is given twice
// and no task is forgotten. *journal.Journal is one.
type FeedJournal interface {
	AddFeedSteps([]feed.Record) error
	KeepLedgers([]feeding.Snapshot) error
	AddTaskEvents([]task.Event) error
	AddFeed(journal.Feed) error
	AddNote(journal.Note) error
	Notes(since time.Time) ([]journal.Note, error)
	Fed(now time.Time) (feeding.Past, error)
	Week(zone garden.ZoneID, probes []garden.ProbeID, capacity float64, now time.Time) (feeding.Week, error)
}

// FeedBook is a garden's feeding with its journal. Its methods may be called
// from any goroutine; Step belongs to the loop.
type FeedBook struct {
	mu    sync.Mutex
	g     *garden.Garden
	plan  *feeding.Plan
	state *feeding.State
	j     FeedJournal
	out   feeding.Output
	// late are steps that could not be written, oldest first: what comes after
	// them means nothing to the next start without them.
	late []feed.Record
	// lateEvents are lines of the gardener's book that could not be written: without
	// a task's end the next start would open it again.
	lateEvents []task.Event
}

// addSteps writes the steps and before them those that are late, and returns all
// that it was to write.
func (b *FeedBook) addSteps(r []feed.Record) ([]feed.Record, error) {
	if len(b.late) > 0 {
		r = slices.Concat(b.late, r)
	}
	if err := b.j.AddFeedSteps(r); err != nil {
		return r, err
	}
	b.late = nil
	return r, nil
}

// addEvents writes lines of the gardener's book and before them those that are
// late. Where it fails all of them are late.
func (b *FeedBook) addEvents(e []task.Event) error {
	if len(b.lateEvents) > 0 {
		e = slices.Concat(b.lateEvents, e)
	}
	if err := b.j.AddTaskEvents(e); err != nil {
		b.lateEvents = slices.Clone(e)
		return err
	}
	b.lateEvents = nil
	return nil
}

// OpenFeedBook reads what earlier runs left. j may be nil: nothing is kept then.
func OpenFeedBook(g *garden.Garden, plan *feeding.Plan, j FeedJournal, now garden.Moment) (*FeedBook, error) {
	var past feeding.Past
	if j != nil {
		var err error
		if past, err = j.Fed(now.Wall); err != nil {
			return nil, fmt.Errorf("feeding: the journal's feeds: %w", err)
		}
	}
	st, err := plan.Restore(past)
	if err != nil {
		return nil, err
	}
	plan.Judge(st, now)
	return &FeedBook{g: g, plan: plan, state: st, j: j}, nil
}

// remember adds to a memory what people are still to bring.
func (b *FeedBook) remember(zones []control.ZoneView, m *control.Memory) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.plan.Remember(b.state, zones, m)
}

// Rounds is the gardener's list and how each zone is fed.
type Rounds struct {
	At     time.Time          `json:"at"`
	Tasks  []task.Listed      `json:"tasks"`
	Zones  []feeding.ZoneView `json:"zones"`
	Stocks []feeding.Stock    `json:"stocks"`
	// TapSalts are the salts that the supply's water brought, with what food adds, of each zone of
	// which such an account is kept. Only a running gateway knows them.
	TapSalts []TapSalts `json:"salts,omitempty"`
	// Reads is how the gateway's gardener reads words such as those of Tasks, which are in
	// litres and °C as all figures here.
	Reads units.Reads `json:"reads,omitzero"`
}

// TapSalts are one zone's.
type TapSalts struct {
	Zone garden.ZoneID `json:"zone"`
	control.SaltView
}

// List is the gardener's list at a time.
func (b *FeedBook) List(at time.Time) Rounds {
	b.mu.Lock()
	defer b.mu.Unlock()
	r := Rounds{At: at, Tasks: b.state.Tasks(at), Stocks: b.plan.Stocks()}
	i := 0
	b.g.EachZone(func(*garden.Pot, *garden.Zone) {
		r.Zones = append(r.Zones, b.plan.View(b.state, i))
		i++
	})
	return r
}

// Zone says how one zone is fed; ok is false for an unknown one.
func (b *FeedBook) Zone(id garden.ZoneID) (feeding.ZoneView, bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	i := b.plan.Index(id)
	if i < 0 {
		return feeding.ZoneView{}, false
	}
	return b.plan.View(b.state, i), true
}

// Done enters that a task was done and returns what reached zones as water,
// which the water account has to hear of.
func (b *FeedBook) Done(now garden.Moment, id string, r task.Report) ([]feeding.Poured, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	r.At = now.Wall
	in, err := b.plan.Done(b.state, now, id, r)
	if err != nil {
		return nil, err
	}
	return in.Poured, b.keep(now, in)
}

// Drop enters that a task won't be done.
func (b *FeedBook) Drop(now garden.Moment, id, reason string) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	in, err := b.plan.Drop(b.state, now, id, reason)
	if err != nil {
		return err
	}
	return b.keep(now, in)
}

func (b *FeedBook) keep(now garden.Moment, in feeding.Entered) error {
	if b.j == nil {
		return nil
	}
	steps, err := b.addSteps(in.Records)
	if err != nil {
		// What a person did is done: it is listed once it is written.
		b.late, steps = append(b.late, in.Records...), nil
	}
	return errors.Join(err, b.addEvents(in.Events), b.given(now, steps))
}

// given lists nutrients given where people look for them.
func (b *FeedBook) given(now garden.Moment, records []feed.Record) error {
	var errs []error
	for _, r := range records {
		if !r.Gives() || r.Litres <= 0 {
			continue
		}
		g := r.Grams()
		errs = append(errs, b.j.AddFeed(journal.Feed{
			At: garden.Moment{Mono: now.Mono, Wall: r.At, Synced: now.Synced}, Zone: r.Zone,
			Recipe: fmt.Sprintf("%.0f ppm N", r.PPM.N), Litres: r.Litres,
			NG: garden.Known(g.N), PG: garden.Known(g.P), KG: garden.Known(g.K), ByHand: r.Kind == feed.HandGiven,
		}))
	}
	return errors.Join(errs...)
}

// Drained tells what drained from a pot, mS/cm, where somebody else has kept the
// reading already.
func (b *FeedBook) Drained(d feeding.Drainage) {
	b.mu.Lock()
	defer b.mu.Unlock()
	_ = b.plan.Drained(b.state, d)
}

// Observation is what a gardener reports.
type Observation struct {
	Zone  garden.ZoneID `json:"pot"`
	Sign  string        `json:"sign,omitempty"`
	Text  string        `json:"text,omitempty"`
	Photo string        `json:"photo,omitempty"`
	// Answers are those of the weekly round: question (task.Questions) to answer.
	// A form sends what was filled in; the signs they make are answered like Sign.
	Answers map[string]string `json:"answers,omitempty"`
	// DrainMS is the conductivity of what drained, mS/cm, where it was measured.
	DrainMS *float64 `json:"drain_ms,omitempty"`
}
