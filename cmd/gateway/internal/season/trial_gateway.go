package season

import (
	"context"
	"strings"
	"time"

	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control"
	"fabricpot/control/alarm"
	"fabricpot/control/garden"
)

// gateway is the season of the real assembly.
func (w *trialWorld) gateway(ctx context.Context) (TrialRun, error) {
	o := Options{Seed: w.seed, Start: w.start, Weather: w.rows, Terrace: w.terraceOptions(), Bench: w.c.benchOptions(w.seed), StandIn: true}
	if w.c.Fault.water != 0 {
		o.Far = miscalibrated{by: w.c.Fault.water}
	}
	var broker *awayBroker
	if w.c.Fault.Kind == brokerAway {
		broker = &awayBroker{from: w.faultAt(), to: w.faultAt() + awayFor, zone: w.zoneID(w.ref.weakest), clock: func() time.Duration { return 0 }}
		o.Far = broker
	}
	var ear *alarmEar
	if w.c.Fault.Kind != noFault {
		ear = &alarmEar{w: w, after: w.faultAt()}
		o.Tell = ear
	}
	b, err := NewBench(w.g, o)
	if err != nil {
		return TrialRun{}, err
	}
	watch := newTrialWatch(w, b.Terrace)
	var failed error
	power := func(dark bool) {
		if dark {
			b.Die(true)
			return
		}
		// It comes back and remembers nothing, as if the card had been lost as
		// well: harsher than a restart with its journal.
		o.World = b
		next := uint64(b.State.NextOrder)
		if b, failed = NewBench(w.g, o); failed == nil {
			b.State.NextOrder = garden.OrderID(next)
			failed = b.Begin()
		}
	}
	if broker != nil {
		broker.clock = b.Clock.Now
	}
	w.arm(stage{clock: b.Clock, soil: b.Terrace, wires: b.Wires, dark: power, tap: func(bool) {}})
	if err := b.Begin(); err != nil {
		return TrialRun{}, err
	}
	clock, wires := b.Clock, b.Wires
	var feeds feedDiary
	if w.c.Fed {
		watch.daily = func() { feeds.look(b) }
	}
	watch.drive(func(t time.Duration) {
		if ctx.Err() == nil && failed == nil {
			clock.RunUntil(t)
		}
	})
	if err := ctx.Err(); err != nil {
		return TrialRun{}, err
	}
	if failed != nil {
		return TrialRun{}, failed
	}
	b.End()
	out := watch.figures(wires)
	if w.c.Fed {
		out.FeedsLateDays = &feeds.latest
	}
	if ear != nil {
		out.AlarmHours = ear.hours
	}
	return out, nil
}

// miscalibrated has the gateway read with curves that are off by so much water,
// while the probes stay what they are.
type miscalibrated struct {
	noFar
	by float64
}

func (m miscalibrated) Sampler(g *garden.Garden, wired runner.WiredSampler) (runner.Sampler, error) {
	wrong := *g
	wrong.Mixes = append([]garden.Mix(nil), g.Mixes...)
	for i := range wrong.Mixes {
		wrong.Mixes[i].Calibration.OffsetWater += m.by
	}
	return m.noFar.Sampler(&wrong, wired)
}

// feedDiary notes at midnight which feeds are overdue, and by how much.
type feedDiary struct{ latest float64 }

func (f *feedDiary) look(b *Bench) {
	book := b.Loop.Feeds()
	if book == nil {
		return
	}
	today := b.Moment().Wall
	b.Garden.EachZone(func(_ *garden.Pot, z *garden.Zone) {
		// A feed in hand has begun, whatever its due day.
		if v, ok := book.Zone(z.ID); ok && v.Fed && !v.Due.NextOn.IsZero() {
			f.latest = max(f.latest, today.Sub(v.Due.NextOn).Hours()/24)
		}
	})
}

// alarmEar waits for the first alarm about the pot with the fault.
type alarmEar struct {
	w     *trialWorld
	after time.Duration
	hours *float64
}

func (l *alarmEar) Alarmed(c alarm.Change) {
	if l.hours != nil || c.At.Mono < l.after || c.Event != alarm.Raised {
		return
	}
	zone := l.w.zoneID(l.w.ref.weakest)
	_, z, ok := l.w.g.Zone(zone)
	about := c.Subject == string(zone) || ok && c.Subject == string(z.Line) || strings.HasPrefix(c.Subject, string(zone)+"-")
	if c.Subject == "" || about {
		h := (c.At.Mono - l.after).Hours()
		l.hours = &h
	}
}

func (*alarmEar) Opened(garden.Moment, garden.Order)                  {}
func (*alarmEar) Ended(garden.Delivery)                               {}
func (*alarmEar) Refused(garden.Moment, garden.Order, garden.Refusal) {}
func (*alarmEar) Noticed(control.Event)                               {}
func (*alarmEar) Failed(now garden.Moment, what string, err error)    {}
