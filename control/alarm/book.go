package alarm

import (
	"cmp"
	"fmt"
	"slices"
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

type cause struct {
	kind    Kind
	subject string
}

type entry struct {
	cause
	text    string
	holds   bool
	told    bool          // this tick
	changed time.Duration // when holds last changed, on Mono
	active  bool
	acked   bool
	pending bool // raised, or cleared and not acknowledged
	since   garden.Moment
	shelved time.Duration
}

// Book keeps all alarms of a garden.
type Book struct {
	entries []*entry
	at      map[cause]*entry
	changes []Change
}

// NewBook returns an empty book.
func NewBook() *Book { return &Book{at: map[cause]*entry{}} }

// Hold tells that a condition holds at this moment. Every condition that holds
// is told once a tick; one that is not told has ended. A text that changes while
// the condition holds is kept as the newest. More than the book's bound of
// causes are not taken in.
func (b *Book) Hold(now garden.Moment, k Kind, subject, text string) {
	if k >= kinds {
		return
	}
	c := cause{k, subject}
	e := b.at[c]
	if e == nil {
		if len(b.entries) >= mostCauses {
			return
		}
		e = &entry{cause: c, changed: now.Mono}
		b.at[c] = e
		b.entries = append(b.entries, e)
	}
	if text == "" {
		text = k.Text()
	}
	e.text, e.told = text, true
	if !e.holds {
		e.holds, e.changed = true, now.Mono
	}
}

// mostCauses bounds the book; a garden has hundreds of things at most.
const mostCauses = 4096

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
		if e.shelved > 0 && now.Mono >= e.shelved {
			e.shelved = 0
			b.note(now, e, Returned, "")
			// A condition that outlived its shelf is news again.
			if e.active {
				e.acked = false
			}
		}
		age := now.Mono - e.changed
		switch {
		case e.holds && !e.active && age >= characters[e.kind].on:
			e.active, e.acked, e.pending, e.since = true, false, true, now
			if e.shelved == 0 {
				b.note(now, e, Raised, "")
			}
		case !e.holds && e.active && age >= characters[e.kind].off:
			e.active = false
			if e.acked {
				e.pending = false
			}
			if e.shelved == 0 {
				b.note(now, e, Cleared, "")
			}
		}
	}
	b.forget()
	slices.SortStableFunc(b.changes, func(x, y Change) int { return cmp.Compare(x.Kind, y.Kind) })
	return b.changes
}

// forget drops causes nothing is known of any more.
func (b *Book) forget() {
	b.entries = slices.DeleteFunc(b.entries, func(e *entry) bool {
		gone := !e.holds && !e.active && !e.pending && e.shelved == 0
		if gone {
			delete(b.at, e.cause)
		}
		return gone
	})
}

func (b *Book) note(now garden.Moment, e *entry, what Event, who string) {
	b.changes = append(b.changes, Change{At: now, Kind: e.kind, Subject: e.subject, Event: what, Text: e.text, Who: who})
}

// Acknowledge tells that a person saw an alarm. It reports false where there is
// none, or it was acknowledged before.
func (b *Book) Acknowledge(now garden.Moment, k Kind, subject, who string) (Change, bool) {
	e := b.at[cause{k, subject}]
	if e == nil || !e.pending || e.acked {
		return Change{}, false
	}
	e.acked = true
	e.pending = e.active
	return Change{At: now, Kind: k, Subject: subject, Event: Acknowledged, Text: e.text, Who: who}, true
}

// Shelve takes a cause out of service until a monotonic time: it is watched but
// not told of. A cause that does not hold now may be shelved too.
func (b *Book) Shelve(now garden.Moment, k Kind, subject string, until time.Duration, who string) (Change, bool) {
	if k >= kinds || until <= now.Mono || len(b.entries) >= mostCauses {
		return Change{}, false
	}
	c := cause{k, subject}
	e := b.at[c]
	if e == nil {
		e = &entry{cause: c, text: k.Text(), changed: now.Mono}
		b.at[c] = e
		b.entries = append(b.entries, e)
	}
	e.shelved = until
	return Change{At: now, Kind: k, Subject: subject, Event: Shelved, Text: e.text, Who: who}, true
}

// List returns every alarm a person should see, worst first and oldest first
// among equals.
func (b *Book) List() []Alarm {
	var out []Alarm
	for _, e := range b.entries {
		if e.pending || e.shelved > 0 {
			out = append(out, Alarm{Kind: e.kind, Subject: e.subject, Text: e.text, Since: e.since,
				Active: e.active, Acknowledged: e.acked, ShelvedUntil: e.shelved})
		}
	}
	slices.SortStableFunc(out, func(x, y Alarm) int {
		return cmp.Or(cmp.Compare(x.Kind, y.Kind), cmp.Compare(x.Since.Mono, y.Since.Mono), cmp.Compare(x.Subject, y.Subject))
	})
	return out
}
