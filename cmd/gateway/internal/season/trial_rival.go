package season

import (
	"context"
	"fmt"
	"time"

	"fabricpot/control"
	"fabricpot/control/garden"
	"fabricpot/sensors"
	"fabricpot/sensors/ads1115"
	"fabricpot/sim/bench"
	"fabricpot/sim/policy"
	"fabricpot/sim/terrace"
	"fabricpot/valves"
)

// rivalTick is how often a policy that reads no probe looks at the clock.
const rivalTick = 5 * time.Minute

// rig runs a rival on the same terrace, wires, drivers and guard as the gateway.
type rig struct {
	w       *trialWorld
	soil    *terrace.Terrace
	clock   *bench.Clock
	wires   *bench.Bench
	guard   *valves.Guard
	sampler *sensors.Sampler
	rival   policy.Policy
	every   time.Duration

	sight    policy.Sight
	orders   policy.Orders
	next     garden.OrderID
	deadline bench.Event
	armed    bool
	dark     bool // the box that runs it has no power
	tapDry   bool // no water to fill a can with
	ended    []garden.Delivery
	refused  []garden.Refusal
	err      error
}

func (w *trialWorld) rival(ctx context.Context, name string) (TrialRun, error) {
	p, ok := policy.New(name, w.ref.facts)
	if !ok {
		return TrialRun{}, fmt.Errorf("no policy of that name")
	}
	if w.c.Fed {
		meals, err := w.meals()
		if err != nil {
			return TrialRun{}, err
		}
		p = policy.Fed(p, w.ref.facts, meals)
	}
	r, err := newRig(w, p)
	if err != nil {
		return TrialRun{}, err
	}
	watch := newTrialWatch(w, r.soil)
	w.arm(stage{clock: r.clock, soil: r.soil, wires: r.wires, dark: r.powerCut, tap: func(dry bool) { r.tapDry = dry }})
	r.clock.At(0, r.tick)
	watch.drive(func(t time.Duration) {
		if ctx.Err() == nil && r.err == nil {
			r.clock.RunUntil(t)
		}
	})
	if err := ctx.Err(); err != nil {
		return TrialRun{}, err
	}
	r.guard.Seal(r.moment())
	return watch.figures(r.wires), r.err
}

func newRig(w *trialWorld, p policy.Policy) (*rig, error) {
	r := &rig{w: w, rival: p, clock: bench.NewClock(0), every: rivalTick, next: 1}
	var err error
	if r.soil, err = terrace.New(w.g, w.start, w.terraceOptions()); err != nil {
		return nil, err
	}
	if r.wires, err = bench.New(w.g, r.soil, r.clock, w.c.benchOptions(w.seed)); err != nil {
		return nil, err
	}
	// The same caps as the gateway's: nobody may flood the terrace.
	plan, _, err := control.NewPlan(w.g)
	if err != nil {
		return nil, err
	}
	act := map[garden.LineID]valves.Actuator{}
	for _, l := range w.g.Lines {
		act[l.ID] = valves.NewCoil(r.wires.Pin(l.ID), l.Valve.ActiveLow)
	}
	if r.guard, err = valves.NewGuard(w.g, act, noLedger{}, valves.Options{PeakNeedL: plan.PeakNeedsL(), DryFillL: plan.DryFillsL()}); err != nil {
		return nil, err
	}
	if policy.Probes(p) {
		r.every = w.g.SampleEvery
		open := func(in garden.Input) (sensors.VoltReader, error) {
			return ads1115.New(r.wires.BusNamed(in.Bus), in.Addr, r.clock, ads1115.Opts{})
		}
		if r.sampler, err = sensors.NewSampler(w.g, open, sensors.Options{TempC: r.wires.ProbeTempC}); err != nil {
			return nil, err
		}
	}
	r.sight.DrainedL, r.sight.HungHours = make([]float64, r.soil.Zones()), make([]float64, r.soil.Zones())
	r.guard.CloseAll(r.moment())
	return r, nil
}

func (r *rig) moment() garden.Moment {
	now := r.clock.Now()
	return garden.Moment{Mono: now, Wall: r.w.start.Add(now), Synced: true}
}

func (r *rig) tick() {
	begun := r.clock.Now()
	r.wires.Advance()
	sky := r.soil.Weather()
	r.clock.At(begun+r.every, r.tick)
	if r.dark {
		return
	}
	r.endPulses()
	s := &r.sight
	if r.sampler != nil {
		s.Readings = r.sampler.Sample(r.moment(), s.Readings[:0])
	}
	s.Now, s.RainMM = r.moment(), sky.RainMM.Or(0)
	for z := range s.DrainedL {
		t := r.soil.Totals(z)
		s.DrainedL[z], s.HungHours[z] = t.DrainedL, t.HoursStressed
	}
	s.Delivered, s.Refused = append(s.Delivered[:0], r.ended...), append(s.Refused[:0], r.refused...)
	r.ended, r.refused = r.ended[:0], r.refused[:0]
	r.orders.Reset()
	r.rival.Step(s, &r.orders)
	r.obey(sky)
	r.arm()
}

// obey does what the policy wants, as far as the guard lets it.
func (r *rig) obey(sky garden.WeatherNow) {
	now := r.moment()
	for _, id := range r.orders.Stop {
		if d, ended := r.guard.Stop(now, id); ended {
			r.ended = append(r.ended, d)
		}
	}
	for _, o := range r.orders.Water {
		o.ID = r.next
		r.next++
		if no, opened := r.guard.Request(now, valves.Env{AirC: sky.TempC}, o); !opened {
			r.refused = append(r.refused, no)
		}
	}
	for _, p := range r.orders.Pour {
		if !r.tapDry {
			r.soil.PourFeedByHand(p.Zone, p.Litres, p.NMgL)
		}
	}
	if err := r.guard.Flush(); err != nil && r.err == nil {
		r.err = err
	}
}

func (r *rig) endPulses() { r.ended = append(r.ended, r.guard.Advance(r.moment())...) }

func (r *rig) arm() {
	if r.armed {
		r.clock.Cancel(r.deadline)
		r.armed = false
	}
	if at, ok := r.guard.NextDeadline(); ok {
		r.deadline = r.clock.At(at, func() {
			r.armed = false
			r.endPulses()
			r.arm()
		})
		r.armed = true
	}
}

// powerCut takes power from what runs the policy, if anything does, or brings it
// back. Valves fall shut.
func (r *rig) powerCut(dark bool) {
	if policy.Person(r.rival) {
		return
	}
	r.dark = dark
	if dark {
		r.ended = append(r.ended, r.guard.CloseAll(r.moment())...)
		r.arm()
	}
}
