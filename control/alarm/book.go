package alarm

import (
	"cmp"
	"fmt"
	"slices"
	"sort"
	"time"

	"fabricpot/control/garden"
)

// Event is one step in an alarm's life.
type Event uint8

const (
	// Raised: the condition held for its delay.
	Raised Event = iota
	// Acknowledged: a person saw it.
	Acknowledged
	// Cleared: the condition was gone for its delay.
	Cleared
	// Shelved: a person took it out of service until a time.
	Shelved
	// Returned: it is in service again.
	Returned
)

var events = [...]string{"raised", "acknowledged", "cleared", "out of service", "back in service"}

func (e Event) String() string {
	if int(e) < len(events) {
		return events[e]
	}
	return "unknown"
}

// Change is one step of one alarm.
type Change struct {
	At      garden.Moment
	Kind    Kind
	Subject string
	Event   Event
	// Text says what is wrong, with the figures of the moment where there are any.
	Text string
	// Who did it, where a person did.
	Who string
	// Until is when an alarm out of service comes back, for Shelved.
	Until garden.Moment
}

func (c Change) String() string {
	s := fmt.Sprintf("%s: %s", c.Event, c.Kind)
	if c.Subject != "" {
		s += " (" + c.Subject + ")"
	}
	if c.Event == Raised {
		s += ": " + c.Text + "; next: " + c.Kind.Next()
	}
	return s
}

// Alarm is one cause that is raised, or cleared but not acknowledged yet.
type Alarm struct {
	Kind    Kind
	Subject string
	Text    string
	// Since is when it was raised; Active tells that the condition still holds.
	Since        garden.Moment
	Active       bool
	Acknowledged bool
	// ShelvedUntil is when it comes back into service, on the monotonic clock;
	// zero where it is in service.
	ShelvedUntil time.Duration
}

// State is the alarm's state in words.
func (a Alarm) State() string {
	switch {
	case a.ShelvedUntil > 0:
		return "out of service"
	case a.Active && a.Acknowledged:
		return "acknowledged"
	case a.Active:
		return "raised"
	}
	return "cleared, not acknowledged"
}

// Cause is what an alarm is about: there is at most one alarm for each.
type Cause struct {
	Kind    Kind
	Subject string
}

func (c Cause) String() string {
	if c.Subject == "" {
		return c.Kind.String()
	}
	return c.Kind.String() + " (" + c.Subject + ")"
}

type entry struct {
	Cause
	text    string
	first   []Cause // what it follows from, where that holds too
	holds   bool
	told    bool          // this tick
	changed time.Duration // when holds last changed, or could first count, on Mono
	active  bool
	said    bool // people were told that it was raised, and not that it cleared
	acked   bool
	pending bool // raised, or cleared and not acknowledged
	since   garden.Moment
	shelved time.Duration
	// shelvedBy and shelvedFor are who took it out of service and for how long.
	shelvedBy  string
	shelvedFor time.Duration
}

// Book keeps all alarms of a garden.
type Book struct {
	entries []*entry
	at      map[Cause]*entry
	changes []Change
	lost    uint64
}

// NewBook returns an empty book.
func NewBook() *Book { return &Book{at: map[Cause]*entry{}} }

// mostCauses bounds the book; a garden has hundreds of things at most.
const mostCauses = 4096

// Lost counts what was held and not taken in because the book was full.
func (b *Book) Lost() uint64 { return b.lost }

// Hold tells that a condition holds at this moment. Every condition that holds
// is told once a tick; one that is not told has ended. A text that changes while
// the condition holds is kept as the newest. More than the book's bound of
// causes are not taken in.
//
// What it follows from comes in first, the likeliest in front; a Kind that stands
// after k counts only where it follows from nothing in turn and is in service. While
// one of those holds, or its alarm has not cleared yet, it is their alarm, not one of
// its own: it is not raised, and cleared where it was.
func (b *Book) Hold(now garden.Moment, k Kind, subject, text string, first ...Cause) {
	if k >= kinds {
		return
	}
	e := b.entry(now, Cause{k, subject})
	if e == nil {
		b.lost++
		return
	}
	if text == "" {
		text = k.Text()
	}
	e.text, e.told, e.first = text, true, first
	if !e.holds {
		e.holds, e.changed = true, now.Mono
	}
}

// Follows tells what an alarm follows from, whether its condition holds still or has
// ended and the alarm stands for its delay.
func (b *Book) Follows(k Kind, subject string, first ...Cause) {
	if e := b.at[Cause{k, subject}]; e != nil {
		e.first = first
	}
}

// Measure is Hold for a figure with a limit. over is how far the figure is on the
// wrong side of it, in the unit of the kind's dead-band: from 0 on the condition
// holds, and it goes on until the figure is back behind the limit by more than
// the band. NaN is no figure and ends nothing that a band would keep.
func (b *Book) Measure(now garden.Moment, k Kind, subject string, over float64, text string, first ...Cause) {
	if k >= kinds {
		return
	}
	e := b.at[Cause{k, subject}]
	if over >= 0 || e != nil && e.holds && !(over < -characters[k].band) {
		b.Hold(now, k, subject, text, first...)
	}
}

