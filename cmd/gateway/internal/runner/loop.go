package runner

import (
	"errors"
	"fmt"
	"sync"
	"sync/atomic"
	"time"

	"fabricpot/control"
	"fabricpot/control/garden"
	"fabricpot/sensors"
	"fabricpot/valves"
)

// Loop is one garden's assembly. One goroutine owns it and calls Begin, Tick,
// Ask, CloseAll and End; EndPulses alone may come from another.
type Loop struct {
	p      Parts
	word   clockWord
	silent bool // nobody is told and nothing is kept: skip the words

	obs    garden.Observed
	orders []garden.Order
	asks   []garden.Ask
	// shut is until when each zone is to be kept shut, on the monotonic clock.
	shut map[garden.ZoneID]time.Duration
	// pulsed is each line's last pulse of this run.
	pulsed map[garden.LineID]pulsed
	views  []control.ZoneView
	chips  []sensors.ChipStats
	ticks  uint64

	rained rained

	watch watch
	// waiting are the wishes of a tick that found no room.
	waiting []control.Waiting
	feeds   feeds

	// metered is looked at by EndPulses too, and never changes.
	metered bool
	gauged  gauged
	// beside tells that Drive reads the gauges in a goroutine of its own.
	beside bool
	// pause is what a reload that waits does to new waterings.
	pause hold

	// learned is what earlier runs learnt, learnedAt when what was learnt was last kept,
	// on Mono.
	learned   control.Memory
	learnedAt time.Duration
	limits    keptLimits
	broken    broken

	// noted tells that this start is in the journal, crashed that a part of the loop
	// panicked: such a stop is in no good order.
	noted   bool
	crashed atomic.Bool
	budget  budget
	bare    bare

	// ended collects deliveries from EndPulses until the next tick.
	mu    sync.Mutex
	ended []garden.Delivery

	status atomic.Pointer[Status]
	// wanted tells that somebody reads Status; building it costs a little.
	publish bool
}

// New assembles a loop. It touches no device.
func New(p Parts) (*Loop, error) {
	switch {
	case p.Garden == nil || p.Plan == nil || p.State == nil:
		return nil, errors.New("runner: a loop needs a garden, its plan and a state")
	case p.Sampler == nil || p.Guard == nil || p.Sky == nil:
		return nil, errors.New("runner: a loop needs a sampler, a guard and a sky")
	}
	l := &Loop{p: p, silent: p.Journal == nil && p.Tell == nil, publish: true, shut: map[garden.ZoneID]time.Duration{}, pulsed: map[garden.LineID]pulsed{}}
	if p.Journal == nil {
		l.p.Journal = nothingKept{}
	}
	if p.Tell == nil {
		l.p.Tell = nobody{}
	}
	l.watch = newWatch(p.Garden)
	l.metered = p.Gauges != nil && p.Garden.Supply.MeterPulsesPerL.Known
	return l, nil
}

// pulsed is a pulse that ended.
type pulsed struct {
	open time.Duration
	at   time.Time
}

// Quiet stops publishing Status, for simulations that nobody watches.
func (l *Loop) Quiet() { l.publish = false }

// Begin closes every line and confirms it, before anything else, and then
// charges what earlier runs gave or may have given. Lines that did not confirm
// are told of and stay shut while the loop goes on with the others; an error
// means that the past can't be read, and nothing may be opened on a guess.
func (l *Loop) Begin(now garden.Moment) error {
	l.keep(l.p.Guard.CloseAll(now))
	if open := l.unheard(l.p.Guard.Unconfirmed()); len(open) > 0 {
		l.p.Tell.Failed(now, "confirm every line closed",
			fmt.Errorf("not confirmed: %v; shut their hand valves and look at the wiring", open))
	}
	if l.p.History == nil {
		l.openFeeds(now)
		return nil
	}
	l.started(now) // first of all: whatever comes next may be what crashes
	defer func() {
		if !l.bare.on {
			l.openFeeds(now)
		}
	}()
	last, err := l.p.History.LastOrderID()
	if err != nil {
		return fmt.Errorf("runner: the journal's last order: %w", err)
	}
	unfinished, err := l.p.History.Unfinished()
	if err != nil {
		return fmt.Errorf("runner: the journal's unfinished intents: %w", err)
	}
	past, err := l.p.History.Recent(now)
	if err != nil {
		return fmt.Errorf("runner: the journal's deliveries of the last day: %w", err)
	}
	standing, err := l.p.History.Standing(now.Wall)
	if err != nil {
		return fmt.Errorf("runner: the journal's standing requests: %w", err)
	}
	l.p.State.NextOrder = max(l.p.State.NextOrder, last+1)
	known := make([]garden.Delivery, 0, len(past)+len(unfinished))
	for _, d := range past {
		known = append(known, d.Delivery)
	}
	limits := l.recallLimits(now)
	charged := l.p.Guard.Restore(now, l.p.SinceBoot, unfinished, past)
	for _, d := range charged {
		l.p.Tell.Ended(d)
	}
	if limits == nil {
		limits = l.lost(now)
	}
	if limits != nil {
		return limits
	}
	l.keepLimits(now)
	if known = append(known, charged...); l.bare.on {
		l.barely(now, known)
	} else {
		l.recall(now)
		l.p.Plan.Restore(l.p.State, now, known)
	}
	l.check(now, "settle what was unfinished", l.p.Guard.Flush())
	for _, a := range standing {
		// Never longer than it was asked for, whatever the clock says today.
		a.Until.Mono = now.Mono + min(a.Until.Mono, a.Until.Wall.Sub(now.Wall))
		l.obey(now, a)
	}
	return nil
}

