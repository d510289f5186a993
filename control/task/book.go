package task

import (
	"errors"
	"fmt"
	"slices"
	"sort"
	"strings"
	"time"

	"fabricpot/control/garden"
)

// Errors that a caller tells apart.
var (
	// ErrAsk: it was already done; ask whether this is a second time.
	ErrAsk = errors.New("task: was already done")
	// ErrUnknown: there is no such task.
	ErrUnknown = errors.New("task: there is no such task")
)

// EventKind is what happened to a task.
type EventKind string

const (
	// Opened: it was put on the list.
	Opened EventKind = "opened"
	// Changed: its figures were brought up to date while it waited.
	Changed EventKind = "changed"
	// Done: somebody did it.
	Done EventKind = "done"
	// Dropped: somebody said that it won't be done.
	Dropped EventKind = "dropped"
	// Overtaken: it is not needed any more, such as water after rain.
	Overtaken EventKind = "overtaken"
)

// Event is one line of the book, for the journal.
type Event struct {
	Kind EventKind `json:"event"`
	// Task is whole on Opened and Changed; else its ID, Kind and Zone.
	Task Task      `json:"task"`
	At   time.Time `json:"at"`
	// Litres is what was given, where it was said.
	Litres garden.Measured `json:"-"`
	Note   string          `json:"note,omitempty"`
	// Again marks a second doing that was confirmed.
	Again bool `json:"again,omitempty"`
}

// Report is what somebody says about a task.
type Report struct {
	At     time.Time
	Litres garden.Measured
	Note   string
	// Again confirms that it was done a second time.
	Again bool
}

// Book holds the open tasks and what became of the others. No task leaves it
// but by an event that says why.
type Book struct {
	open   []Task
	closed map[string]Event
	events []Event
}

// keepEvents bounds how many events a book remembers for "what was done since".
const keepEvents = 2000

// NewBook rebuilds a book from its events, oldest first.
func NewBook(events []Event) *Book {
	b := &Book{closed: map[string]Event{}}
	for _, e := range events {
		b.apply(e)
	}
	return b
}

func (b *Book) apply(e Event) {
	i := b.find(e.Task.ID)
	switch e.Kind {
	case Opened:
		if i < 0 {
			b.open = append(b.open, e.Task)
		}
	case Changed:
		if i >= 0 {
			b.open[i] = e.Task
		}
	case Done, Dropped, Overtaken:
		if i >= 0 {
			b.open = slices.Delete(b.open, i, i+1)
		}
		b.closed[e.Task.ID] = e
	}
	b.events = append(b.events, e)
	if len(b.events) > keepEvents {
		b.events = slices.Delete(b.events, 0, len(b.events)-keepEvents)
	}
}

func (b *Book) find(id string) int {
	return slices.IndexFunc(b.open, func(t Task) bool { return t.ID == id })
}

// Closed reports whether a task of that name was done, dropped or overtaken;
// Open would then do nothing.
func (b *Book) Closed(id string) bool {
	_, gone := b.closed[id]
	return gone
}

// Open puts a task on the list. One that is open already keeps its place and
// its age and only gets the new figures; one that was done or dropped is not
// opened again. ok is false where nothing changed.
func (b *Book) Open(t Task) (e Event, ok bool) {
	if _, gone := b.closed[t.ID]; gone {
		return Event{}, false
	}
	if i := b.find(t.ID); i >= 0 {
		old := b.open[i]
		if old.Litres == t.Litres && old.Why == t.Why && slices.Equal(old.Steps, t.Steps) {
			return Event{}, false
		}
		at := t.Opened
		// Its age stays, or putting a task off would be as easy as asking for
		// it again.
		t.Opened, t.Due, t.Until = old.Opened, old.Due, earlier(old.Until, t.Until)
		e = Event{Kind: Changed, Task: t, At: at}
	} else {
		e = Event{Kind: Opened, Task: t, At: t.Opened}
	}
	b.apply(e)
	return e, true
}

func earlier(a, b time.Time) time.Time {
	if b.Before(a) {
		return b
	}
	return a
}

