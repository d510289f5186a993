package season

import (
	"time"

	"fabricpot/control/garden"
)

// died and lives bracket the time without a gateway, in which nobody can keep a
// deadline.
func (w *witness) died() {
	w.dead, w.diedAt = true, w.clock.Now()
	for i := range w.lines {
		s := &w.lines[i]
		if s.l.Valve.Kind != garden.RemoteValve {
			s.granted = false
			continue
		}
		// Its last command may still be on its way.
		asked := len(s.asked)
		w.clock.At(w.clock.Now()+2*air, func() { s.granted = s.granted && len(s.asked) > asked })
	}
}

func (w *witness) lives(began time.Duration) {
	w.dead, w.later = false, nil
	for i := range w.lines {
		s := &w.lines[i]
		var first func()
		first = func() {
			switch {
			case w.diedAt > began: // the next start is judged in its place
			case s.deaf:
				s.later = append(s.later, first)
			case s.on && !s.pinBad && s.since < began:
				w.fault("line %s was not closed first at a start", s.l.ID)
			}
		}
		switch {
		case s.l.Valve.Kind != garden.RemoteValve:
			first()
		case !w.unreachable():
			// The command has a way to go.
			w.clock.At(began+startClose, first)
		default:
			w.later = append(w.later, first)
		}
	}
	if took := w.clock.Now() - began; took > startClose {
		w.fault("closing at a start took %v", took)
	}
}

// reached tells that the gateway can reach remote lines again: it repeats its
// close at once or at its next look.
func (w *witness) reached() {
	for _, judge := range w.later {
		w.clock.At(w.clock.Now()+closeAgain+startClose, judge)
	}
	w.later = nil
}

// heard tells that a line's node hears again.
func (w *witness) heard(s *seenLine) {
	for _, judge := range s.later {
		w.clock.At(w.clock.Now()+closeAgain+startClose, judge)
	}
	s.deaf, s.later = false, nil
}

// stopped judges the end of a gateway that was stopped in good order.
func (w *witness) stopped() {
	for i := range w.lines {
		if s := &w.lines[i]; s.on && !s.pinBad && !s.deaf && (s.l.Valve.Kind != garden.RemoteValve || !w.unreachable()) {
			w.fault("line %s was left open at a stop", s.l.ID)
		}
	}
}
