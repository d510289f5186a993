package season

import (
	"errors"
	"time"

	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control"
	"fabricpot/control/alarm"
	"fabricpot/control/feeding"
	"fabricpot/control/garden"
	"fabricpot/sim/bench"
	"fabricpot/valves"
)

const (
	// intoPulse is how far into a pulse it happens what happens in mid-watering.
	intoPulse = 40 * time.Second
	// brokerGone is how long the broker is away.
	brokerGone = 6 * time.Hour
	// patience is what the supervisor gives a loop: three rounds and half a
	// minute, as the program asks of systemd.
	patience = 210 * time.Second

	secondGateway MishapKind = "second gateway on the board"
)

// further are mishaps of more than one part: places confused, the far end of a
// broker, time, weather, a program in the way of itself.
var further = []mishapType{
	{kind: "probes swapped", begin: func(s *scene, _ Mishap) { s.swap() }, end: (*scene).swap,
		prepare: func(s *Script, _ *Mishap) {
			if len(s.Pots) < 2 {
				s.another()
			}
			if s.Mode == Single {
				s.Days = max(s.Days, swapDays)
			}
		},
		alarms: []alarm.Kind{alarm.ProbeDoubtful}, within: 2 * time.Hour, shows: (*course).swapShows,
		Safe: "each watered as the other reads until it is told, then without the two probes", Recovery: "when the plugs are changed back"},
	{kind: "broker away in mid-watering", begin: func(s *scene, _ Mishap) { s.loseBroker(false) }, prepare: remotely,
		alarms: []alarm.Kind{alarm.LinkLost}, within: 10 * time.Minute, flowing: true,
		Safe: "the node closes when it hears nobody; what was under way is charged, not given again", Recovery: "by itself when the broker is back"},
	{kind: "cut off from the broker in mid-watering", begin: func(s *scene, _ Mishap) { s.loseBroker(true) }, prepare: remotely,
		alarms: []alarm.Kind{alarm.LinkLost}, within: 10 * time.Minute, flowing: true,
		Safe: "the node closes by its own time limit; what was under way is charged, not given again", Recovery: "by itself when the way is free"},
	{kind: "remote valve deaf in mid-watering", begin: func(s *scene, _ Mishap) {
		if n := s.node(); n != nil {
			s.opening(func() { n.deaf, s.c.w.line(s.line).deaf = true, true })
		}
	}, end: func(s *scene) {
		if n := s.node(); n != nil {
			n.deaf = false
			s.c.w.heard(s.c.w.line(s.line))
		}
	}, prepare: remotely, lasts: 24 * time.Hour,
		alarms: []alarm.Kind{alarm.NotClosed}, within: 2 * time.Hour, flowing: true,
		Safe: "the node closes by its own time limit; the line opens no more", Recovery: "by itself when it confirms a close"},
	{kind: "remote valve says closed and flows", begin: func(s *scene, _ Mishap) { s.b.Wires.Pin(s.line).Fail(bench.ValveStaysOpen) },
		end: func(s *scene) { s.b.Wires.Pin(s.line).Fail(bench.PinHealthy) }, prepare: remotely,
		alarms: []alarm.Kind{alarm.FlowWithoutOrder}, within: 30 * time.Minute, needsMeter: true,
		Safe: "nothing more is ordered while the pot is wet; only a hand valve helps", Recovery: "half an hour after the last stray litre"},
	{kind: "remote valve says open and gives nothing", begin: func(s *scene, _ Mishap) { s.b.Wires.Pin(s.line).Fail(bench.ValveStaysShut) },
		end: func(s *scene) { s.b.Wires.Pin(s.line).Fail(bench.PinHealthy) }, prepare: remotely,
		alarms: []alarm.Kind{alarm.OrderWithoutFlow, alarm.SupplyGone}, within: 2 * time.Hour, flowing: true, needsMeter: true, withoutWater: true,
		Safe: "goes on trying within the day's limit; the list of work asks for cans", Recovery: "the next pulse that flows"},
	daylight("clocks go forward", time.March, 28),
	daylight("clocks go back", time.October, 24),
	{kind: "loop hangs in mid-watering", begin: func(s *scene, _ Mishap) { s.opening(s.c.hang) },
		alarms: []alarm.Kind{alarm.Crashed}, within: 10 * time.Minute, flowing: true,
		Safe: "the guard's own goroutine ends pulses; the watchdog is fed no more", Recovery: "the supervisor kills it and starts another"},
	{kind: secondGateway, begin: func(s *scene, _ Mishap) { s.c.intrude() },
		Safe: "the second is refused the control socket, and the outputs, and drives none", Recovery: "none needed"},
	{kind: "garden file changed", begin: func(s *scene, _ Mishap) { s.c.reload() },
		Safe: "taken over while every line is closed, or not at all; a looser limit waits a day", Recovery: "none needed"},
	{kind: "heat wave", begin: func(*scene, Mishap) {}, prepare: func(s *Script, _ *Mishap) { s.Weather, s.Month, s.Day = "heat", time.July, 0 },
		Safe: "watered as the pots dry, within the day's limit", Recovery: "none needed"},
	{kind: "ten days of rain", begin: func(*scene, Mishap) {}, prepare: func(s *Script, _ *Mishap) { s.Weather, s.Days = "rain", max(s.Days, 12) },
		Safe: "watered as the pots dry, within the day's limit", Recovery: "none needed"},
}