// EndPulses reads the gauges and closes what is due. Another goroutine may call it.
// The gauges come first, since on an event clock nobody read them meanwhile. Where
// time is real Drive reads them beside, and a round waits for none: one that hangs
// would keep the program from ending.
func (l *Loop) EndPulses(now garden.Moment) {
	if !l.beside {
		l.count(now)
	}
	l.advance(now)
}

// advance closes what is due. It waits for no gauge and no card.
func (l *Loop) advance(now garden.Moment) {
	if out := l.p.Guard.Advance(now); len(out) > 0 {
		l.keep(out)
	}
}

// CloseAtOnce closes every line and lets none be opened any more. It touches no
// journal, and like EndPulses it may be called from another goroutine.
func (l *Loop) CloseAtOnce(now garden.Moment) { l.keep(l.p.Guard.SealOff(now)) }

// NextDeadline is when EndPulses has something to do, on the monotonic clock.
func (l *Loop) NextDeadline() (time.Duration, bool) { return l.p.Guard.NextDeadline() }

func (l *Loop) keep(d []garden.Delivery) {
	if len(d) == 0 {
		return
	}
	l.mu.Lock()
	l.ended = append(l.ended, d...)
	l.mu.Unlock()
}

// Ask hands in a request for the next tick. Keeping shut takes effect at once.
func (l *Loop) Ask(now garden.Moment, a garden.Ask) {
	l.obey(now, a)
	l.check(now, "keep a request", l.p.Journal.Asked(now, a))
	l.refresh(now)
}

// obey does at once what can't wait for the next tick, and hands the rest to it.
func (l *Loop) obey(now garden.Moment, a garden.Ask) {
	switch a.Kind {
	case garden.AskShut:
		l.eachZone(a.Zone, func(id garden.ZoneID) { l.shut[id] = a.Until.Mono })
		l.eachLine(a.Zone, func(id garden.LineID) { l.hold(now, id) })
	case garden.AskRelease:
		l.eachZone(a.Zone, func(id garden.ZoneID) { delete(l.shut, id) })
		l.eachLine(a.Zone, func(id garden.LineID) { l.hold(now, id) })
	case garden.AskAutoOff:
		l.switched(now, false)
	case garden.AskAutoOn:
		l.switched(now, true)
	}
	l.asks = append(l.asks, a)
}

// hold keeps a line shut as long as any of its zones is to be kept shut.
func (l *Loop) hold(now garden.Moment, id garden.LineID) {
	until := time.Duration(0)
	l.p.Garden.EachZone(func(_ *garden.Pot, z *garden.Zone) {
		if z.Line == id {
			until = max(until, l.shut[z.ID])
		}
	})
	if until <= now.Mono {
		l.p.Guard.Release(id)
		return
	}
	if d, ended := l.p.Guard.KeepShut(now, id, until); ended {
		l.keep([]garden.Delivery{d})
	}
}

// eachZone calls f with a zone, or with all where it is empty.
func (l *Loop) eachZone(zone garden.ZoneID, f func(garden.ZoneID)) {
	l.p.Garden.EachZone(func(_ *garden.Pot, z *garden.Zone) {
		if zone == "" || z.ID == zone {
			f(z.ID)
		}
	})
}

// eachLine calls f with the line of a zone, or with every line where the zone
// is empty. A line that waters several zones is kept shut with any of them:
// water for the one can't be told from water for the other.
func (l *Loop) eachLine(zone garden.ZoneID, f func(garden.LineID)) {
	if zone == "" {
		for i := range l.p.Garden.Lines {
			f(l.p.Garden.Lines[i].ID)
		}
		return
	}
	if _, z, ok := l.p.Garden.Zone(zone); ok && z.Line != "" {
		f(z.Line)
	}
}

