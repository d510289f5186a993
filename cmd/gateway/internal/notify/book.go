package notify

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/garden"
)

// selfTestFrom is the hour of the day from which a self-test is sent.
const selfTestFrom = 10

// Book is what was told of which alarm. It is a plain state machine: it reads no
// clock and sends nothing. It belongs to one goroutine.
type Book struct {
	set    garden.Calling
	id     string
	name   string
	said   map[key]*said
	sent   []time.Duration // of the last hour, on Mono
	tested string          // the month of the last self-test, 2026-11
}

type key struct{ name, about string }

// said is what was told of one alarm.
type said struct {
	line runner.AlarmLine
	told int
	next time.Duration // when it is told again, on Mono
	here bool          // it was in the list this time
	// ended: its end was told, and it only waits in the list to be seen.
	ended bool
}

// NewBook returns a book that has told nothing yet.
func NewBook(site garden.Site, set garden.Calling) *Book {
	return &Book{set: set, id: site.ID, name: site.Name, said: map[key]*said{}}
}

// Decide returns what is to be told at now of the alarms that stand, worst first,
// and whether that is anything. All that is due goes into one message.
func (b *Book) Decide(now garden.Moment, alarms []runner.AlarmLine) (Message, bool) {
	b.look(alarms)
	quiet := b.quiet(now)
	var due []*said
	serious := false
	each := func(f func(*said)) {
		for _, a := range alarms {
			if s := b.said[key{a.Name, a.About}]; s != nil {
				f(s)
			}
		}
		for _, s := range b.gone() {
			f(s)
		}
	}
	each(func(s *said) {
		if s.due(now.Mono) && (!quiet || s.line.Serious && s.stands()) {
			due = append(due, s)
			serious = serious || s.line.Serious && s.stands()
		}
	})
	b.forget()
	if len(due) == 0 {
		return b.selfTest(now, quiet, alarms)
	}
	if !b.room(now.Mono, serious) {
		return Message{}, false
	}
	b.sent = append(b.sent, now.Mono)
	m := b.message(KindAlarm, now, alarms)
	for _, s := range due {
		m.Alarms = append(m.Alarms, item(s.line, s.state(), s.told))
		b.tell(now.Mono, s)
	}
	b.forget()
	m.words()
	return m, true
}

// look takes in the alarms that stand. One that is out of service is as good as
// not there, and news when it comes back.
func (b *Book) look(alarms []runner.AlarmLine) {
	for _, s := range b.said {
		s.here = false
	}
	for _, a := range alarms {
		k := key{a.Name, a.About}
		s := b.said[k]
		switch {
		case a.OutUntil != nil:
			delete(b.said, k)
			continue
		case s == nil && !a.Active && a.Acknowledged:
			continue
		case s == nil, a.Active && (s.ended || !a.Since.Equal(s.line.Since)):
			// One that came back is news of its own.
			s = &said{}
			b.said[k] = s
		}
		s.line, s.here = a, true
	}
	for _, s := range b.said {
		if !s.here {
			s.line.Active = false
		}
	}
}

// gone are alarms that were told and are in the list no more, in a fixed order.
func (b *Book) gone() []*said {
	var out []*said
	for _, s := range b.said {
		if !s.here {
			out = append(out, s)
		}
	}
	slices.SortFunc(out, func(x, y *said) int { return byName(x.line, y.line) })
	return out
}

func byName(x, y runner.AlarmLine) int {
	return cmp.Or(cmp.Compare(x.Name, y.Name), cmp.Compare(x.About, y.About))
}

// stands reports whether it waits for somebody.
func (s *said) stands() bool { return s.line.Active && !s.line.Acknowledged }

// due reports whether something is to be told of it.
func (s *said) due(now time.Duration) bool {
	switch {
	case s.stands():
		return s.told == 0 || now >= s.next
	case s.line.Active:
		return false // somebody is at it
	case s.ended:
		return false
	case s.told > 0:
		return true // it is over
	}
	return s.here && !s.line.Acknowledged // it came and went untold
}

func (s *said) state() string {
	switch {
	case s.line.Active && s.told == 0:
		return StateNew
	case s.line.Active:
		return StateStill
	case s.told > 0:
		return StateOver
	}
	return StatePassed
}

// tell marks it as told.
func (b *Book) tell(now time.Duration, s *said) {
	if !s.line.Active {
		s.ended = true
		return
	}
	wait := b.set.RepeatAfter
	for n := 0; n < s.told && wait < b.set.RepeatMost; n++ {
		wait *= 2
	}
	s.told++
	s.next = now + min(wait, b.set.RepeatMost)
}

// forget drops what there is nothing to tell of any more.
func (b *Book) forget() {
	for k, s := range b.said {
		if !s.here && (s.told == 0 || s.ended) {
			delete(b.said, k)
		}
	}
}

// room reports whether one more message fits into the hour. A third of the hour
// is kept for serious ones.
func (b *Book) room(now time.Duration, serious bool) bool {
	for len(b.sent) > 0 && now-b.sent[0] >= time.Hour {
		b.sent = b.sent[1:]
	}
	most := b.set.PerHour
	if !serious {
		most -= most / 3
	}
	return len(b.sent) < most
}

// quiet reports whether only serious alarms are told now. Where nobody confirmed
// the clock nobody knows the hour, and nothing is held back.
func (b *Book) quiet(now garden.Moment) bool {
	if !now.Synced {
		return false
	}
	for i := range b.set.Quiet {
		if b.set.Quiet[i].Contains(now.Wall) {
			return true
		}
	}
	return false
}

// selfTest is the month's, once its day has come.
func (b *Book) selfTest(now garden.Moment, quiet bool, alarms []runner.AlarmLine) (Message, bool) {
	if b.set.SelfTestDay == 0 || !now.Synced {
		return Message{}, false
	}
	month := now.Wall.Format("2006-01")
	due := now.Wall.Day() >= b.set.SelfTestDay
	switch {
	case b.tested == "" && due:
		b.tested = month // the first is next month's: this month somebody is here
	case b.tested == "":
		b.tested = now.Wall.AddDate(0, 0, -now.Wall.Day()).Format("2006-01")
	case b.tested > month:
		b.tested = month // the clock was ahead
	}
	if !due || b.tested == month || quiet || now.Wall.Hour() < selfTestFrom {
		return Message{}, false
	}
	b.tested = month
	m := b.SelfTest(now, alarms)
	next := time.Date(now.Wall.Year(), now.Wall.Month()+1, b.set.SelfTestDay, 0, 0, 0, 0, now.Wall.Location())
	m.Text += fmt.Sprintf("\nThe next one comes on %s; if it does not, look at the gateway.\n", next.Format("2 January"))
	return m, true
}

// SelfTest is a message that says that messages arrive, and what stands.
func (b *Book) SelfTest(now garden.Moment, alarms []runner.AlarmLine) Message {
	m := b.message(KindSelfTest, now, alarms)
	for _, a := range alarms {
		if a.Active && a.OutUntil == nil {
			m.Alarms = append(m.Alarms, item(a, StateStill, 0))
		}
	}
	m.words()
	return m
}

func (b *Book) message(kind string, now garden.Moment, alarms []runner.AlarmLine) Message {
	m := Message{Kind: kind, Garden: b.id, Name: b.name, At: now.Wall.Truncate(time.Second), ClockConfirmed: now.Synced, Alarms: []Item{}}
	for _, a := range alarms {
		if a.Active && !a.Acknowledged && a.OutUntil == nil {
			m.Standing++
			m.Serious = m.Serious || a.Serious
		}
	}
	return m
}
