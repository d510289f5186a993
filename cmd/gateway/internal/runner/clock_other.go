//go:build !linux

package runner

import (
	"time"

	"fabricpot/control/garden"
)

// BoardClock is the time of the machine it runs on.
type BoardClock struct {
	start time.Time
	zone  *time.Location
}

// NewBoardClock returns a clock whose monotonic time begins now and whose wall
// time is shown in that zone.
func NewBoardClock(zone *time.Location) BoardClock {
	return BoardClock{start: time.Now(), zone: zone}
}

// Moment is now. Away from Linux nothing tells whether the clock is right, so
// it never counts as confirmed.
func (c BoardClock) Moment() garden.Moment {
	now := time.Now()
	return garden.Moment{Mono: now.Sub(c.start), Wall: now.In(c.zone)}
}

// SinceBoot is unknown here; the time since the start stands for it.
func (c BoardClock) SinceBoot() time.Duration { return time.Since(c.start) }
