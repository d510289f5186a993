package season

import (
	"errors"
	"slices"
	"time"

	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/garden"
)

// course is a script under way.
type course struct {
	s      *Script
	w      *witness
	book   *memBook
	opts   Options
	g      *garden.Garden
	tr     tricks
	b      *Bench
	deaths int
	far    *farEnd // nil where nothing hangs on a broker
	bitten bool    // the supervisor kills a gateway that hangs
	cut    bool    // the power is cut
	lock   *controlLock
	// staysOpen are lines whose latching valve missed its pulses from mid-watering on.
	staysOpen []*seenLine
}

// farOf gives a gateway its end of the broker.
func (c *course) farOf(b *Bench) (runner.Far, error) {
	if c.far == nil {
		var err error
		if c.far, err = newFarEnd(c.g, b); err != nil {
			return nil, err
		}
		c.far.reached = c.w.reached
		if c.tr.far != nil {
			c.tr.far(c.far)
		}
	}
	return c.far.begins(b.Garden, b.Moment)
}

// untrue tells that by now a line gives more than anybody can know.
func (c *course) untrue(line *seenLine) bool {
	if slices.Contains(c.staysOpen, line) {
		return true
	}
	for _, m := range c.s.Mishaps {
		if c.b.Clock.Now() < m.At {
			continue
		}
		switch m.Kind {
		case "hose off", "valve leaks", "latch misses its close":
			if c.g.Lines[m.Pot].ID == line.l.ID {
				return true
			}
		}
	}
	return false
}

// miscounted tells that the meter counts nothing of what runs.
func (c *course) miscounted() bool {
	return slices.ContainsFunc(c.s.Mishaps, func(m Mishap) bool { return m.Kind == "meter dead" && c.b.Clock.Now() >= m.At })
}

func (c *course) run() (err error) {
	if c.lock, err = newControlLock(c.s, c.tr.unlocked); err != nil {
		return err
	}
	defer func() { err = errors.Join(err, c.lock.remove()) }()
	if c.b, err = NewBench(c.g, c.opts); err != nil {
		return err
	}
	c.book.gauge = func() *gauges { return &c.b.water }
	c.w.watch(c.b)
	c.w.watchFeeds(c.b, c.w.g)
	if c.tr.begun != nil {
		c.tr.begun(c.b)
	}
	for _, m := range c.s.Mishaps {
		c.plan(m)
	}
	c.b.Clock.At(10*time.Minute, c.ask)
	if err := c.b.Begin(); err != nil {
		return err
	}
	c.w.lives(0)
	end := c.s.start.AddDate(0, 0, c.s.Days).Sub(c.s.start)
	for _, r := range c.s.Restarts {
		if r.At >= end || r.At < c.b.Clock.Now() {
			continue
		}
		if err := c.runTo(r.At); err != nil {
			return err
		}
		if err := c.restart(r); err != nil {
			return err
		}
	}
	if err := c.runTo(end); err != nil {
		return err
	}
	c.b.End()
	c.w.stopped()
	unfinished, err := c.book.Unfinished()
	if err != nil {
		return err
	}
	for _, d := range c.book.beside.Recent(nil) {
		c.w.settled(d.Delivery) // as the next start would find it
	}
	c.w.balance(c.b, c.leaky, append(unfinished, c.book.aside...))
	c.w.latches(c.b)
	c.w.pump(c.b)
	return nil
}

// runTo lets time pass, and has the supervisor replace a gateway that hangs.
func (c *course) runTo(t time.Duration) error {
	for {
		next, any := c.b.Clock.Next()
		if !any || next > t {
			c.b.RunTo(t)
			return nil
		}
		c.b.Clock.Step()
		if c.bitten {
			c.bitten = false
			c.w.overdue()
			if err := c.restart(Restart{Down: 5 * time.Second}); err != nil {
				return err
			}
		}
		if c.cut {
			c.cut = false
			if err := c.restart(Restart{Down: outage, Release: true, Reboot: true}); err != nil {
				return err
			}
		}
	}
}

