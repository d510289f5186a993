package runner

import (
	"time"

	"fabricpot/control/garden"

	"golang.org/x/sys/unix"
)

// BoardClock is the time of the machine it runs on. Its monotonic time counts
// from the board's start, suspended time included, so that a restarted gateway
// can still subtract what the last one wrote.
type BoardClock struct{ zone *time.Location }

// NewBoardClock returns a clock that shows wall time in that zone.
func NewBoardClock(zone *time.Location) BoardClock { return BoardClock{zone: zone} }

// Moment is now. Synced is what the kernel knows of its time source: a board
// without a clock of its own wakes up in the past and says so.
func (c BoardClock) Moment() garden.Moment {
	m := garden.Moment{Wall: time.Now().In(c.zone)}
	var ts unix.Timespec
	// This clock exists on every kernel that has the GPIO interface we use.
	if err := unix.ClockGettime(unix.CLOCK_BOOTTIME, &ts); err == nil {
		m.Mono = time.Duration(ts.Nano())
	}
	var tx unix.Timex
	if _, err := unix.Adjtimex(&tx); err == nil {
		m.Synced = tx.Status&unix.STA_UNSYNC == 0
	}
	return m
}

// SinceBoot is how long the board has been up.
func (c BoardClock) SinceBoot() time.Duration { return c.Moment().Mono }
