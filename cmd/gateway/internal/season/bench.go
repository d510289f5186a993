package season

import (
	"fmt"
	"time"

	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control"
	"fabricpot/control/feeding"
	"fabricpot/control/garden"
	"fabricpot/sensors"
	"fabricpot/sensors/ads1115"
	"fabricpot/sensors/iio"
	"fabricpot/sim/bench"
	"fabricpot/sim/terrace"
	"fabricpot/valves"

	"periph.io/x/conn/v3/gpio"
)

// Options choose a season.
type Options struct {
	// Seed makes it repeatable: one seed, one season, byte for byte.
	Seed uint64
	// Start is when it begins, in the garden's zone.
	Start time.Time
	// Weather must cover every day of it.
	Weather []garden.DayWeather
	// Terrace and Bench choose how the simulated world errs; their seeds are
	// taken from Seed.
	Terrace terrace.Options
	Bench   bench.Options
	// Like is an earlier plan of this garden that saves making its tables anew, or nil.
	Like *control.Plan
	// Journal and Tell may be nil.
	Journal     runner.Recorder
	History     runner.History
	JournalPath string
	Tell        runner.Teller
	// Far is what hangs on a broker; with none the bench plays that as well.
	Far runner.Far
	// World is a bench whose gateway is gone and whose terrace, wiring and clock
	// go on under a new one; nil makes a world of its own.
	World *Bench
	// SinceBoot is how long the board has been up.
	SinceBoot time.Duration
	// StandIn has the person of the simulation bring water too that the list of
	// work asks for where a line brings none; without, a fault meets nobody.
	StandIn bool
	// Coil, where given, stands between the gateway and each of its pins.
	Coil func(*bench.Pin) gpio.PinOut
	// far, where given, makes Far once the world is there.
	far func(*Bench) (runner.Far, error)
	// sampler, where given, stands between the drivers and the loop.
	sampler func(runner.Sampler) runner.Sampler
	// Watched publishes Status after each tick.
	Watched bool
}

// Bench is a garden wired to the simulator.
type Bench struct {
	Garden  *garden.Garden
	Plan    *control.Plan
	State   *control.State
	Loop    *runner.Loop
	Guard   *valves.Guard
	Clock   *bench.Clock
	Terrace *terrace.Terrace
	Wires   *bench.Bench

	start    time.Time
	round    func() // tick
	due      func() // what is to be done at a deadline
	deadline bench.Event
	armed    bool
	account  account
	gardener gardener
	remote   []remoteLine
	far      bool // devices hang on a broker
	water    gauges
	times    *runner.ReadTimes
	gone     bool          // see Die
	hung     bool          // its rounds go on no more; the guard's goroutine does
	free     func()        // gives the outputs back
	skew     time.Duration // how far civil time is off
	unsynced bool
}

