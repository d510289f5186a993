package valves

import (
	"time"

	"fabricpot/control/garden"
)

// A confirmed wall clock that is set forward makes what was given before it look older
// than it is. Within a run the monotonic clock says how old; the next start has but the
// wall, so the steps that a run saw are kept for it with the limits.
const (
	// stepLeast is how far the wall must get ahead of the monotonic clock between two
	// looks to have been set: both run on one crystal.
	stepLeast = 2 * time.Minute
	// stepFor is for how long a step matters: what is charged counts for a day, and
	// nobody says how long a board was off.
	stepFor = 48 * time.Hour
	// mostSteps bounds how many are kept; beyond it the two oldest count as one.
	mostSteps = 16
)

// clockStep is that the wall clock, confirmed before and after, was set forward by By
// when it would have shown Wall.
type clockStep struct {
	Wall time.Time     `json:"wall"`
	By   time.Duration `json:"by_ns"`
}

// steps are those that were seen, oldest first.
type steps struct {
	known  bool
	last   garden.Moment
	was    []clockStep
	turned uint64 // counts what changed
}

// see looks at a moment. One that is older than the last says nothing.
func (s *steps) see(now garden.Moment) {
	if !now.Synced || s.known && now.Mono < s.last.Mono {
		return
	}
	if s.known {
		passed := now.Mono - s.last.Mono
		if by := time.Duration(now.Wall.UnixNano()-s.last.Wall.UnixNano()) - passed; by >= stepLeast {
			s.was = append(s.was, clockStep{Wall: s.last.Wall.Round(0).Add(passed), By: by})
			s.turned++
			if len(s.was) > mostSteps {
				s.was[1].By += s.was[0].By
				s.was = s.was[1:]
			}
		}
	}
	s.known, s.last = true, now
}

// recall takes over the steps of earlier runs that still matter and are sane.
func (s *steps) recall(now garden.Moment, past []clockStep) {
	for _, c := range past {
		old := now.Synced && now.Wall.UnixNano()-c.Wall.UnixNano() > int64(stepFor+c.By)
		if c.By >= stepLeast && !old && len(s.was) < mostSteps {
			s.was = append(s.was, c)
		}
	}
}

// ahead is by how much a clock that now shows its time was set forward since it showed
// wall.
func ahead(was []clockStep, wall time.Time) (by time.Duration) {
	for _, c := range was {
		if !c.Wall.Before(wall) {
			by += c.By
		}
	}
	return by
}