// entry finds a cause or takes it in; nil where the book is full.
func (b *Book) entry(now garden.Moment, c Cause) *entry {
	e := b.at[c]
	if e == nil && len(b.entries) < mostCauses {
		e = &entry{Cause: c, changed: now.Mono}
		b.at[c] = e
		b.entries = append(b.entries, e)
	}
	return e
}

// Step ends a tick: conditions that were not told have ended, delays run out,
// alarms rise and clear. The changes are in order of urgency, first cause first,
// and the slice is reused by the next call.
func (b *Book) Step(now garden.Moment) []Change {
	b.changes = b.changes[:0]
	for _, e := range b.entries {
		if !e.told && e.holds {
			e.holds, e.changed = false, now.Mono
		}
		e.told = false
	}
	// First causes first: what follows from them is judged by what they came to.
	slices.SortStableFunc(b.entries, func(x, y *entry) int { return cmp.Compare(x.Kind, y.Kind) })
	for _, e := range b.entries {
		b.turn(now, e)
	}
	b.forget()
	return b.changes
}

// turn lets one cause's delays run out.
func (b *Book) turn(now garden.Moment, e *entry) {
	if e.shelved > 0 && now.Mono >= e.shelved {
		b.unshelve(now, e, "")
	}
	if first := b.behind(e); first != nil && (e.holds || e.active) {
		// Its own delay begins when the first cause has gone.
		e.changed = now.Mono
		if e.active && first.active {
			e.text = "part of: " + first.Cause.String()
			b.clear(now, e)
			e.pending = false
		}
		return
	}
	age := now.Mono - e.changed
	switch {
	case e.holds && !e.active && age >= characters[e.Kind].on:
		e.active, e.acked, e.pending, e.since = true, false, true, now
		if e.shelved == 0 {
			e.said = true
			b.note(now, e, Raised, "")
		}
	case !e.holds && e.active && age >= characters[e.Kind].off:
		b.clear(now, e)
	}
}

// behind is the first cause that an alarm follows from and that holds now, or whose
// alarm still stands: one that has hardly ended is no news of another.
func (b *Book) behind(e *entry) *entry {
	for _, c := range e.first {
		f := b.at[c]
		if f == nil || !f.stands() {
			continue
		}
		if c.Kind < e.Kind {
			if further := b.behind(f); further != nil {
				return further
			}
			return f
		}
		// A less urgent cause counts where nothing is behind it in turn, so that there
		// are no circles in which nothing is told, and where it is in service.
		if c.Kind > e.Kind && f.shelved == 0 && !slices.ContainsFunc(f.first, func(c Cause) bool { x := b.at[c]; return x != nil && x.stands() }) {
			return f
		}
	}
	return nil
}

func (e *entry) stands() bool { return e.holds || e.active }

// clear ends an alarm. Who was told of it is told, even where it is out of
// service by now; one that nobody was told of leaves nothing to look at.
func (b *Book) clear(now garden.Moment, e *entry) {
	e.active = false
	if e.said {
		b.note(now, e, Cleared, "")
	}
	e.pending = e.said && !e.acked
	e.said = false
}

// forget drops causes nothing is known of any more.
func (b *Book) forget() {
	b.entries = slices.DeleteFunc(b.entries, func(e *entry) bool {
		gone := !e.holds && !e.active && !e.pending && e.shelved == 0
		if gone {
			delete(b.at, e.Cause)
		}
		return gone
	})
}

func (b *Book) note(now garden.Moment, e *entry, what Event, who string) {
	b.changes = append(b.changes, e.change(now, what, who))
}

func (e *entry) change(now garden.Moment, what Event, who string) Change {
	c := Change{At: now, Kind: e.Kind, Subject: e.Subject, Event: what, Text: e.text, Who: who}
	if what == Shelved {
		c.Until = now.Add(e.shelvedFor)
	}
	return c
}

// List returns every alarm a person should see, worst first and oldest first
// among equals.
func (b *Book) List() []Alarm {
	var out []Alarm
	for _, e := range b.entries {
		if e.pending || e.shelved > 0 {
			out = append(out, Alarm{Kind: e.Kind, Subject: e.Subject, Text: e.text, Since: e.since,
				Active: e.active, Acknowledged: e.acked, ShelvedUntil: e.shelved})
		}
	}
	sort.SliceStable(out, func(i, k int) bool {
		x, y := &out[i], &out[k]
		return cmp.Or(cmp.Compare(x.Kind, y.Kind), cmp.Compare(x.Since.Mono, y.Since.Mono), cmp.Compare(x.Subject, y.Subject)) < 0
	})
	return out
}