// restart kills the gateway and starts the next.
func (c *course) restart(r Restart) error {
	c.deaths++
	c.w.died()
	c.w.pumpAlone(c.b, true)
	c.b.Die(r.Release)
	c.lock.die()
	if c.far != nil {
		c.far.ends()
	}
	back := c.b.Clock.Now() + r.Down
	c.b.Clock.RunUntil(back)
	c.b.Wires.Advance()
	opts := c.opts
	opts.World, opts.SinceBoot = c.b, c.b.Clock.Now()
	if r.Reboot {
		c.book.reboot()
		opts.SinceBoot = 30 * time.Second
	}
	if err := c.lock.take(); err != nil {
		return err
	}
	next, err := NewBench(c.g, opts)
	if err != nil {
		return err
	}
	c.b = next
	c.w.pumpAlone(c.b, false)
	began := c.b.Clock.Now()
	// Whatever the outage did is over; the deadline now is to be closed at once.
	for i := range c.w.lines {
		c.w.lines[i].excused = c.w.lines[i].l.Valve.Kind != garden.RemoteValve
	}
	if err := c.b.Begin(); err != nil {
		return err
	}
	c.w.lives(began)
	return nil
}

// plan enters a mishap into the event clock, which outlives every gateway.
func (c *course) plan(m Mishap) {
	d := mishapOf(m.Kind)
	if d.kind == "" {
		c.w.fault("unknown mishap %q", m.Kind)
		return
	}
	here := func() *scene {
		st := &scene{c: c, b: c.b, book: c.book, line: c.g.Lines[m.Pot].ID, zone: m.Pot}
		for _, p := range c.g.Pots[m.Pot].Zones[0].Probes {
			if in, ok := c.b.Wires.Input(p.ID); ok {
				st.in = append(st.in, in)
			}
		}
		return st
	}
	excuse := func(begins bool) {
		if m.Kind == "pin fails" {
			c.w.lines[m.Pot].pinBad, c.w.lines[m.Pot].badFrom = begins, c.b.Clock.Now()
		}
		if m.Kind.blocks() {
			c.w.pumpBlocked(c.b, begins)
		}
	}
	c.b.Clock.At(m.At, func() { excuse(true); d.begin(here(), m) })
	if m.For > 0 && d.end != nil {
		c.b.Clock.At(m.At+m.For, func() {
			d.end(here())
			// A moment to close what could not be closed.
			c.b.Clock.At(c.b.Clock.Now()+10*time.Second, func() { excuse(false) })
		})
	}
}

// ask is the hub that asks for far too much, while it does.
func (c *course) ask() {
	if z := c.book.greedy; z >= 0 && !c.b.gone {
		c.b.Loop.Ask(c.b.Moment(), garden.Ask{Kind: garden.AskWater, Zone: c.g.Pots[z].Zones[0].ID, Litres: 40, Who: "hub"})
	}
	c.b.Clock.At(c.b.Clock.Now()+20*time.Minute, c.ask)
}

// leaky tells that nobody can know what a line gave: of its own plumbing, or of all
// where nothing counts, nothing is kept, or one meter counts a leak among the rest.
func (c *course) leaky(line *seenLine) bool {
	metered := c.g.Supply.MeterPulsesPerL.Known
	if slices.Contains(c.staysOpen, line) || metered && len(c.staysOpen) > 0 {
		return true
	}
	for _, m := range c.s.Mishaps {
		switch m.Kind {
		case "meter dead":
			return true
		case "journal can't be written", "card told to be full and back":
			// What it could not take is remembered beside it until the power is cut.
			if slices.ContainsFunc(c.s.Restarts, func(r Restart) bool { return r.Reboot && r.At >= m.At }) {
				return true
			}
		case "latch misses its close", "valve does not close", "valve leaks", "remote valve says closed and flows", "hose off":
			if metered || c.g.Lines[m.Pot].ID == line.l.ID {
				return true
			}
		}
	}
	return false
}
