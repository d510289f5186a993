package notify

import (
	"fmt"
	"strings"
	"time"

	"fabricpot/cmd/gateway/internal/runner"
)

// Kinds of message.
const (
	// KindAlarm tells of alarms that are new, still there, or over.
	KindAlarm = "alarm"
	// KindSelfTest says once a month, or when asked, that messages arrive.
	KindSelfTest = "self-test"
)

// States of an alarm in a message.
const (
	StateNew   = "new"
	StateStill = "still there"
	StateOver  = "over"
	// StatePassed came and went while nobody could be told.
	StatePassed = "came and went"
)

// Message is what is sent. Its fields are what a body template can use.
type Message struct {
	// Kind is "alarm" or "self-test".
	Kind string `json:"kind"`
	// Garden is the site's id, Name the one for people.
	Garden string `json:"garden"`
	Name   string `json:"name"`
	// At is when it was written, by the garden's clock; ClockConfirmed tells
	// whether that can be trusted.
	At             time.Time `json:"at"`
	ClockConfirmed bool      `json:"clock_confirmed"`
	// Serious is set where one of the alarms that stand is.
	Serious bool `json:"serious"`
	// Title is one line, Text all of it in plain words.
	Title string `json:"title"`
	Text  string `json:"text"`
	// Alarms are those it is about, worst first; of a self-test all that stand.
	Alarms []Item `json:"alarms"`
	// Standing is how many alarms stand that nobody acknowledged.
	Standing int `json:"standing"`
}

// Item is one alarm in a message.
type Item struct {
	// Name is the alarm's, About the line, pot or probe it is about, if any.
	Name  string `json:"name"`
	About string `json:"about"`
	// State is "new", "still there", "over" or "came and went".
	State string `json:"state"`
	// What is wrong, Next what to do about it.
	What    string    `json:"what"`
	Next    string    `json:"next_step"`
	Since   time.Time `json:"since"`
	Serious bool      `json:"serious"`
	// Told is how many messages told it before this one.
	Told int `json:"told_before"`
}

// Active reports whether its condition still holds.
func (i Item) Active() bool { return i.State == StateNew || i.State == StateStill }

// active reports whether any alarm in it still holds.
func (m *Message) active() bool {
	for _, i := range m.Alarms {
		if i.Active() {
			return true
		}
	}
	return false
}

// words fills in title and text.
func (m *Message) words() {
	if m.Kind == KindSelfTest {
		m.Title = m.Name + ": messages arrive"
	} else {
		first := m.Alarms[0]
		m.Title = m.Name + ": " + first.title()
		if n := len(m.Alarms) - 1; n > 0 {
			m.Title += fmt.Sprintf(", and %d more", n)
		}
	}
	var b strings.Builder
	if m.Kind == KindSelfTest {
		fmt.Fprintf(&b, "This is a test: what goes wrong at %s reaches you this way.\n", m.Name)
		if len(m.Alarms) == 0 {
			b.WriteString("No alarm stands.\n")
		}
	}
	for _, i := range m.Alarms {
		if b.Len() > 0 {
			b.WriteString("\n")
		}
		i.write(&b)
	}
	if m.Kind == KindAlarm && m.active() {
		b.WriteString("\nIt is told again until somebody marks it as seen: on the page, through a hub, or with 'gateway alarms seen'.\n")
	}
	if !m.ClockConfirmed {
		b.WriteString("\nNobody confirmed the gateway's clock; times may be wrong.\n")
	}
	m.Text = b.String()
}

func (i Item) title() string {
	s := i.Name
	if i.About != "" {
		s += " (" + i.About + ")"
	}
	if i.State != StateNew {
		s += ", " + i.State
	}
	return s
}

func (i Item) write(b *strings.Builder) {
	title := i.title()
	fmt.Fprintf(b, "%s%s\n  %s\n", strings.ToUpper(title[:1]), title[1:], i.What)
	if i.Active() {
		fmt.Fprintf(b, "  Next: %s.\n", i.Next)
	}
	fmt.Fprintf(b, "  Since %s.\n", i.Since.Format("Monday 2 January 15:04"))
}

// item is an alarm as a message tells it.
func item(a runner.AlarmLine, state string, told int) Item {
	return Item{Name: a.Name, About: a.About, State: state, What: a.Text, Next: a.Next, Since: a.Since, Serious: a.Serious, Told: told}
}
