package runner

import (
	"fmt"
	"time"

	"fabricpot/control"
	"fabricpot/control/alarm"
	"fabricpot/control/garden"
)

const (
	// shortAfter is how long a line whose pots are under their refill point may
	// wait for its turn, hours of watering alone counted. Lines take turns by
	// design and a turn lasts minutes; common practice, no source.
	shortAfter = 2 * time.Hour
	// shortAtClose is the same when the hours of the day end meanwhile: what
	// was due then has no turn until they begin again.
	shortAtClose = 30 * time.Minute
	// shortHolds is how long everything due must have been given in time before
	// the supply counts as large enough again: a whole day with all its hours.
	shortHolds = 24 * time.Hour
)

// supplies watches whether what is due can be given.
type supplies struct {
	hours  []garden.DayWindow
	flow   float64
	needs  float64
	waited map[garden.LineID]*wait
	open   bool
	last   time.Duration
	began  bool
}

// wait is how long a line has been waiting for room, and with what.
type wait struct {
	long  time.Duration
	zone  garden.ZoneID
	dueL  float64
	stale bool
}

func newSupplies(g *garden.Garden) supplies {
	s := supplies{hours: g.Supply.Hours, flow: g.Supply.FlowLPH, waited: map[garden.LineID]*wait{}}
	for i := range g.Lines {
		s.needs += g.Lines[i].FlowLPH()
	}
	return s
}

// allowed reports whether the hours let water now.
func (s *supplies) allowed(now garden.Moment) bool {
	if !now.Synced || len(s.hours) == 0 {
		return true
	}
	for i := range s.hours {
		if s.hours[i].Contains(now.Wall) {
			return true
		}
	}
	return false
}

// short notices a supply, or hours, too small for what is due. A line that stays
// shut for another reason has no wish and does not count.
func (w *watch) short(now garden.Moment, waiting []control.Waiting, views []control.ZoneView) {
	s := &w.supplies
	// A gap says nothing about what was waited for in it.
	dt := min(max(now.Mono-s.last, 0), 15*time.Minute)
	if !s.began {
		dt = 0
	}
	open := s.allowed(now)
	closed := s.began && s.open && !open
	s.open, s.last, s.began = open, now.Mono, true
	if open {
		s.count(waiting, views, dt)
	}
	for line, x := range s.waited {
		switch {
		case x.long >= shortAfter:
			w.tooShort(now, line, x, fmt.Sprintf("waited %.1f h for its turn", x.long.Hours()))
		case closed && x.long >= shortAtClose:
			w.tooShort(now, line, x, "was still waiting when the hours of watering ended")
		}
	}
	if closed {
		clear(s.waited)
	}
}

// count adds a tick to the lines that wait with a pot under its refill point, and
// forgets those that no longer do.
func (s *supplies) count(waiting []control.Waiting, views []control.ZoneView, dt time.Duration) {
	for _, x := range s.waited {
		x.stale = true
	}
	for i := range views {
		v := &views[i]
		if x := s.waited[v.Line]; x != nil && v.Zone == x.zone && v.ToRefillL < 0 {
			x.stale = false // it may be having its turn and still be short
		}
	}
	for _, q := range waiting {
		for i := range views {
			v := &views[i]
			if v.Zone != q.Zone || v.ToRefillL >= 0 {
				continue
			}
			x := s.waited[q.Line]
			if x == nil {
				x = &wait{}
				s.waited[q.Line] = x
			}
			x.long, x.zone, x.dueL, x.stale = x.long+dt, q.Zone, -v.ToRefillL, false
		}
	}
	for line, x := range s.waited {
		if x.stale {
			delete(s.waited, line)
		}
	}
}

func (w *watch) tooShort(now garden.Moment, line garden.LineID, x *wait, how string) {
	text := fmt.Sprintf("%s is %.1f L under its refill point and line %s %s", x.zone, x.dueL, line, how)
	if f := w.supplies.flow; f > 0 && w.supplies.needs > f {
		text += fmt.Sprintf("; the lines take %.0f L/h together and the supply carries %.0f L/h", w.supplies.needs, f)
	}
	w.noticeFor(now, alarm.SupplyShort, "", text, shortHolds)
}

// follow takes over another version of the garden and keeps what was waited for.
func (s *supplies) follow(to supplies) { s.hours, s.flow, s.needs = to.hours, to.flow, to.needs }
