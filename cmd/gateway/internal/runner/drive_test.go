package runner

import (
	"context"
	"sync"
	"testing"
	"time"

	"fabricpot/cmd/gateway/internal/config"
	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/control"
	"fabricpot/control/garden"
	"fabricpot/testdata"
	"fabricpot/valves"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/gpio/gpiotest"
)

// rig is the example's loop over pins that only remember their level.
type rig struct {
	loop  *Loop
	pins  map[garden.LineID]*gpiotest.Pin
	block chan struct{} // closed: sampling goes on
	slow  chan struct{} // a sampling is being held up
	hang  bool
	once  sync.Once
}

func (r *rig) Sample(now garden.Moment, out []garden.Reading) []garden.Reading {
	if r.hang {
		r.once.Do(func() { close(r.slow) })
		<-r.block
	}
	for _, p := range r.loop.p.Garden.ProbeList() {
		out = append(out, garden.Reading{Probe: p.ID, Zone: p.Zone, At: now})
	}
	return out
}

func newRig(t *testing.T) *rig { return rigWith(t, nil) }

func rigWith(t *testing.T, hours []garden.DayWindow) *rig {
	t.Helper()
	g, _, err := config.Load("terrace.yaml", testdata.Terrace)
	require.NoError(t, err)
	g.Supply.Hours = hours
	plan, _, err := control.NewPlan(g)
	require.NoError(t, err)
	r := &rig{pins: map[garden.LineID]*gpiotest.Pin{}, block: make(chan struct{}), slow: make(chan struct{})}
	act := map[garden.LineID]valves.Actuator{}
	for _, l := range g.Lines {
		r.pins[l.ID] = &gpiotest.Pin{N: string(l.ID)}
		act[l.ID] = valves.NewCoil(r.pins[l.ID], false)
	}
	guard, err := valves.NewGuard(g, act, nothingKept{}, valves.Options{})
	require.NoError(t, err)
	r.loop, err = New(Parts{Garden: g, Plan: plan, State: plan.NewState(), Sampler: r, Guard: guard, Sky: NewUsualSky(g.Site)})
	require.NoError(t, err)
	return r
}

func (r *rig) level(id garden.LineID) gpio.Level {
	p := r.pins[id]
	p.Lock()
	defer p.Unlock()
	return p.L
}

type testClock struct{ start time.Time }

func (c testClock) Moment() garden.Moment {
	return garden.Moment{Mono: time.Hour + time.Since(c.start), Wall: time.Now()}
}

// TestStoppingDoesNotWaitForAHungRound: a bus that never answers holds the round
// up while a line is open; stopping closes it all the same.
func TestStoppingDoesNotWaitForAHungRound(t *testing.T) {
	r := newRig(t)
	clock := testClock{time.Now()}
	ctx, stop := context.WithCancel(context.Background())
	defer stop()
	require.NoError(t, r.loop.Begin(clock.Moment()))
	r.loop.Ask(clock.Moment(), garden.Ask{Kind: garden.AskWater, Zone: "chilli", Litres: 2})
	r.loop.Tick(clock.Moment())
	require.Equal(t, gpio.High, r.level("chilli"), "the wish was to open the line")
	r.hang = true

	over := make(chan struct{})
	pulses := make(chan struct{})
	go func() { defer close(pulses); endPulses(ctx, over, r.loop, clock, new(beat)) }()
	round := make(chan struct{})
	go func() { defer close(round); r.loop.Tick(clock.Moment()) }()
	<-r.slow
	stop()
	assert.Eventually(t, func() bool { return r.level("chilli") == gpio.Low }, 20*time.Second, 5*time.Millisecond)
	close(r.block)
	<-round
	assert.Equal(t, gpio.Low, r.level("chilli"), "and what the late round decides opens nothing")
	close(over)
	<-pulses
}

// TestALineIsHeldForEachOfItsZones: releasing one of two pots on a line leaves it
// shut for the other.
func TestALineIsHeldForEachOfItsZones(t *testing.T) {
	r := newRig(t)
	now := testClock{time.Now()}.Moment()
	held := func() bool {
		lines, _ := r.loop.p.Guard.Snapshot(now)
		for _, s := range lines {
			if s.Line == "strawberries" {
				return s.HeldUntil > now.Mono
			}
		}
		return false
	}
	require.NoError(t, r.loop.Begin(now))
	for _, z := range []garden.ZoneID{"strawberry-east", "strawberry-west"} {
		r.loop.Ask(now, garden.Ask{Kind: garden.AskShut, Zone: z, Until: now.Add(24 * time.Hour)})
	}
	r.loop.Ask(now, garden.Ask{Kind: garden.AskRelease, Zone: "strawberry-east"})
	assert.True(t, held())
	r.loop.Ask(now, garden.Ask{Kind: garden.AskRelease, Zone: "strawberry-west"})
	assert.False(t, held())
	r.loop.Ask(now, garden.Ask{Kind: garden.AskShut, Zone: "strawberry-west", Until: now.Add(72 * time.Hour)})
	r.loop.Ask(now, garden.Ask{Kind: garden.AskShut, Zone: "strawberry-west", Until: now.Add(time.Hour)})
	now = now.Add(2 * time.Hour)
	assert.False(t, held(), "the last word counts")
}

