package runner

import (
	"context"
	"runtime"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"fabricpot/cmd/gateway/internal/config"
	"fabricpot/control"
	"fabricpot/control/alarm"
	"fabricpot/control/garden"
	"fabricpot/testdata"
	"fabricpot/valves"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio/gpiotest"
)

// snag holds up whoever comes to it once it is set.
type snag struct {
	set     atomic.Bool
	reached atomic.Bool
	freed   chan struct{}
}

func (s *snag) pass() {
	if s != nil && s.set.Load() {
		s.reached.Store(true)
		<-s.freed
	}
}

// slowParts is the example's loop in which every part can be made to hang.
type slowParts struct {
	loop   *Loop
	snags  map[string]*snag
	rounds atomic.Int64
}

type (
	hungSampler struct {
		s *snag
		p *slowParts
	}
	hungClock struct {
		testClock
		beat *snag
	}
	hungSky struct {
		Sky
		s *snag
	}
	hungRecorder struct {
		nothingKept
		samples, intend, asked *snag
	}
	hungValve struct {
		valves.Actuator
		open, closes *snag
	}
	hungGauges struct{ meter, tank *snag }
	hungTeller struct {
		nobody
		s *snag
	}
)

func (h hungSampler) Sample(now garden.Moment, out []garden.Reading) []garden.Reading {
	h.s.pass()
	h.p.rounds.Add(1)
	for _, p := range h.p.loop.p.Garden.ProbeList() {
		out = append(out, garden.Reading{Probe: p.ID, Zone: p.Zone, At: now})
	}
	return out
}

func (h hungSky) Observe(now garden.Moment, o *garden.Observed) { h.s.pass(); h.Sky.Observe(now, o) }

func (h hungRecorder) Samples(garden.Moment, []garden.Reading, []control.ZoneView) error {
	h.samples.pass()
	return nil
}

func (h hungRecorder) Intend(garden.Order, float64, garden.Moment) error { h.intend.pass(); return nil }

func (h hungRecorder) Asked(garden.Moment, garden.Ask) error { h.asked.pass(); return nil }

func (h hungRecorder) Alarmed(alarm.Change) error { return nil }

func (h hungValve) Open(g valves.Grant) error { h.open.pass(); return h.Actuator.Open(g) }

func (h hungValve) Close() error { h.closes.pass(); return h.Actuator.Close() }

func (h hungGauges) MeterL(garden.Moment) garden.Measured { return garden.Measured{} }

func (h hungGauges) Float(garden.Moment) garden.Float { h.meter.pass(); return garden.NoFloat }

func (h hungGauges) TankL() garden.Measured { h.tank.pass(); return garden.Measured{} }

func (h hungGauges) RainMM(garden.Moment) garden.Measured { return garden.Measured{} }

func (h hungGauges) Worries(garden.Moment) []Worry { return nil }

func (h hungTeller) Opened(garden.Moment, garden.Order) { h.s.pass() }

// Moment hangs the goroutine that ends pulses, and nobody else: whatever else it
// asks the rounds ask as well.
func (h hungClock) Moment() garden.Moment {
	if h.beat.set.Load() {
		at := make([]uintptr, 16)
		frames := runtime.CallersFrames(at[:runtime.Callers(2, at)])
		for f, more := frames.Next(); ; f, more = frames.Next() {
			if strings.HasSuffix(f.Function, ".endPulses") {
				h.beat.pass()
			}
			if !more {
				break
			}
		}
	}
	return h.testClock.Moment()
}

// partsThatHang names them; "pulses" is what ends them, whoever asks for it,
// "beat" the goroutine that does so between rounds.
var partsThatHang = []string{"probes", "weather", "samples kept", "intent kept", "request kept", "valve opens", "valve closes", "tank gauge", "pulses", "beat", "teller"}

func newSlowParts(t *testing.T) *slowParts {
	t.Helper()
	g, _, err := config.Load("terrace.yaml", testdata.Terrace)
	require.NoError(t, err)
	g.Supply.Hours = nil
	plan, _, err := control.NewPlan(g)
	require.NoError(t, err)
	p := &slowParts{snags: map[string]*snag{}}
	for _, name := range partsThatHang {
		p.snags[name] = &snag{freed: make(chan struct{})}
	}
	rec := hungRecorder{samples: p.snags["samples kept"], intend: p.snags["intent kept"], asked: p.snags["request kept"]}
	act := map[garden.LineID]valves.Actuator{}
	for _, l := range g.Lines {
		act[l.ID] = hungValve{valves.NewCoil(&gpiotest.Pin{N: string(l.ID)}, false), p.snags["valve opens"], p.snags["valve closes"]}
	}
	guard, err := valves.NewGuard(g, act, rec, valves.Options{})
	require.NoError(t, err)
	p.loop, err = New(Parts{
		Garden: g, Plan: plan, State: plan.NewState(), Guard: guard, Journal: rec,
		Sampler: hungSampler{p.snags["probes"], p},
		Sky:     hungSky{NewUsualSky(g.Site), p.snags["weather"]},
		Gauges:  hungGauges{p.snags["pulses"], p.snags["tank gauge"]},
		Tell:    hungTeller{s: p.snags["teller"]},
	})
	require.NoError(t, err)
	return p
}

// TestTheWatchdogStarvesWhenAnyPartHangs hangs each part of the loop in turn: the
// watchdog is fed before, and no more after, so that the service manager's or the
// hardware's own ends a program that only breathes.
func TestTheWatchdogStarvesWhenAnyPartHangs(t *testing.T) {
	const every = 10 * time.Millisecond
	for _, part := range partsThatHang {
		t.Run(part, func(t *testing.T) {
			t.Parallel()
			p := newSlowParts(t)
			ctx, stop := context.WithCancel(context.Background())
			in := NewInbox()
			var fed atomic.Int64
			done := make(chan struct{})
			go func() {
				defer close(done)
				_, _ = Drive(ctx, p.loop, in, hungClock{testClock{time.Now()}, p.snags["beat"]}, every, func() { fed.Add(1) })
			}()
			require.Eventually(t, func() bool { return fed.Load() > 5 }, 20*time.Second, every, "a sound loop feeds it")

			s := p.snags[part]
			s.set.Store(true)
			// What opens a line, and closes it, and is kept.
			for _, do := range []func(now garden.Moment){
				func(now garden.Moment) {
					p.loop.Ask(now, garden.Ask{Kind: garden.AskWater, Zone: "chilli", Litres: 0.2})
				},
				func(now garden.Moment) {
					if part == "valve closes" {
						p.loop.CloseAll(now, "test")
					}
				},
			} {
				go func() { _ = in.Do(ctx, do) }()
				time.Sleep(20 * every)
			}
			require.Eventually(t, s.reached.Load, 60*time.Second, every, "the part was never reached")
			time.Sleep(pulsePatience + 10*every)
			before, round := fed.Load(), p.rounds.Load()
			time.Sleep(50 * every)
			assert.Equal(t, before, fed.Load(), "fed while a part hung")
			if part == "beat" {
				// Or the watchdog would starve for want of rounds.
				assert.Greater(t, p.rounds.Load(), round, "rounds go on without it")
			}

			s.set.Store(false)
			close(s.freed)
			if part != "pulses" && part != "valve closes" {
				require.Eventually(t, func() bool { return fed.Load() > before+5 }, 20*time.Second, every, "and again when it goes on")
			}
			stop()
			<-done
		})
	}
}