// remotely hangs the mishap's pot on a broker.
func remotely(s *Script, m *Mishap) {
	p := &s.Pots[m.Pot]
	p.Fed, p.Latch, p.Remote, s.Pump = false, false, true, false
}

// daylight is a change of civil time in the garden's zone, on the second day.
func daylight(kind MishapKind, month time.Month, day int) mishapType {
	return mishapType{kind: kind, begin: func(*scene, Mishap) {},
		prepare: func(s *Script, m *Mishap) {
			s.Month, s.Day, s.Hours = month, day, true
			m.At = 24 * time.Hour
		},
		Safe: "hours go by the clock on the wall, deadlines and rests by the monotonic clock", Recovery: "none needed"}
}

// opening calls f a little after the mishap's line opens next.
func (s *scene) opening(f func()) {
	clock := s.b.Clock
	s.c.w.opens[s.line] = append(s.c.w.opens[s.line], func() { clock.At(clock.Now()+intoPulse, f) })
}

// swap confuses the first probes of the mishap's pot and the next.
func (s *scene) swap() {
	pots := s.c.g.Pots
	a, b := pots[s.zone].Zones[0].Probes[0].ID, pots[(s.zone+1)%len(pots)].Zones[0].Probes[0].ID
	s.b.Wires.Swap(a, b)
}

// node is the mishap's remote valve.
func (s *scene) node() *farNode {
	if s.c.far == nil {
		return nil
	}
	for _, n := range s.c.far.nodes {
		if n.line == s.line {
			return n
		}
	}
	return nil
}

// loseBroker takes the broker away when the mishap's line opens next, for a time.
func (s *scene) loseBroker(onlyGateway bool) {
	far := s.c.far
	if far == nil {
		return
	}
	s.opening(func() {
		far.lose(onlyGateway)
		far.clock.At(far.clock.Now()+brokerGone, far.restore)
	})
}

// hang has no round of the present gateway end any more. After its patience the
// supervisor kills it; the course starts the next.
func (c *course) hang() {
	b := c.b
	if b.gone || b.hung {
		return
	}
	b.hung = true
	if c.tr.hangs {
		b.Clock.Cancel(b.deadline)
	}
	b.Clock.At(b.Clock.Now()+patience, func() { c.bitten = c.bitten || !b.gone })
}

// intrude starts a second gateway on the same board: one that is started as the
// first was, and one that was told another control socket.
func (c *course) intrude() {
	if c.b.gone {
		return // there is no first
	}
	c.lock.intrude(c.w)
	calls := func() (n uint64) {
		for i := range c.g.Lines {
			n += c.b.Wires.Pin(c.g.Lines[i].ID).Calls()
		}
		return n
	}
	before, opts := calls(), c.opts
	opts.World, opts.Journal, opts.History = c.b, newMemBook(c.w), nil
	if c.tr.hasty != nil {
		c.tr.hasty(c.b)
	}
	switch _, err := NewBench(c.g, opts); {
	case err == nil:
		c.w.fault("a second gateway runs on the same board")
	case !errors.Is(err, bench.ErrTaken):
		c.w.fault("a second gateway was refused for another reason: %v", err)
	case calls() != before:
		c.w.fault("a second gateway drove a line before it was refused")
	}
}