// Tick does one round: sample, decide, act, record, tell.
func (l *Loop) Tick(now garden.Moment) {
	l.ticks++
	l.EndPulses(now)
	l.tryAgain(now)
	if l.bare.on {
		l.bareRound(now)
		return
	}
	l.obs.Readings = l.p.Sampler.Sample(now, l.obs.Readings[:0])
	l.p.Sky.Observe(now, &l.obs)
	l.gauge(now)
	l.takeEnded()
	l.obs.Asks = append(l.obs.Asks[:0], l.asks...)
	l.asks = l.asks[:0]

	l.feed(now)
	for i := range l.obs.Readings {
		l.p.Plan.Confuse(l.p.State, i, l.watch.pairs.Confused(i))
	}
	l.watch.spills(now, l.p.Plan, l.p.State)
	l.orders = l.p.Plan.Step(l.p.State, now, &l.obs, l.orders[:0])
	l.dose(now)
	l.obs.Refused = l.obs.Refused[:0]
	l.came(now)

	for _, s := range l.p.State.Stops() {
		if d, ended := l.p.Guard.Stop(now, s.Line); ended {
			l.keep([]garden.Delivery{d})
		}
	}
	env := l.env()
	l.requestFeeds(now, env)
	for _, o := range l.orders {
		if !l.heldBack(now, o) {
			l.request(now, env, o)
		}
	}
	l.check(now, "write what was delivered", l.p.Guard.Flush())
	l.memorise(now, false)
	l.keepLimits(now)
	l.unveil()
	l.observe(now)
	l.tellBroken(now)
}

// takeEnded moves what ended since the last tick into the observation.
func (l *Loop) takeEnded() {
	l.mu.Lock()
	l.obs.Delivered = append(l.obs.Delivered[:0], l.ended...)
	l.ended = l.ended[:0]
	l.mu.Unlock()
	if l.silent {
		return
	}
	for _, d := range l.obs.Delivered {
		l.pulsed[d.Line] = pulsed{open: d.Open, at: d.ClosedAt.Wall}
		l.p.Tell.Ended(d)
	}
}

func (l *Loop) request(now garden.Moment, env valves.Env, o garden.Order) {
	r, opened := l.p.Guard.Request(now, env, o)
	if !opened {
		l.obs.Refused = append(l.obs.Refused, r)
	}
	if l.silent {
		return
	}
	if opened {
		l.p.Tell.Opened(now, o)
		l.check(now, "keep a decision", l.p.Journal.Decided(now, o, garden.NotRefused, fmt.Sprintf("%.2f L: %s", o.Litres, o.Why)))
		return
	}
	l.p.Tell.Refused(now, o, r)
	l.check(now, "keep a decision", l.p.Journal.Decided(now, o, r.Cause, fmt.Sprintf("%.2f L refused: %s", o.Litres, o.Why)))
}

// env is what permit should know of the surroundings.
func (l *Loop) env() valves.Env {
	e := valves.Env{AirC: l.obs.Now.TempC, TankL: l.obs.TankL, AutoOff: l.p.State.AutoOff}
	for i := range l.obs.Readings {
		r := &l.obs.Readings[i]
		if r.TempC.Known && r.Quality != garden.Bad && (!e.MixC.Known || r.TempC.Value < e.MixC.Value) {
			e.MixC = r.TempC
		}
	}
	return e
}

// check reports a failure of something that must not stop the loop.
func (l *Loop) check(now garden.Moment, what string, err error) {
	l.watch.journal(err)
	if err != nil {
		l.p.Tell.Failed(now, what, err)
	}
}

// CloseAll closes every line and turns automatic control off, so that what a
// person closed stays closed until they say otherwise; survival doses go on.
func (l *Loop) CloseAll(now garden.Moment, who string) CloseReport {
	open := 0
	lines, _ := l.p.Guard.Snapshot(now)
	for _, s := range lines {
		if s.Open {
			open++
		}
	}
	l.keep(l.p.Guard.CloseAll(now))
	l.Ask(now, garden.Ask{Kind: garden.AskAutoOff, Who: who})
	rep := CloseReport{Lines: len(lines), Unconfirmed: l.p.Guard.Unconfirmed(), Interrupted: open}
	rep.Closed = rep.Lines - len(rep.Unconfirmed)
	return rep
}

// End closes every line for good and writes what is left to write. Call it
// again with a later moment while it reports unconfirmed lines and patience
// lasts.
func (l *Loop) End(now garden.Moment) CloseReport {
	l.keep(l.p.Guard.Seal(now))
	l.advance(now)
	l.takeEnded()
	l.check(now, "write what was delivered", l.p.Guard.Flush())
	l.stopped(now)
	rep := CloseReport{Lines: len(l.p.Garden.Lines), Unconfirmed: l.p.Guard.Unconfirmed(), Interrupted: len(l.obs.Delivered)}
	l.refresh(now)
	rep.Closed = rep.Lines - len(rep.Unconfirmed)
	return rep
}

// Remember keeps what was learnt; call it once, after the last End.
func (l *Loop) Remember(now garden.Moment) { l.memorise(now, true) }

// Status is the last published state, nil before the first tick. Any goroutine
// may call it.
func (l *Loop) Status() *Status { return l.status.Load() }
