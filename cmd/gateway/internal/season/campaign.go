package season

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/alarm"
	"fabricpot/control/garden"
	"fabricpot/sim/bench"
	"fabricpot/sim/terrace"
	"fabricpot/valves"

	"periph.io/x/conn/v3/gpio"
)

// Outcome is what came of one script.
type Outcome struct {
	Script Script `json:"script"`
	// Violations are broken invariants, with the time since the start.
	Violations []string `json:"violations,omitempty"`
	// Alarms that rose, and whether the expected one was among them in time.
	Alarms []SeenAlarm `json:"alarms,omitempty"`
	// Expected tells that an alarm was promised, DetectedS after how long it came, of
	// stray water after how long with every line closed (negative: it did not).
	Expected  bool    `json:"expected"`
	DetectedS float64 `json:"detected_s"`
	// Unjudged tells that water was asked of what is at fault and that the promise was
	// not put to the test all the same: its line never ran alone where one meter must
	// tell its flow from that of others, or the run or the fault ended first.
	Unjudged bool    `json:"unjudged,omitempty"`
	Orders   int     `json:"orders"`
	Feeds    int     `json:"feeds"`
	Hours    float64 `json:"hours"`
	Deaths   int     `json:"deaths"`
	// LostShare is the worst share of transpiration a watered pot lost.
	LostShare float64 `json:"lost_share"`
}

// SeenAlarm is an alarm that rose.
type SeenAlarm struct {
	AtH     float64 `json:"at_h"`
	Name    string  `json:"name"`
	Subject string  `json:"about,omitempty"`
	Text    string  `json:"text"`
	kind    alarm.Kind
	at      time.Duration
	// beside are those that stood when it rose and for besideFor after.
	beside []string
}

// besideFor is how long an alarm may outlast another that takes its place.
const besideFor = 5 * time.Minute

// tricks break the gateway on purpose, to see that the campaign notices. Only
// tests set them.
type tricks struct {
	garden func(*garden.Garden) *garden.Garden // what plan and guard believe
	coil   func(*bench.Pin) gpio.PinOut
	wrap   func(*Options)
	// far breaks the far end of the broker.
	far func(*farEnd)
	// hangs has the guard's goroutine hang with the loop.
	hangs bool
	begun func(*Bench)
	// unlocked has the gateway hold no control socket.
	unlocked bool
	// hasty is what a second gateway does before it asks for the outputs.
	hasty func(*Bench)
	// offered is what the gateway takes a garden file for that it is offered.
	offered func(*garden.Garden) *garden.Garden
}

// Play runs one script on the event clock.
func Play(s Script) (Outcome, error) { return play(s, tricks{}) }

func play(s Script, tr tricks) (Outcome, error) {
	g, err := s.garden()
	if err != nil {
		return Outcome{}, err
	}
	opts := Options{Seed: s.Seed, Start: s.start, Weather: s.weather(), Terrace: terrace.DefaultOptions(s.Seed, nil)}
	opts.Terrace.StartSuctionCM = 10
	opts.Terrace.TankRefillLPH = 0
	caps, err := capsOf(g)
	if err != nil {
		return Outcome{}, err
	}
	w := newWitness(g, caps)
	book := newMemBook(w)
	opts.Journal, opts.History, opts.Tell = book, book, w
	opts.sampler = func(sm runner.Sampler) runner.Sampler { return senseWitness{sm, w} }
	opts.Coil = tr.coil
	if tr.wrap != nil {
		tr.wrap(&opts)
	}
	c := &course{s: &s, w: w, book: book, opts: opts, g: g, tr: tr}
	book.tend(g, s.start)
	w.untrue, w.miscounted, w.unseen = c.untrue, c.miscounted, c.unseen
	w.bench = func() *Bench { return c.b }
	w.unreachable = func() bool { return c.far != nil && (c.far.away || c.far.cut) }
	for i := range s.Pots {
		if s.Pots[i].Remote {
			c.opts.far = c.farOf
		}
	}
	if tr.garden != nil {
		c.g = tr.garden(g)
	}
	if err := c.run(); err != nil {
		return Outcome{}, err
	}
	return c.outcome(), nil
}

// capsOf reckons the lines' caps once more, from a guard of its own that no
// trick reaches.
func capsOf(g *garden.Garden) (map[garden.LineID]float64, error) {
	b, err := NewBench(g, Options{Start: time.Date(2026, 6, 1, 0, 0, 0, 0, g.Site.Zone), Weather: Climate(1, time.Date(2026, 6, 1, 0, 0, 0, 0, g.Site.Zone), 2)})
	if err != nil {
		return nil, err
	}
	out := map[garden.LineID]float64{}
	lines, _ := b.Guard.Snapshot(garden.Moment{})
	for _, l := range lines {
		out[l.Line] = l.CapL
	}
	return out, nil
}

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