// TestClosedByAPersonStaysClosed: water asked for before closing all, or before a
// stop, does not come after it.
func TestClosedByAPersonStaysClosed(t *testing.T) {
	for name, closing := range map[string]func(*Loop, garden.Moment){
		"close all":      func(l *Loop, now garden.Moment) { l.CloseAll(now, "test") },
		"stop":           func(l *Loop, now garden.Moment) { l.Stop(now, "chilli") },
		"stop all zones": func(l *Loop, now garden.Moment) { l.Stop(now, "") },
	} {
		t.Run(name, func(t *testing.T) {
			r := newRig(t)
			now := testClock{time.Now()}.Moment()
			require.NoError(t, r.loop.Begin(now))
			r.loop.Ask(now, garden.Ask{Kind: garden.AskWater, Zone: "chilli", Litres: 2})
			closing(r.loop, now)
			for range 10 {
				now = now.Add(time.Minute)
				r.loop.Tick(now)
				require.Equal(t, gpio.Low, r.level("chilli"))
			}
		})
	}
}

func TestInboxRunsNothingThatNobodyWaitsFor(t *testing.T) {
	in := NewInbox()
	gone, cancel := context.WithCancel(context.Background())
	ran := map[string]bool{}
	ended := make(chan error, 2)
	go func() { ended <- in.Do(gone, func(garden.Moment) { ran["do"] = true }) }()
	go func() { ended <- in.Must(gone, func(garden.Moment) { ran["must"] = true }) }()
	a, b := <-in.Next(), <-in.Next()
	cancel()
	require.ErrorIs(t, <-ended, context.Canceled)
	require.ErrorIs(t, <-ended, context.Canceled)
	in.Serve(a, garden.Moment{})
	in.Serve(b, garden.Moment{})
	assert.Equal(t, map[string]bool{"must": true}, ran)
	in.Close()
	assert.ErrorIs(t, in.Do(context.Background(), func(garden.Moment) {}), ErrStopped)
}

// pastOf is a history of starts and orderly stops.
type pastOf struct {
	History
	broken         error
	unnoted        error
	begun, stopped int
}

func (p *pastOf) LastOrderID() (garden.OrderID, error)                { return 0, p.broken }
func (p *pastOf) Unfinished() ([]garden.Intent, error)                { return nil, nil }
func (p *pastOf) Recent(garden.Moment) ([]garden.PastDelivery, error) { return nil, nil }
func (p *pastOf) Standing(time.Time) ([]garden.Ask, error)            { return nil, nil }
func (p *pastOf) Started(garden.Moment, time.Duration) (journal.Starts, error) {
	p.begun++
	return journal.Starts{}, p.unnoted
}
func (p *pastOf) Stopped() error { p.stopped++; return nil }

// panics is a sampler that does.
type panics struct{}

func (panics) Sample(garden.Moment, []garden.Reading) []garden.Reading { panic("a reading too much") }

// TestOnlyAnOrderlyStopIsNotedAsOne: a gateway that panics counts against the restart
// budget although it closes every line; one that could not begin, and says so, is none.
func TestOnlyAnOrderlyStopIsNotedAsOne(t *testing.T) {
	for name, c := range map[string]struct {
		change         func(*rig, *pastOf)
		begun, stopped int
	}{
		"in good order":   {func(*rig, *pastOf) {}, 1, 1},
		"noted beside":    {func(_ *rig, p *pastOf) { p.unnoted = notedBeside{assert.AnError} }, 1, 1},
		"not noted":       {func(_ *rig, p *pastOf) { p.unnoted = assert.AnError }, 1, 0},
		"a panic":         {func(r *rig, _ *pastOf) { r.loop.p.Sampler = panics{} }, 1, 0},
		"no past to read": {func(_ *rig, p *pastOf) { p.broken = assert.AnError }, 1, 1},
	} {
		t.Run(name, func(t *testing.T) {
			r, past := newRig(t), &pastOf{}
			r.loop.p.History = past
			c.change(r, past)
			ctx, stop := context.WithCancel(context.Background())
			defer stop()
			rep, err := Drive(ctx, r.loop, NewInbox(), testClock{time.Now()}, time.Hour, stop)
			if (c.stopped == 0 || name == "no past to read") && name != "not noted" {
				require.Error(t, err)
			} else {
				require.NoError(t, err)
			}
			assert.Empty(t, rep.Unconfirmed)
			assert.Equal(t, rep.Lines, rep.Closed)
			assert.Equal(t, c.begun, past.begun)
			assert.Equal(t, c.stopped > 0, past.stopped > 0)
		})
	}
}
