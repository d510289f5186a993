package valves

import (
	"slices"
	"time"

	"fabricpot/control/garden"
)

// limit is something that versions of a garden file bound more or less tightly.
type limit[T any] interface {
	// tighter is what keeps within both.
	tighter(T) T
	same(T) bool
}

// lately is what a garden file says of something, and what versions of it said
// before, each until a day after it was replaced. What tightens holds at once,
// what loosens a day later: in force is the tightest of all that was said within
// the day, so that no further change puts a loosening off or brings it forward.
type lately[T limit[T]] struct {
	now T
	was []said[T]
	// turned counts what changed, for who keeps it.
	turned uint64
}

// said is what a version said that was replaced at that moment, Mono on the clock
// of this run. walls is set where it was replaced on another clock, by which only the
// wall can tell that it was before this start.
type said[T any] struct {
	what  T
	at    garden.Moment
	walls *anchor
}

// age is how long ago it certainly was replaced.
func (s said[T]) age(now garden.Moment) time.Duration {
	return stamp{mono: s.at.Mono, wall: s.at.Wall, foreign: s.walls}.age(now)
}

// mostSaid bounds how many versions are remembered; beyond it the two oldest are
// taken for one as tight as both, until the later ends.
const mostSaid = 64

// turn replaces what the file says.
func (l *lately[T]) turn(now garden.Moment, to T) {
	if l.now.same(to) {
		return
	}
	l.holdUp(now, l.now)
	l.now = to
}

// holdUp has something hold for a day from now on, besides what the file says.
func (l *lately[T]) holdUp(now garden.Moment, what T) {
	l.was = append(l.was, said[T]{what: what, at: now})
	l.turned++
	if len(l.was) > mostSaid {
		l.was[1].what = l.was[1].what.tighter(l.was[0].what)
		if l.was[0].age(now) < l.was[1].age(now) {
			l.was[1].at, l.was[1].walls = l.was[0].at, l.was[0].walls
		}
		l.was = slices.Delete(l.was, 0, 1)
	}
}

// inForce is what holds at that moment.
func (l *lately[T]) inForce(now garden.Moment) T {
	n := len(l.was)
	if l.was = slices.DeleteFunc(l.was, func(s said[T]) bool { return s.age(now) >= day }); len(l.was) < n {
		l.turned++
	}
	out := l.now
	for i := len(l.was) - 1; i >= 0; i-- {
		out = out.tighter(l.was[i].what)
	}
	return out
}

// bounds are what a line may give and for how long.
type bounds struct {
	capL, doseL float64
	maxOn       time.Duration
	// doses is how many survival doses go out while the journal can't be written.
	doses int
}

func (b bounds) tighter(o bounds) bounds {
	return bounds{min(b.capL, o.capL), min(b.doseL, o.doseL), min(b.maxOn, o.maxOn), min(b.doses, o.doses)}
}

func (b bounds) same(o bounds) bool { return b == o }

// rules are what the garden file asks of every line.
type rules struct {
	minRest      time.Duration
	frostC       float64
	tankReserveL float64
	supply       supply
	hours        []garden.DayWindow
}

func rulesOf(g *garden.Garden) rules {
	return rules{
		minRest: g.Limits.MinRest, frostC: g.Limits.FrostC, tankReserveL: g.Supply.TankReserveL,
		supply: supply{flowLPH: g.Supply.FlowLPH}, hours: g.Supply.Hours,
	}
}

func (r rules) tighter(o rules) rules {
	out := rules{
		minRest: max(r.minRest, o.minRest), frostC: max(r.frostC, o.frostC), tankReserveL: max(r.tankReserveL, o.tankReserveL),
		supply: supply{flowLPH: min(r.supply.flowLPH, o.supply.flowLPH)}, hours: r.hours,
	}
	// Hours that only grew wait like any limit. Of hours that moved a day's wait
	// might leave none at all, and pots that go dry: they hold at once.
	if narrower(o.hours, r.hours) {
		out.hours = o.hours
	}
	return out
}

func (r rules) same(o rules) bool {
	return r.minRest == o.minRest && r.frostC == o.frostC && r.tankReserveL == o.tankReserveL &&
		r.supply == o.supply && slices.Equal(r.hours, o.hours)
}

// narrower reports whether every time of day within a is within b; no hours are
// all hours.
func narrower(a, b []garden.DayWindow) bool {
	// Where neither begins nor ends nothing changes.
	edges := []time.Duration{0}
	for _, w := range slices.Concat(a, b) {
		edges = append(edges, w.From, w.To)
	}
	within := func(hours []garden.DayWindow, t time.Time) bool {
		return len(hours) == 0 || slices.ContainsFunc(hours, func(w garden.DayWindow) bool { return w.Contains(t) })
	}
	for _, e := range edges {
		t := time.Time{}.Add(e)
		if within(a, t) && !within(b, t) {
			return false
		}
	}
	return true
}
