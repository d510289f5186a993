package season

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"time"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/control"
	"fabricpot/control/alarm"
	"fabricpot/control/feeding"
	"fabricpot/control/garden"
	"fabricpot/sim/bench"
	"fabricpot/valves"
)

// memBook is the journal of a campaign: what the real one promises, in memory,
// with the faults a card can have. It outlives the gateways that write to it.
type memBook struct {
	w       *witness
	gauge   func() *gauges
	intents map[garden.OrderID]memIntent
	given   []memGiven
	last    garden.OrderID
	boot    int // number of the monotonic clock
	broken  bool
	flaky   bool
	writes  int
	greedy  int // the zone somebody asks too much for; -1 nobody
	ghosts  float64
	gone    bool // what is wrong with the meter's contact
	fed     feeding.Past
	beside  *journal.Beside // in memory: a reboot takes it away
	limits  []byte
	limited int // the boot they were kept on
	// begunAnew tells that it was begun in place of a broken one, aside what that one
	// had of what was under way.
	begunAnew string
	aside     []garden.Intent
	begun     int // the boot of the last gateway that has not stopped in good order, counted from 1
}

type memIntent struct {
	garden.Intent
	boot    int
	settled bool
}

type memGiven struct {
	garden.Delivery
	boot int
}

var errCard = errors.New("the card can't be written")

func newMemBook(w *witness) *memBook {
	m := &memBook{w: w, intents: map[garden.OrderID]memIntent{}, greedy: -1}
	m.remember()
	return m
}

// reboot starts another monotonic clock, with a memory that is empty.
func (m *memBook) reboot() {
	m.boot++
	m.remember()
}

func (m *memBook) remember() { m.beside, _ = journal.OpenBeside("", fmt.Sprint("boot ", m.boot)) }

// IntendBeside and SettleBeside remember what can't be kept, where only a reboot
// takes it away.
func (m *memBook) IntendBeside(o garden.Order, most float64, at garden.Moment) error {
	return m.beside.Intend(o, most, at, false)
}
func (m *memBook) SettleBeside(d garden.Delivery) error { return m.beside.Settle(d) }

// noise has the meter's contact count so many pulses an hour that come from nowhere,
// deaf has its line not be held, which its reader is told. Of both the latter shows.
func (m *memBook) noise(perHour float64) { m.ghosts = perHour; m.contact() }
func (m *memBook) deaf(yes bool)         { m.gone = yes; m.contact() }

func (m *memBook) contact() {
	switch meter := m.gauge().meter; {
	case m.gone:
		meter.Fail(bench.ContactGone, 0)
	case m.ghosts > 0:
		meter.Fail(bench.ContactGhosts, m.ghosts)
	default:
		meter.Fail(bench.ContactHealthy, 0)
	}
}

// Started tells of a crash. It counts none: the restart budget has tests of its own, and
// a campaign kills for no fault of the gateway.
func (m *memBook) Started(garden.Moment, time.Duration) (journal.Starts, error) {
	crashed := m.begun == m.boot+1
	m.begun = m.boot + 1
	return journal.Starts{Crashed: crashed}, nil
}

// Stopped notes an orderly stop.
func (m *memBook) Stopped() error {
	m.begun = 0
	return nil
}

func (m *memBook) write() error {
	m.writes++
	if m.broken || m.flaky && m.writes%3 == 0 {
		return errCard
	}
	return nil
}

// Intend keeps an intent, and shows it to the witness even where it can't be
// kept: it bounds the opening all the same.
func (m *memBook) Intend(o garden.Order, most float64, at garden.Moment) error {
	err := m.write()
	m.w.intended(o, at, err == nil)
	if err != nil {
		return err
	}
	if _, known := m.intents[o.ID]; known {
		m.w.fault("order %d was intended twice", o.ID)
		return errors.New("an order already known")
	}
	m.intents[o.ID] = memIntent{Intent: garden.Intent{Order: o, MaxLitres: most, At: at}, boot: m.boot}
	m.last = max(m.last, o.ID)
	return nil
}

// Raise keeps what an intent without an outcome may have given.
func (m *memBook) Raise(id garden.OrderID, most float64) error {
	if err := m.write(); err != nil {
		return err
	}
	if in, ok := m.intents[id]; ok && !in.settled {
		in.MaxLitres = max(in.MaxLitres, most)
		m.intents[id] = in
	}
	return nil
}

// Settle keeps an outcome.
func (m *memBook) Settle(d garden.Delivery) error {
	if err := m.write(); err != nil {
		return err
	}
	in := m.intents[d.Order]
	if in.settled {
		return nil
	}
	in.settled = true
	m.intents[d.Order] = in
	m.given = append(m.given, memGiven{d, m.boot})
	m.last = max(m.last, d.Order)
	m.w.settled(d)
	return m.beside.Forget(d.Order)
}

// Unfinished returns intents without an outcome, oldest first.
func (m *memBook) Unfinished() ([]garden.Intent, error) {
	var out []garden.Intent
	for _, id := range slices.Sorted(maps.Keys(m.intents)) {
		if in := m.intents[id]; !in.settled {
			in.SameClock = in.boot == m.boot
			out = append(out, in.Intent)
		}
	}
	return m.beside.Unfinished(out), nil
}

// Recent returns what closed within the day before now.
func (m *memBook) Recent(now garden.Moment) ([]garden.PastDelivery, error) {
	var out []garden.PastDelivery
	last := time.Time{}
	for _, d := range m.given {
		if d.ClosedAt.Wall.After(last) {
			last = d.ClosedAt.Wall
		}
	}
	if now.Wall.Before(last) {
		last = now.Wall
	}
	for _, d := range m.given {
		if last.Sub(d.ClosedAt.Wall) < 24*time.Hour {
			out = append(out, garden.PastDelivery{Delivery: d.Delivery, SameClock: d.boot == m.boot})
		}
	}
	return m.beside.Recent(out), nil
}

// LastOrderID is the highest order number seen.
func (m *memBook) LastOrderID() (garden.OrderID, error) { return m.beside.Last(m.last), nil }

// Standing is what people asked for that still holds: campaigns keep nothing shut.
func (m *memBook) Standing(time.Time) ([]garden.Ask, error) { return nil, nil }

// KeepLimits and Limits keep which limits hold until when.
func (m *memBook) KeepLimits(held []byte) error {
	if err := m.write(); err != nil {
		return err
	}
	m.limits, m.limited = held, m.boot
	return nil
}

func (m *memBook) Limits() (held []byte, sameClock bool, err error) {
	return m.limits, m.limited == m.boot, nil
}

// Samples ends a tick for the witness.
func (m *memBook) Samples(now garden.Moment, _ []garden.Reading, _ []control.ZoneView) error {
	m.w.ticked(now)
	return m.write()
}

// Decided, Asked and Alarmed are written like the rest.
func (m *memBook) Decided(garden.Moment, garden.Order, garden.RefusalCause, string) error {
	return m.write()
}
func (m *memBook) Asked(garden.Moment, garden.Ask) error { return m.write() }
func (m *memBook) Alarmed(alarm.Change) error            { return m.write() }

var _ valves.Ledger = (*memBook)(nil)
