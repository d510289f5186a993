package valves

import (
	"slices"
	"time"

	"fabricpot/control/garden"
)

// day is the rolling window of the caps.
const day = 24 * time.Hour

// charge is water counted against a line's caps.
type charge struct {
	litres   float64
	survival bool
	at       stamp
	// unwritten tells that it was given while the journal could not be written.
	unwritten bool
}

// stamp is when something ended, in a form that survives a restart. Its age
// within one run is monotonic. Of an earlier run only the wall clock can tell
// more than "before this start", and only if both ends of the span were
// confirmed; otherwise it counts as having happened at the start.
type stamp struct {
	mono    time.Duration
	wall    time.Time
	foreign *anchor // nil where wall adds nothing to what mono knows
}

// anchor is the first moment of this run whose wall clock was confirmed. Ages by
// the wall are taken there once: a clock that jumps later makes nothing older.
type anchor struct {
	known bool
	at    garden.Moment
	// steps are those of the wall clock that earlier runs saw.
	steps []clockStep
}

func stampOf(m garden.Moment) stamp { return stamp{mono: m.Mono} }

// restored is the stamp of a moment of an earlier run.
func restored(m garden.Moment, sameClock bool, now garden.Moment, a *anchor) stamp {
	// A moment after now on what claims to be the same clock is not of it.
	if sameClock && m.Mono <= now.Mono {
		return stamp{mono: m.Mono}
	}
	if !m.Synced {
		a = nil
	}
	return stamp{mono: now.Mono, wall: m.Wall, foreign: a}
}

// age is how long ago the stamp certainly was, never negative.
func (s stamp) age(now garden.Moment) time.Duration {
	a := max(0, now.Mono-s.mono)
	if f := s.foreign; f != nil && (now.Synced || f.known) {
		if !f.known {
			f.known, f.at = true, now
		}
		a = max(a, f.at.Wall.Sub(s.wall)-ahead(f.steps, s.wall)+now.Mono-f.at.Mono)
	}
	return a
}

// charges is a line's rolling day, oldest first.
type charges []charge

// prune forgets what has left the window.
func (c charges) prune(now garden.Moment) charges {
	return slices.DeleteFunc(c, func(x charge) bool { return x.at.age(now) >= day })
}

// unwrittenL is what went out within the day while the journal could not be written.
func (c charges) unwrittenL(now garden.Moment) (litres float64) {
	for _, x := range c {
		if x.unwritten && x.at.age(now) < day {
			litres += x.litres
		}
	}
	return litres
}

// sums adds up the window, and tells when the oldest of each kind leaves it.
func (c charges) sums(now garden.Moment) (spentL, doseL float64, spentUntil, doseUntil time.Duration) {
	for _, x := range c {
		a := x.at.age(now)
		if a >= day {
			continue
		}
		out := now.Mono + day - a
		spentL += x.litres
		if spentUntil == 0 || out < spentUntil {
			spentUntil = out
		}
		if x.survival {
			doseL += x.litres
			if doseUntil == 0 || out < doseUntil {
				doseUntil = out
			}
		}
	}
	return spentL, doseL, spentUntil, doseUntil
}
