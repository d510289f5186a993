package runner

import (
	"context"
	"sync/atomic"
	"testing"
	"time"

	"fabricpot/control/garden"
	"fabricpot/sensors/pulse"
	"fabricpot/valves"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestAHungGaugeHoldsNoLineOpen: a pin that does not answer keeps no line open past
// its deadline, nor the program from closing its lines, telling so and ending,
// between rounds or while they go on.
func TestAHungGaugeHoldsNoLineOpen(t *testing.T) {
	for name, every := range map[string]time.Duration{"between rounds": time.Hour, "beside rounds": 10 * time.Millisecond} {
		t.Run(name, func(t *testing.T) { aHungGauge(t, every) })
	}
}

func aHungGauge(t *testing.T, every time.Duration) {
	p := newSlowParts(t)
	clock := testClock{time.Now()}
	ctx, stop := context.WithCancel(context.Background())
	defer stop()
	in := NewInbox()
	var fed atomic.Int64
	done := make(chan struct{})
	go func() {
		defer close(done)
		rep, err := Drive(ctx, p.loop, in, clock, every, func() { fed.Add(1) })
		assert.NoError(t, err)
		assert.Equal(t, len(p.loop.p.Garden.Lines), rep.Closed)
	}()
	require.Eventually(t, func() bool { return fed.Load() > 0 }, 20*time.Second, time.Millisecond)
	hangs := p.snags["pulses"]
	hangs.set.Store(true)
	defer close(hangs.freed)
	require.Eventually(t, hangs.reached.Load, 20*time.Second, time.Millisecond)

	line := p.loop.p.Garden.Lines[0]
	open := func() bool {
		lines, _ := p.loop.p.Guard.Snapshot(clock.Moment())
		return lines[0].Open
	}
	require.False(t, open())
	no, ok := p.loop.p.Guard.Request(clock.Moment(), valves.Env{}, garden.Order{ID: 1 << 40, Line: line.ID, Zone: line.Outlets[0].Zone, Litres: 1, MaxOn: 200 * time.Millisecond, Kind: garden.ByHand})
	require.True(t, ok, "%v", no.Cause)
	require.True(t, open())
	assert.Eventually(t, func() bool { return !open() }, 5*time.Second, 5*time.Millisecond, "open past its deadline")
	round := p.rounds.Load()
	time.Sleep(20 * pulseCheck)
	if every < time.Second {
		assert.Greater(t, p.rounds.Load(), round+5, "rounds go on without it")
	}

	stop()
	select {
	case <-done:
	case <-time.After(20 * time.Second):
		assert.Fail(t, "the program does not end")
	}
}

// shared is a contact that hands its count over slowly.
type shared struct {
	n     atomic.Uint64
	inUse atomic.Int32
	both  atomic.Bool
}

func (s *shared) Pulses() garden.Pulses {
	if s.inUse.Add(1) > 1 {
		s.both.Store(true)
	}
	n := s.n.Add(1)
	time.Sleep(time.Millisecond)
	s.inUse.Add(-1)
	return garden.Pulses{Total: n}
}

// TestCountsKeepTheirOrder: two goroutines that read a meter at once hand their
// counts over in the order they were counted in, or litres would be taken twice.
func TestCountsKeepTheirOrder(t *testing.T) {
	c := &shared{}
	g := &garden.Garden{Supply: garden.Supply{MeterPulsesPerL: garden.Known(450), FlowLPH: 1e6}}
	p, err := NewPulseGauges(g, PulseInputs{Meter: c})
	require.NoError(t, err)
	done := make(chan struct{})
	for range 2 {
		go func() {
			for range 100 {
				p.MeterL(garden.Moment{Mono: time.Second})
			}
			done <- struct{}{}
		}()
	}
	<-done
	<-done
	assert.False(t, c.both.Load(), "counted by one while another held its count")
}

// loose is a float switch whose contact closes when told.
type loose struct {
	closed bool
	reads  int
}

func (l *loose) Closed() (bool, error) { l.reads++; return l.closed, nil }

var _ pulse.Switch = (*loose)(nil)

// TestASlowRoundEmptiesNoTank: a round whose time is long past does not ask the
// float about it, which would say that the tank is empty.
func TestASlowRoundEmptiesNoTank(t *testing.T) {
	r := newRig(t)
	at := func(d time.Duration) garden.Moment {
		return garden.Moment{Mono: d, Wall: time.Date(2031, 6, 1, 0, 0, 0, 0, time.UTC).Add(d)}
	}
	sw := &loose{}
	gauges, err := NewPulseGauges(r.loop.p.Garden, PulseInputs{Float: sw})
	require.NoError(t, err)
	r.loop.p.Gauges = gauges
	r.loop.count(at(0)) // down
	sw.closed = true
	began := at(time.Minute)
	// The round reads probes for half a minute; meanwhile the tank is filled.
	for s := 1; s <= 30; s++ {
		r.loop.count(began.Add(time.Duration(s) * time.Second))
	}
	up := func() bool { return garden.Float(r.loop.gauged.float.Load()) == garden.FloatUp }
	require.True(t, up())
	reads := sw.reads
	r.loop.worry(began)
	r.loop.count(began)
	assert.Equal(t, reads, sw.reads, "the float was asked about the past")
	assert.True(t, up(), "an older round knows better")
	r.loop.count(began.Add(31 * time.Second))
	assert.True(t, up())
}