// Done enters that a task was done. A second report of the same task answers
// ErrAsk unless it says Again; then the event is marked so. Litres, where given,
// must be an amount.
func (b *Book) Done(id string, r Report) (Event, error) {
	if r.Litres.Known && (r.Litres.Value < 0 || r.Litres.Value > 1000) {
		return Event{}, fmt.Errorf("task: %q: %v L, expected 0 to 1000", id, r.Litres.Value)
	}
	if prev, gone := b.closed[id]; gone {
		if prev.Kind == Done && !r.Again {
			return Event{}, fmt.Errorf("%w: %q on %s: say so if it was done a second time", ErrAsk, id, prev.At.Format("2 January 15:04"))
		}
		e := Event{Kind: Done, Task: stub(prev.Task), At: r.At, Litres: r.Litres, Note: r.Note, Again: prev.Kind == Done}
		b.apply(e)
		return e, nil
	}
	return b.close(Done, id, r)
}

// Ended is what is left of a task that is no longer open: no litres, no steps.
func (b *Book) Ended(id string) (Task, bool) {
	e, ok := b.closed[id]
	return stub(e.Task), ok
}

// Drop enters that a task won't be done, with the reason.
func (b *Book) Drop(id, reason string, at time.Time) (Event, error) {
	if strings.TrimSpace(reason) == "" {
		return Event{}, fmt.Errorf("task: %q: no reason, expected a few words why it won't be done", id)
	}
	return b.close(Dropped, id, Report{At: at, Note: reason})
}

// Overtake enters that a task is not needed any more, with the reason.
func (b *Book) Overtake(id, reason string, at time.Time) (Event, error) {
	if strings.TrimSpace(reason) == "" {
		return Event{}, fmt.Errorf("task: %q: no reason, expected a few words why it is not needed", id)
	}
	return b.close(Overtaken, id, Report{At: at, Note: reason})
}

func (b *Book) close(kind EventKind, id string, r Report) (Event, error) {
	i := b.find(id)
	if i < 0 {
		names := make([]string, 0, len(b.open))
		for _, t := range b.open {
			names = append(names, t.ID)
		}
		if len(names) == 0 {
			return Event{}, fmt.Errorf("%w: %q; nothing is open", ErrUnknown, id)
		}
		return Event{}, fmt.Errorf("%w: %q; open are %s", ErrUnknown, id, strings.Join(names, ", "))
	}
	e := Event{Kind: kind, Task: stub(b.open[i]), At: r.At, Litres: r.Litres, Note: r.Note}
	b.apply(e)
	return e, nil
}

func stub(t Task) Task { return Task{ID: t.ID, Kind: t.Kind, Zone: t.Zone, Title: t.Title} }

// Listed is a task as the list shows it.
type Listed struct {
	Task
	Urgency string `json:"urgency"`
	// LateDays is how long past its due time, 0 before.
	LateDays float64 `json:"late_days"`
	// Since is, for Look, what was done in the zone since it was opened.
	Since []string `json:"since,omitempty"`
}

// List returns every open task, the most pressing first. Tasks that are not due
// yet come last.
func (b *Book) List(now time.Time) []Listed {
	out := make([]Listed, 0, len(b.open))
	for _, t := range b.open {
		l := Listed{Task: t, Urgency: t.Urgency(now).String(), LateDays: max(0, now.Sub(t.Due).Hours()/24)}
		if t.Kind == Look {
			l.Since = b.Since(t.Zone, t.Opened)
		}
		out = append(out, l)
	}
	sort.SliceStable(out, func(i, j int) bool {
		if x, y := out[i].Score(now), out[j].Score(now); x != y {
			return x > y
		}
		return out[i].ID < out[j].ID
	})
	return out
}

// Since tells in words what was done in a zone from a time on.
func (b *Book) Since(z garden.ZoneID, from time.Time) []string {
	var out []string
	for _, e := range b.events {
		if e.Task.Zone != z || e.At.Before(from) || e.Kind == Opened || e.Kind == Changed {
			continue
		}
		s := fmt.Sprintf("%s: %s, %s", e.At.Format("2 January"), e.Task.Title, e.Kind)
		if e.Litres.Known {
			s += fmt.Sprintf(" with %s", litres(e.Litres.Value))
		}
		if e.Note != "" {
			s += " (" + e.Note + ")"
		}
		out = append(out, s)
	}
	return out
}