// reload changes the garden file under the running gateway: bigger plants, which
// loosens limits. It is offered once a minute until it is taken, and never taken
// while a line is open; one that makes another line of it is refused.
func (c *course) reload() {
	s := *c.s
	s.Pots = append([]ScriptPot(nil), s.Pots...)
	for i := range s.Pots {
		s.Pots[i].CanopyM2 = float64(int(s.Pots[i].CanopyM2*150)) / 100
	}
	other := s
	other.Pots = append([]ScriptPot(nil), s.Pots...)
	other.Pots[0].Emitters++
	other.SupplyL += 2
	var again, refused func()
	refused = func() {
		if c.b.gone || c.b.hung {
			return
		}
		open := c.anyOpen()
		var wait runner.NotNow
		switch err := c.offer(&other); {
		case err == nil:
			c.w.fault("a garden file with another line was taken over")
		case !errors.As(err, &wait):
			again()
		case !open && !c.mayWait(wait):
			c.w.fault("a garden file with another line was not refused: %v", err)
		default: // it is not even looked at
			c.b.Clock.At(c.b.Clock.Now()+time.Minute, refused)
		}
	}
	again = func() {
		if c.b.gone || c.b.hung {
			return
		}
		open := c.anyOpen()
		err := c.offer(&s)
		var wait runner.NotNow
		switch {
		case err == nil && open:
			c.w.fault("another garden file was taken over while a line was open")
		case err == nil:
			c.taken(&s)
		case errors.As(err, &wait):
			c.b.Clock.At(c.b.Clock.Now()+time.Minute, again)
		default:
			c.w.fault("another garden file was refused: %v", err)
		}
	}
	refused()
}

// mayWait reports whether a garden file has to wait though every line is closed: a
// feed between two pulses, or a line of which the gateway can't know.
func (c *course) mayWait(n runner.NotNow) bool {
	if errors.Is(n.Why, feeding.ErrFeeding) {
		return c.book.feedUnderWay()
	}
	for _, id := range n.Open {
		if s := c.w.line(id); s != nil && (s.pinBad || s.l.Valve.Kind == garden.RemoteValve) {
			return true
		}
	}
	return false
}

func (c *course) anyOpen() bool {
	for i := range c.w.lines {
		if c.w.lines[i].on {
			return true
		}
	}
	return false
}

// offer hands a script's garden to the running gateway.
func (c *course) offer(s *Script) error {
	g, err := s.garden()
	if err != nil {
		return err
	}
	g = c.b.Played(g)
	if c.tr.offered != nil {
		g = c.tr.offered(g)
	}
	plan, _, err := control.NewPlan(g)
	if err != nil {
		return err
	}
	feeds, err := feeding.NewPlan(g, plan)
	if err != nil {
		return err
	}
	return c.b.Loop.Reload(c.b.Moment(), runner.Reloaded{Garden: g, Plan: plan, Feeding: feeds,
		Limits: valves.Options{PeakNeedL: plan.PeakNeedsL(), DryFillL: plan.DryFillsL()}, What: "bigger plants"})
}

// taken has the next life begin with the new file, and the witness allow its
// looser limits from a day later on.
func (c *course) taken(s *Script) {
	g, err := s.garden()
	if err != nil {
		c.w.fault("%v", err)
		return
	}
	caps, err := capsOf(g)
	if err != nil {
		c.w.fault("%v", err)
		return
	}
	c.g = g
	if c.tr.garden != nil {
		c.g = c.tr.garden(g)
	}
	for i := range c.w.lines {
		l := &c.w.lines[i]
		l.nextCapL, l.nextFrom = caps[l.l.ID], c.b.Clock.Now()+24*time.Hour
		l.capL = min(l.capL, l.nextCapL)
	}
}
