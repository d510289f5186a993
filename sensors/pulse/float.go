package pulse

import (
	"time"

	"fabricpot/control/garden"
)

// upAfter is how long a float's contact must be closed without a break before
// there is water again: waves and a contact that chatters must not start a pump.
const upAfter = 10 * time.Second

// Float believes a float switch. Its contact is closed while there is water, so
// that a broken wire, a plug that is out and a pin that can't be read look like
// an empty tank. It says so at once, and only after a while
// that there is water again.
// One goroutine uses it.
type Float struct {
	begun, up bool
	closed    bool
	since     time.Duration
	err       error
}

// Read takes the contact at a monotonic time.
func (f *Float) Read(now time.Duration, closed bool, err error) garden.Float {
	f.err = err
	closed = closed && err == nil
	if !closed || now < f.since {
		f.up = false
	}
	if closed != f.closed || now < f.since {
		f.closed, f.since = closed, now
	}
	if f.closed && (now-f.since >= upAfter || !f.begun) {
		f.up = true
	}
	f.begun = true
	if f.up {
		return garden.FloatUp
	}
	return garden.FloatDown
}

// Trouble says in words what is wrong, "" where nothing is known to be.
func (f *Float) Trouble() string {
	if f.err != nil {
		return f.err.Error()
	}
	return ""
}
