package bench

import "time"

// Clock is virtual time with events. It belongs to one goroutine: nothing in it
// is locked, and an event's function runs inside the call that let time pass.
//
// Events run in order of their time, those of equal time in the order they were
// added. An event's function may add and cancel events, and may itself call
// Sleep: time then passes inside it, and the outer call ends no earlier than it.
type Clock struct {
	now    time.Duration
	seq    uint64
	events []event // a binary heap on (at, seq)
}

type event struct {
	at  time.Duration
	seq uint64
	run func()
}

// Event names an event that was added, for Cancel. The zero value names none.
type Event uint64

// NewClock returns a clock that stands at start, the time since the bench's
// beginning.
func NewClock(start time.Duration) *Clock { return &Clock{now: start} }

// Now is the virtual time since the bench's beginning.
func (c *Clock) Now() time.Duration { return c.now }

// Sleep lets d pass and runs what falls due meanwhile. A negative d counts as
// none: what is due now still runs.
func (c *Clock) Sleep(d time.Duration) {
	until := c.now + max(0, d)
	if len(c.events) == 0 || c.events[0].at > until {
		c.now = until
		return
	}
	c.RunUntil(until)
}

// Pass lets d pass while nothing else runs, as a caller does that holds everything
// up. What falls due meanwhile runs late, when time is next allowed to pass.
func (c *Clock) Pass(d time.Duration) { c.now += max(0, d) }

// At adds an event. A time that has passed means now: it runs as soon as time
// is next allowed to pass.
func (c *Clock) At(t time.Duration, run func()) Event {
	c.seq++
	c.events = append(c.events, event{at: max(t, c.now), seq: c.seq, run: run})
	c.up(len(c.events) - 1)
	return Event(c.seq)
}

// Cancel removes an event and reports whether it was still waiting.
func (c *Clock) Cancel(e Event) bool {
	for i := range c.events {
		if c.events[i].seq == uint64(e) {
			c.remove(i)
			return true
		}
	}
	return false
}

// Next is the time of the earliest waiting event.
func (c *Clock) Next() (time.Duration, bool) {
	if len(c.events) == 0 {
		return 0, false
	}
	return c.events[0].at, true
}

// Step runs the earliest waiting event, moving time to it, and reports whether
// there was one.
func (c *Clock) Step() bool {
	if len(c.events) == 0 {
		return false
	}
	e := c.events[0]
	c.remove(0)
	c.now = max(c.now, e.at)
	e.run()
	return true
}

// RunUntil runs every event up to and including t in order and leaves the clock
// at t, or later where an event slept past it.
func (c *Clock) RunUntil(t time.Duration) {
	for len(c.events) > 0 && c.events[0].at <= t {
		c.Step()
	}
	c.now = max(c.now, t)
}

// Waiting is the number of events that have not run.
func (c *Clock) Waiting() int { return len(c.events) }

func (c *Clock) less(i, j int) bool {
	a, b := &c.events[i], &c.events[j]
	return a.at < b.at || a.at == b.at && a.seq < b.seq
}

func (c *Clock) up(i int) {
	for i > 0 {
		parent := (i - 1) / 2
		if !c.less(i, parent) {
			return
		}
		c.events[i], c.events[parent] = c.events[parent], c.events[i]
		i = parent
	}
}

func (c *Clock) down(i int) {
	for {
		child := 2*i + 1
		if child >= len(c.events) {
			return
		}
		if child+1 < len(c.events) && c.less(child+1, child) {
			child++
		}
		if !c.less(child, i) {
			return
		}
		c.events[i], c.events[child] = c.events[child], c.events[i]
		i = child
	}
}

func (c *Clock) remove(i int) {
	last := len(c.events) - 1
	c.events[i] = c.events[last]
	c.events[last] = event{} // let the function be collected
	c.events = c.events[:last]
	if i < last {
		c.down(i)
		c.up(i)
	}
}
