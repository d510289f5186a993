package season

import (
	"fmt"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control"
	"fabricpot/control/alarm"
	"fabricpot/control/feed"
	"fabricpot/control/feeding"
	"fabricpot/control/garden"
	"fabricpot/control/task"
	"fabricpot/sim/bench"

	"periph.io/x/conn/v3/gpio"
)

// mortal is one life of a gateway, seen from outside: it counts everything that
// leaves the process - each write to the journal, each change of a pin - and dies
// just before the one numbered at. From then on nothing leaves it, whatever its
// code still does, which is what a kill looks like from the terrace and the card.
type mortal struct {
	at   int // -1: never
	n    int
	dead bool
	log  []string
}

// step reports whether the next effect happens.
func (m *mortal) step(format string, args ...any) bool {
	if m.dead {
		return false
	}
	if m.n == m.at {
		m.dead = true
		return false
	}
	m.n++
	m.log = append(m.log, fmt.Sprintf(format, args...))
	return true
}

// mortalPin is a pin that a dead gateway no longer moves.
type mortalPin struct {
	*bench.Pin
	m     *mortal
	name  string
	known bool
	last  gpio.Level
}

func (m *mortal) coil(p *bench.Pin) gpio.PinOut {
	return &mortalPin{Pin: p, m: m, name: fmt.Sprintf("%s/%d", p.Name(), p.Number())}
}

func (p *mortalPin) Out(l gpio.Level) error {
	if p.m.dead || (!p.known || l != p.last) && !p.m.step("pin %s %s", p.name, l) {
		return nil
	}
	p.known, p.last = true, l
	return p.Pin.Out(l)
}

// mortalKeeper is a real journal that a dead gateway no longer writes to.
type mortalKeeper struct {
	*runner.Keeper
	m *mortal
}

func (k *mortalKeeper) Intend(o garden.Order, most float64, at garden.Moment) error {
	if !k.m.step("intend %d %s", o.ID, o.Kind) {
		return nil
	}
	return k.Keeper.Intend(o, most, at)
}

func (k *mortalKeeper) Raise(id garden.OrderID, most float64) error {
	if !k.m.step("raise %d", id) {
		return nil
	}
	return k.Keeper.Raise(id, most)
}

func (k *mortalKeeper) Settle(d garden.Delivery) error {
	if !k.m.step("settle %d", d.Order) {
		return nil
	}
	return k.Keeper.Settle(d)
}

func (k *mortalKeeper) Samples(now garden.Moment, r []garden.Reading, z []control.ZoneView) error {
	if !k.m.step("tick") {
		return nil
	}
	return k.Keeper.Samples(now, r, z)
}

func (k *mortalKeeper) Decided(now garden.Moment, o garden.Order, c garden.RefusalCause, what string) error {
	if !k.m.step("decided %d", o.ID) {
		return nil
	}
	return k.Keeper.Decided(now, o, c, what)
}

func (k *mortalKeeper) Asked(now garden.Moment, a garden.Ask) error {
	if !k.m.step("asked") {
		return nil
	}
	return k.Keeper.Asked(now, a)
}

func (k *mortalKeeper) Alarmed(c alarm.Change) error {
	if !k.m.step("alarm") {
		return nil
	}
	return k.Keeper.Alarmed(c)
}

func (k *mortalKeeper) AddFeedSteps(r []feed.Record) error {
	if len(r) == 0 {
		return nil
	}
	if !k.m.step("feed steps %v", r[0].Kind) {
		return nil
	}
	return k.Keeper.AddFeedSteps(r)
}

func (k *mortalKeeper) KeepLedgers(s []feeding.Snapshot) error {
	if !k.m.step("ledgers") {
		return nil
	}
	return k.Keeper.KeepLedgers(s)
}

func (k *mortalKeeper) AddTaskEvents(e []task.Event) error {
	if !k.m.step("tasks") {
		return nil
	}
	return k.Keeper.AddTaskEvents(e)
}

func (k *mortalKeeper) AddFeed(f journal.Feed) error {
	if !k.m.step("feed") {
		return nil
	}
	return k.Keeper.AddFeed(f)
}

func (k *mortalKeeper) AddNote(n journal.Note) error {
	if !k.m.step("note") {
		return nil
	}
	return k.Keeper.AddNote(n)
}

var (
	_ runner.Recorder    = (*mortalKeeper)(nil)
	_ runner.FeedJournal = (*mortalKeeper)(nil)
)
