package runner

import (
	"fmt"
	"slices"
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
	// shortAtClose is how long before the hours of watering end, or the whole of
	// them where they are shorter, a pot must have been under its refill point
	// for them to count as too short for it.
	shortAtClose = time.Hour
	// shortHolds is how long everything due must have been given in time before
	// the supply counts as large enough again: a whole day with all its hours.
	shortHolds = 24 * time.Hour
)

// supplies watches whether what is due can be given.
type supplies struct {
	hours  []garden.DayWindow
	flow   float64
	needs  float64
	zones  map[garden.ZoneID]*due
	open   bool
	opened time.Duration
	last   time.Duration
	began  bool
	// reckoned is when a zone was last watered without a probe: where it lacks water
	// after that, the reckoning was off.
	reckoned map[garden.ZoneID]time.Duration
	// unanswered is when a zone got the water that it did not answer to.
	unanswered map[garden.ZoneID]time.Duration
}

// due is a zone under its refill point: how long it has been that in hours of
// watering without a break, and how long of that its line waited for room.
type due struct{ under, waited time.Duration }

func newSupplies(g *garden.Garden) supplies {
	s := supplies{hours: g.Supply.Hours, flow: g.Supply.FlowLPH, zones: map[garden.ZoneID]*due{}, reckoned: map[garden.ZoneID]time.Duration{}, unanswered: map[garden.ZoneID]time.Duration{}}
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

// short notices a supply, or hours, too small for what is due. A zone that stays
// dry for another reason does not count.
func (w *watch) short(now garden.Moment, waiting []control.Waiting, views []control.ZoneView, autoOff bool) {
	s := &w.supplies
	// A gap says nothing about what was waited for in it.
	dt := min(max(now.Mono-s.last, 0), 15*time.Minute)
	if !s.began {
		dt = 0
	}
	open := s.allowed(now)
	closed := s.began && s.open && !open
	if open && !s.open {
		s.opened = now.Mono
	}
	s.open, s.last, s.began = open, now.Mono, true
	if !open && !closed {
		return
	}
	for i := range views {
		v := &views[i]
		if autoOff || v.Empty || v.ToRefillL >= 0 || w.otherwiseDry(now, v) {
			delete(s.zones, v.Zone)
			continue
		}
		x := s.zones[v.Zone]
		if x == nil {
			x = &due{}
			s.zones[v.Zone] = x
		}
		x.under += dt
		if slices.ContainsFunc(waiting, func(q control.Waiting) bool { return q.Line == v.Line }) {
			x.waited += dt
		}
		switch {
		case x.waited >= shortAfter:
			w.tooShort(now, v, fmt.Sprintf("its line waited %.1f h for its turn", x.waited.Hours()))
		case closed && x.under >= min(shortAtClose, (now.Mono-s.opened)*9/10):
			w.tooShort(now, v, "was so when the hours of watering ended")
		}
	}
	if closed {
		clear(s.zones)
	}
}

// otherwiseDry reports whether a zone has another reason to get no water.
func (w *watch) otherwiseDry(now garden.Moment, v *control.ZoneView) bool {
	line := string(v.Line)
	return line == "" || !v.Known || v.State == garden.KeptShut || w.book.Holds(alarm.Frost, "") || w.stands(alarm.CapReached, line) || w.stands(alarm.OnBalance, string(v.Zone)) || w.reckonedLately(now, v.Zone) ||
		now.Mono < w.spent[v.Line] || w.stands(alarm.LineFaulted, line) || w.follows(alarm.LineFaulted, line) || w.stands(alarm.OrderWithoutFlow, line) || w.book.Holds(alarm.NotClosed, line) || w.book.Holds(alarm.JournalUnwritable, "")
}

// reckonedLately reports whether a zone was without a probe within a day.
func (w *watch) reckonedLately(now garden.Moment, zone garden.ZoneID) bool {
	at, ever := w.supplies.reckoned[zone]
	return ever && now.Mono-at < 24*time.Hour
}

func (w *watch) tooShort(now garden.Moment, v *control.ZoneView, how string) {
	text := fmt.Sprintf("%s is %.1f L under its refill point and %s", v.Zone, -v.ToRefillL, how)
	if f := w.supplies.flow; f > 0 && w.supplies.needs > f {
		text += fmt.Sprintf("; the lines take %.0f L/h together and the supply carries %.0f L/h", w.supplies.needs, f)
	}
	w.noticeFor(now, alarm.SupplyShort, "", text, shortHolds)
}

// follow takes over another version of the garden and keeps what was waited for.
func (s *supplies) follow(to supplies) { s.hours, s.flow, s.needs = to.hours, to.flow, to.needs }

// deaf tells of a supply that gives nothing where no meter can say so: pots of two lines
// did not answer to their water, and none was watered since whose answer is yet to come
// or was another.
func (w *watch) deaf(now garden.Moment, views []control.ZoneView) {
	if w.supply.MeterPulsesPerL.Known {
		return
	}
	s := &w.supplies
	first, lines := now.Mono, map[garden.LineID]bool{}
	for i := range views {
		v := &views[i]
		if !w.stands(alarm.ZoneNoResponse, string(v.Zone)) {
			delete(s.unanswered, v.Zone)
			continue
		}
		if _, known := s.unanswered[v.Zone]; !known {
			s.unanswered[v.Zone] = v.LastAt.Mono
		}
		first, lines[v.Line] = min(first, s.unanswered[v.Zone]), true
	}
	if len(lines) < 2 {
		return
	}
	for i := range views {
		if _, dumb := s.unanswered[views[i].Zone]; !dumb && views[i].Line != "" && views[i].LastL > 0 && views[i].LastAt.Mono >= first {
			return
		}
	}
	w.hold(now, alarm.SupplyGone, "", fmt.Sprintf("pots of %d lines did not answer when they were last watered, and no other was watered since", len(lines)))
}