// NewBench wires g to a simulated terrace. It opens nothing.
func NewBench(g *garden.Garden, o Options) (_ *Bench, err error) {
	whole := wired(g)
	if o.Far == nil && o.far == nil {
		g = whole
	}
	plan, _, err := control.NewPlanLike(o.Like, g)
	if err != nil {
		return nil, err
	}
	feeds, err := feeding.NewPlan(g, plan)
	if err != nil {
		return nil, err
	}
	b := &Bench{Garden: g, Plan: plan, State: plan.NewState(), start: o.Start, far: o.Far != nil || o.far != nil}
	if err := b.settle(whole, o); err != nil {
		return nil, err
	}
	if b.free, err = b.Wires.Claim(); err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			b.free()
		}
	}()
	if o.far != nil {
		if o.Far, err = o.far(b); err != nil {
			return nil, err
		}
	}
	soil := b.Terrace
	act := make(map[garden.LineID]valves.Actuator, len(g.Lines))
	for _, l := range g.Lines {
		if act[l.ID], err = b.wire(&l, o.coil); err != nil {
			return nil, err
		}
		if pin := b.Wires.InjectorPin(l.ID); pin != nil {
			strength := feeds.Strength(l.ID)
			pin.Watch(func(e bench.PinEvent) {
				if e.Energised {
					soil.SetFeed(l.ID, strength)
				} else {
					soil.SetFeed(l.ID, 0)
				}
			})
			act[l.ID] = valves.WithInjector(act[l.ID], valves.NewCoil(o.coil(pin), l.Injector.ActiveLow))
		}
		if l.Valve.Kind == garden.RemoteValve {
			act[l.ID] = o.Far.Valve(l.ID)
			b.remote = append(b.remote, remoteLine{id: l.ID, act: act[l.ID]})
		}
	}
	b.behindPump(act, o.coil)
	var ledger valves.Ledger = noLedger{}
	if o.Journal != nil {
		ledger = o.Journal
	}
	if b.Guard, err = valves.NewGuard(g, act, ledger, valves.Options{PeakNeedL: plan.PeakNeedsL(), DryFillL: plan.DryFillsL()}); err != nil {
		return nil, err
	}
	if o.Watched {
		b.times = runner.NewReadTimes(b.Clock.Now)
	}
	sampler, weather, err := b.senses(g, &sky{soil: soil, rows: o.Weather, gauged: g.Rain.Fitted}, o.Far)
	if err != nil {
		return nil, err
	}
	if o.sampler != nil {
		sampler = o.sampler(sampler)
	}
	kept, _ := o.Journal.(runner.FeedJournal)
	water, err := b.gauges(o.Seed)
	if err != nil {
		return nil, err
	}
	b.Loop, err = runner.New(runner.Parts{
		Feeding: feeds, FeedJournal: kept,
		Garden: g, Plan: plan, State: b.State, Sampler: sampler, Guard: b.Guard,
		Gauges: water, ReadTimes: b.times, SinceBoot: o.SinceBoot,
		Sky: weather, Far: o.Far, Journal: o.Journal, History: o.History, JournalPath: o.JournalPath, Tell: o.Tell,
	})
	if err != nil {
		return nil, err
	}
	if !o.Watched {
		b.Loop.Quiet()
	}
	b.account = newAccount(b)
	// Made once: each tick asks for them again.
	b.round, b.due = b.tick, b.endPulses
	return b, nil
}

// settle makes the world around a gateway, or takes over the one that is there.
func (b *Bench) settle(whole *garden.Garden, o Options) (err error) {
	if w := o.World; w != nil {
		b.Terrace, b.Clock, b.Wires, b.start = w.Terrace, w.Clock, w.Wires, w.start
		b.skew, b.unsynced, b.gardener, b.water = w.skew, w.unsynced, w.gardener, w.water
		return nil
	}
	if fed(whole) && o.Terrace.Nitrogen == nil {
		o.Terrace.Nitrogen = &terrace.Nitrogen{}
	}
	o.Terrace.Seed, o.Terrace.Weather = o.Seed, o.Weather
	o.Bench.Seed = o.Seed ^ 0xbe7c
	if o.Terrace.ETo == nil {
		o.Terrace.ETo = penman(whole.Site)
	}
	if b.Terrace, err = terrace.New(whole, o.Start, o.Terrace); err != nil {
		return fmt.Errorf("terrace: %w", err)
	}
	b.Clock = bench.NewClock(0)
	b.gardener = newGardener(whole)
	b.gardener.standIn = o.StandIn
	b.Wires, err = bench.New(whole, b.Terrace, b.Clock, o.Bench)
	return err
}

func (o *Options) coil(p *bench.Pin) gpio.PinOut {
	if o.Coil == nil {
		return p
	}
	return o.Coil(p)
}

// Die stops the gateway as a power cut or a kill does: nothing of it runs any
// more, and pins and terrace stay as they are. Release, as most driver stages
// do when their board goes dark, lets the coils fall.
func (b *Bench) Die(release bool) {
	b.gone = true
	b.free()
	if b.armed {
		b.Clock.Cancel(b.deadline)
	}
	for i := range b.Garden.Lines {
		l := &b.Garden.Lines[i]
		if !release {
			continue
		}
		// A latch stays as it is, and a valve on a broker has a board of its own.
		if l.Valve.Latch == nil && l.Valve.Kind != garden.RemoteValve {
			_ = b.Wires.Pin(l.ID).Out(gpio.Level(l.Valve.ActiveLow))
		}
		if dose := b.Wires.InjectorPin(l.ID); dose != nil {
			_ = dose.Out(gpio.Level(l.Injector.ActiveLow))
		}
	}
	if p := b.Wires.PumpPin(); p != nil && release {
		_ = p.Out(gpio.Level(b.Garden.Supply.Pump.ActiveLow))
	}
	b.Wires.Advance()
}