func (c *course) outcome() Outcome {
	o := Outcome{Script: *c.s, Violations: c.w.violations, Orders: c.w.orders, Feeds: c.w.feeds, Hours: c.b.Clock.Now().Hours(), Deaths: c.deaths}
	for _, a := range c.w.raised {
		seen := SeenAlarm{AtH: a.At.Mono.Hours(), Name: a.Kind.String(), Subject: a.Subject, Text: a.Text, kind: a.Kind, at: a.At.Mono}
		for _, other := range c.w.raised {
			about := alarm.Cause{Kind: other.Kind, Subject: other.Subject}
			if other.At.Mono <= a.At.Mono && about != (alarm.Cause{Kind: a.Kind, Subject: a.Subject}) && c.w.stood(about, other.At.Mono, a.At.Mono+besideFor) {
				seen.beside = append(seen.beside, about.String())
			}
		}
		o.Alarms = append(o.Alarms, seen)
	}
	for i := range c.s.Pots {
		t := c.b.Terrace.Totals(i)
		if t.PotentialTranspirationL > 0 && !c.thirsty(i) {
			o.LostShare = max(o.LostShare, 1-t.TranspiredL/t.PotentialTranspirationL)
		}
	}
	if c.s.Mode == Single && len(c.s.Mishaps) == 1 {
		c.detect(&o)
	}
	if c.s.Mode != Several && o.LostShare > mostLost {
		o.Violations = append(o.Violations, fmt.Sprintf("a pot that could be watered lost %.0f %% of what its plants would have drunk", 100*o.LostShare))
	}
	return o
}

// mostLost is the share of transpiration over which a plant counts as not kept.
const mostLost = 0.25

// thirsty tells that a pot could not be watered.
func (c *course) thirsty(pot int) bool {
	for _, m := range c.s.Mishaps {
		if d := mishapOf(m.Kind); d.withoutWater && (d.everyPot || m.Pot == pot) {
			return true
		}
	}
	return false
}

// detect looks for the alarm a single mishap must raise.
func (c *course) detect(o *Outcome) {
	m := c.s.Mishaps[0]
	d := mishapOf(m.Kind)
	if len(c.staysOpen) > 0 {
		// Its line stays open: what it gives without an order is told, and no order
		// of it lacks flow.
		d.alarms, d.flowing = []alarm.Kind{alarm.FlowWithoutOrder}, false
	}
	// A pump's alarm comes before its line's, and must name it.
	byPump := c.s.Pump && slices.Contains(d.alarms, alarm.OrderWithoutFlow)
	o.DetectedS = -1
	if d.within == 0 || d.needsMeter && !c.s.Meter {
		return
	}
	from, end := m.At, c.b.Clock.Now()
	if d.flowing {
		from = -1
		// One meter tells what runs in all: where others run too, whose water is
		// missing is a guess, and such an order does not begin the promise's time.
		byFlow := d.needsMeter && !d.everyPot && m.Kind != "meter dead" && d.alarms[0] != alarm.FlowWithoutOrder
		for i := range c.w.lines {
			if !d.everyPot && m.Kind != "meter dead" && i != m.Pot {
				continue
			}
			for _, at := range c.w.lines[i].asked {
				if at < m.At {
					continue
				}
				o.Unjudged = true
				if from >= 0 && at >= from || byFlow && !c.w.alone(i, at) {
					continue
				}
				from = at
			}
		}
		if from < 0 {
			return // nothing was asked of it, or never of it alone
		}
	}
	if d.shows != nil {
		if from = d.shows(c, m); from < 0 {
			return
		}
	}
	waited := func(until time.Duration) time.Duration { return until - from }
	if !d.flowing && d.alarms[0] == alarm.FlowWithoutOrder {
		// What runs while a line is open is no stray water yet, not even out of the
		// valve that will not close.
		waited = func(until time.Duration) time.Duration { return until - from - c.w.openFor(from, until) }
	}
	if waited(end) < d.within {
		return // the run ended first
	}
	if over := m.At + m.For; m.For > 0 && d.flowing && from < over && over < from+d.within {
		return // and here what was at fault
	}
	o.Unjudged = false
	o.Expected = true
	for _, a := range o.Alarms {
		named := byPump && a.kind == alarm.PumpDry && (d.everyPot || m.Kind == "meter dead" || strings.Contains(a.Text, string(c.g.Lines[m.Pot].ID)))
		if a.at < m.At || !named && !slices.Contains(d.alarms, a.kind) {
			continue
		}
		if after := waited(a.at).Seconds(); o.DetectedS < 0 || after < o.DetectedS {
			o.DetectedS = max(0, after)
		}
	}
	if o.DetectedS < 0 || o.DetectedS > d.within.Seconds() {
		o.Violations = append(o.Violations, fmt.Sprintf("%s: no alarm of its kind within %v (came after %.0f s)", m.Kind, d.within, o.DetectedS))
	}
}

var _ valves.Ledger = (*memBook)(nil)
