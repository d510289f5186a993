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
	"fabricpot/sim/bench"
	"fabricpot/sim/terrace"
	"fabricpot/valves"
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
	// Journal and Tell may be nil.
	Journal     runner.Recorder
	History     runner.History
	JournalPath string
	Tell        runner.Teller
	// Far is what hangs on a broker; with none the bench plays that as well.
	Far runner.Far
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
	deadline bench.Event
	armed    bool
	account  account
	gardener gardener
	remote   []remoteLine
}

// NewBench wires g to a simulated terrace. It opens nothing.
func NewBench(g *garden.Garden, o Options) (*Bench, error) {
	whole := wired(g)
	if o.Far == nil {
		g = whole
	}
	plan, _, err := control.NewPlan(g)
	if err != nil {
		return nil, err
	}
	feeds, err := feeding.NewPlan(g, plan)
	if err != nil {
		return nil, err
	}
	if feeds.Feeds() && o.Terrace.Nitrogen == nil {
		o.Terrace.Nitrogen = &terrace.Nitrogen{}
	}
	o.Terrace.Seed, o.Terrace.Weather = o.Seed, o.Weather
	o.Bench.Seed = o.Seed ^ 0xbe7c
	if o.Terrace.ETo == nil {
		o.Terrace.ETo = penman(g.Site)
	}
	soil, err := terrace.New(whole, o.Start, o.Terrace)
	if err != nil {
		return nil, fmt.Errorf("terrace: %w", err)
	}
	b := &Bench{Garden: g, Plan: plan, State: plan.NewState(), Terrace: soil, Clock: bench.NewClock(0), start: o.Start}
	if b.Wires, err = bench.New(whole, soil, b.Clock, o.Bench); err != nil {
		return nil, err
	}
	act := make(map[garden.LineID]valves.Actuator, len(g.Lines))
	peak := make(map[garden.LineID]float64, len(g.Lines))
	for i, l := range g.Lines {
		act[l.ID] = valves.NewCoil(b.Wires.Pin(l.ID), l.Valve.ActiveLow)
		if pin := b.Wires.InjectorPin(l.ID); pin != nil {
			strength := feeds.Strength(l.ID)
			pin.Watch(func(e bench.PinEvent) {
				if e.Energised {
					soil.SetFeed(l.ID, strength)
				} else {
					soil.SetFeed(l.ID, 0)
				}
			})
			act[l.ID] = valves.WithInjector(act[l.ID], valves.NewCoil(pin, l.Injector.ActiveLow))
		}
		if l.Valve.Kind == garden.RemoteValve {
			act[l.ID] = o.Far.Valve(l.ID)
			b.remote = append(b.remote, remoteLine{id: l.ID, act: act[l.ID]})
		}
		peak[l.ID] = plan.Lines()[i].PeakDailyL
	}
	var ledger valves.Ledger = noLedger{}
	if o.Journal != nil {
		ledger = o.Journal
	}
	if b.Guard, err = valves.NewGuard(g, act, ledger, valves.Options{PeakNeedL: peak}); err != nil {
		return nil, err
	}
	sampler, weather, err := b.senses(g, &sky{soil: soil, rows: o.Weather}, o.Far)
	if err != nil {
		return nil, err
	}
	kept, _ := o.Journal.(runner.FeedJournal)
	b.Loop, err = runner.New(runner.Parts{
		Feeding: feeds, FeedJournal: kept,
		Garden: g, Plan: plan, State: b.State, Sampler: sampler, Guard: b.Guard,
		Sky: weather, Far: o.Far, Journal: o.Journal, History: o.History, JournalPath: o.JournalPath, Tell: o.Tell,
	})
	if err != nil {
		return nil, err
	}
	if !o.Watched {
		b.Loop.Quiet()
	}
	b.account = newAccount(b)
	b.gardener = newGardener(g)
	return b, nil
}

// senses are what the loop reads.
func (b *Bench) senses(g *garden.Garden, weather runner.Sky, far runner.Far) (runner.Sampler, runner.Sky, error) {
	if far == nil {
		s, err := sensors.NewSampler(g, b.OpenInput(), sensors.Options{TempC: b.Wires.ProbeTempC})
		return s, weather, err
	}
	s, err := far.Sampler(g, func(g *garden.Garden, numbers []int) (runner.Sampler, error) {
		return sensors.NewSampler(g, b.OpenInput(), sensors.Options{TempC: func(i int) garden.Measured { return b.Wires.ProbeTempC(numbers[i]) }})
	})
	return s, far.Sky(weather), err
}

// OpenInput opens the real converter driver on the bench's bus.
func (b *Bench) OpenInput() func(garden.Input) (sensors.VoltReader, error) {
	return func(in garden.Input) (sensors.VoltReader, error) {
		return ads1115.New(b.Wires.BusNamed(in.Bus), in.Addr, b.Clock, ads1115.Opts{})
	}
}

// noLedger is the journal of a simulation that keeps none.
type noLedger struct{}

func (noLedger) Intend(garden.Order, float64, garden.Moment) error { return nil }
func (noLedger) Settle(garden.Delivery) error                      { return nil }

// Moment is the present of the event clock.
func (b *Bench) Moment() garden.Moment {
	now := b.Clock.Now()
	return garden.Moment{Mono: now, Wall: b.start.Add(now).In(b.Garden.Site.Zone), Synced: true}
}

// Begin closes every line and arms the first tick.
func (b *Bench) Begin() error {
	err := b.Loop.Begin(b.Moment())
	b.Clock.At(b.Clock.Now(), b.tick)
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
	b.Wires.Advance()
	return rep
}

func (b *Bench) tick() {
	begun := b.Clock.Now()
	b.Wires.Advance()
	b.account.hour(b)
	b.gardener.visit(b)
	b.Loop.Tick(b.Moment())
	// Sampling takes a little time; the next tick keeps to the grid.
	b.Clock.At(begun+b.Garden.SampleEvery, b.tick)
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
		b.deadline = b.Clock.At(at, func() {
			b.armed = false
			b.Loop.EndPulses(b.Moment())
			b.arm()
		})
		b.armed = true
	}
}