// senses are what the loop reads.
func (b *Bench) senses(g *garden.Garden, weather runner.Sky, far runner.Far) (runner.Sampler, runner.Sky, error) {
	wired := func(g *garden.Garden, numbers []int) (runner.Sampler, error) {
		warmth, err := b.warmth(g, numbers)
		if err != nil {
			return nil, err
		}
		return sensors.NewSampler(g, b.times.Wrap(b.OpenInput()), sensors.Options{TempC: warmth})
	}
	if far == nil {
		s, err := wired(g, nil)
		return s, weather, err
	}
	s, err := far.Sampler(g, wired)
	return s, far.Sky(weather), err
}

// OpenInput opens the real converter driver on the bench's bus.
func (b *Bench) OpenInput() func(garden.Input) (sensors.VoltReader, error) {
	return func(in garden.Input) (sensors.VoltReader, error) {
		if name, ok := in.Kernel(); ok {
			return iio.New(b.Wires.IIO(), name)
		}
		return ads1115.New(b.Wires.BusNamed(in.Bus), in.Addr, b.Clock, ads1115.Opts{})
	}
}

// noLedger is the journal of a simulation that keeps none.
type noLedger struct{}

func (noLedger) Intend(garden.Order, float64, garden.Moment) error { return nil }
func (noLedger) Raise(garden.OrderID, float64) error               { return nil }
func (noLedger) Settle(garden.Delivery) error                      { return nil }

// Moment is the present of the event clock.
func (b *Bench) Moment() garden.Moment {
	now := b.Clock.Now()
	return garden.Moment{Mono: now, Wall: b.start.Add(now + b.skew).In(b.Garden.Site.Zone), Synced: !b.unsynced}
}

// Begin closes every line and arms the first tick.
func (b *Bench) Begin() error {
	err := b.Loop.Begin(b.Moment())
	b.Clock.At(b.Clock.Now(), b.round)
	return err
}

// RunTo lets time pass up to t.
func (b *Bench) RunTo(t time.Duration) { b.Clock.RunUntil(t) }

// End closes every line for good. On the event clock a close that does not
// confirm is tried again for ten seconds.
func (b *Bench) End() runner.CloseReport {
	rep := b.Loop.End(b.Moment())
	for patience := 0; len(rep.Unconfirmed) > 0 && patience < 200; patience++ {
		b.Clock.Sleep(50 * time.Millisecond)
		rep = b.Loop.End(b.Moment())
	}
	b.Loop.Remember(b.Moment())
	b.Wires.Advance()
	return rep
}

func (b *Bench) tick() {
	if b.gone || b.hung {
		return
	}
	begun := b.Clock.Now()
	b.Wires.Advance()
	b.account.hour(b)
	b.gardener.visit(b)
	b.Loop.Tick(b.Moment())
	// Sampling takes a little time; the next tick keeps to the grid.
	b.Clock.At(begun+b.Garden.SampleEvery, b.round)
	b.arm()
}

// arm has the guard look at its next deadline exactly when that comes, as its
// own goroutine does on a board within 50 ms.
func (b *Bench) arm() {
	if b.armed {
		b.Clock.Cancel(b.deadline)
		b.armed = false
	}
	if at, ok := b.Loop.NextDeadline(); ok {
		if b.metered() {
			at = min(at, b.Clock.Now()+meterEvery)
		}
		b.deadline = b.Clock.At(at, b.due)
		b.armed = true
	}
}

func (b *Bench) endPulses() {
	b.armed = false
	if b.gone {
		return
	}
	b.Loop.EndPulses(b.Moment())
	b.arm()
}
