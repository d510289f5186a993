package valves

import (
	"errors"
	"slices"
	"sync/atomic"
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func grantFor(line garden.LineID) (Grant, *atomic.Bool) {
	live := &atomic.Bool{}
	live.Store(true)
	return Grant{line: line, order: 1, maxOn: time.Minute, live: live}, live
}

func TestPumpFollowsItsLines(t *testing.T) {
	build := func() (p *Pump, a, b Actuator, motor *tap, told *[]string) {
		told = &[]string{}
		motor = &tap{name: "pump", told: told}
		p = NewPump(motor)
		return p, p.Behind(&tap{name: "a", told: told}), p.Behind(&tap{name: "b", told: told}), motor, told
	}
	t.Run("valve first, pump after; pump off first, valve after", func(t *testing.T) {
		_, a, _, _, told := build()
		g, live := grantFor("a")
		require.NoError(t, a.Open(g))
		live.Store(false)
		require.NoError(t, a.Close())
		assert.Equal(t, []string{"a open", "pump open", "pump close", "a close"}, *told)
		closed, known := a.Closed()
		assert.True(t, closed && known)
	})
	t.Run("it goes on while another line is open", func(t *testing.T) {
		_, a, b, motor, _ := build()
		ga, liveA := grantFor("a")
		gb, liveB := grantFor("b")
		require.NoError(t, a.Open(ga))
		require.NoError(t, b.Open(gb))
		liveA.Store(false)
		require.NoError(t, a.Close())
		assert.True(t, motor.open)
		closed, known := a.Closed()
		assert.True(t, closed && known, "the line is closed, whatever the pump does for the other")
		liveB.Store(false)
		require.NoError(t, b.Close())
		assert.False(t, motor.open)
	})
	t.Run("a withdrawn grant holds nothing", func(t *testing.T) {
		_, a, b, motor, _ := build()
		ga, liveA := grantFor("a")
		gb, liveB := grantFor("b")
		require.NoError(t, a.Open(ga))
		require.NoError(t, b.Open(gb))
		liveA.Store(false)
		liveB.Store(false)
		require.NoError(t, b.Close())
		assert.False(t, motor.open, "although line a was not told to close yet")
	})
	t.Run("no grant, no pump", func(t *testing.T) {
		_, a, _, motor, _ := build()
		assert.ErrorIs(t, a.Open(Grant{}), ErrNoGrant)
		assert.False(t, motor.open)
	})
	t.Run("a pump that does not start leaves no line open", func(t *testing.T) {
		_, a, _, motor, told := build()
		motor.openFails = errors.New("driver gone")
		g, _ := grantFor("a")
		assert.ErrorContains(t, a.Open(g), "start the pump for line a")
		assert.Equal(t, "a close", (*told)[len(*told)-1])
	})
	t.Run("a pump that does not stop is not confirmed, and the line is closed all the same", func(t *testing.T) {
		p, a, _, motor, told := build()
		g, live := grantFor("a")
		require.NoError(t, a.Open(g))
		motor.shutFails = errors.New("driver gone")
		live.Store(false)
		assert.ErrorContains(t, a.Close(), "stop the pump")
		assert.Equal(t, "a close", (*told)[len(*told)-1])
		closed, known := a.Closed()
		assert.False(t, closed && known)
		motor.shutFails = nil
		require.NoError(t, p.Stop())
		stopped, known := p.Stopped()
		assert.True(t, stopped && known)
	})
}

// pumped makes a garden of newRig's one with a pump.
func withPump(g *garden.Garden, _ *Options) {
	g.Supply.Pump = garden.Pump{Fitted: true, FlowWithin: 20 * time.Second, MaxRun: 20 * time.Minute}
	g.Supply.MeterPulsesPerL = garden.Known(450)
	g.Supply.Float = garden.Contact{Fitted: true}
}

// minute is a moment that many seconds after newRig's.
func sec(s int) garden.Moment { return at(time.Hour + time.Duration(s)*time.Second) }

func TestPumpNeverRunsDry(t *testing.T) {
	r := newRig(t, withPump)
	_, ok := r.Request(sec(0), Env{}, r.order("chilli", 1, 10*time.Minute))
	assert.False(t, ok, "nobody has looked at the float yet")
	r.Float(sec(0), garden.FloatUp)
	r.Meter(sec(0), garden.Known(0))
	_, ok = r.Request(sec(0), Env{}, r.order("chilli", 1, 10*time.Minute))
	require.True(t, ok)
	due, _ := r.NextDeadline()
	assert.Equal(t, sec(20).Mono, due, "the event clock wakes when flow must have shown")
	for s := 1; s < 20; s++ {
		r.Meter(sec(s), garden.Known(0))
		assert.Empty(t, r.Advance(sec(s)))
	}
	out := r.Advance(sec(20))
	require.Len(t, out, 1)
	assert.Equal(t, garden.Stopped, out[0].End)
	assert.True(t, r.Pump(sec(20)).LockedFor > 0)
	no, ok := r.Request(sec(21), Env{}, r.order("chard", 1, 10*time.Minute))
	assert.False(t, ok)
	assert.Equal(t, garden.PumpLocked, no.Cause)
	assert.Equal(t, sec(20).Mono+15*time.Minute, no.Until)

	// Each time in a row it rests twice as long; flow ends that.
	next := 20 + 15*60
	r.Meter(sec(next), garden.Known(0))
	_, ok = r.Request(sec(next), Env{}, r.order("chard", 1, 10*time.Minute))
	require.True(t, ok)
	require.Len(t, r.Advance(sec(next+20)), 1)
	assert.Equal(t, 30*time.Minute, r.Pump(sec(next+20)).LockedFor)
	next += 20 + 30*60
	r.Meter(sec(next), garden.Known(0))
	_, ok = r.Request(sec(next), Env{}, r.order("chard", 0.5, 10*time.Minute))
	require.True(t, ok)
	litres := 0.0
	for s := 1; s < 19; s++ {
		litres += 8.0 / 3600
		r.Meter(sec(next+s), garden.Known(litres))
		assert.Empty(t, r.Advance(sec(next+s)))
	}
	assert.Zero(t, r.Pump(sec(next+19)).DryRuns)
	// It flowed, and then no more.
	for s := 19; s < 18+20; s++ {
		r.Meter(sec(next+s), garden.Known(litres))
		assert.Empty(t, r.Advance(sec(next+s)), "%d s", s)
	}
	assert.Len(t, r.Advance(sec(next+18+20)), 1)
}

// A meter that does not answer shows no flow.
func TestPumpWithoutAMeter(t *testing.T) {
	r := newRig(t, withPump)
	r.Float(sec(0), garden.FloatUp)
	r.Meter(sec(0), garden.Measured{})
	_, ok := r.Request(sec(0), Env{}, r.order("chilli", 1, 10*time.Minute))
	require.True(t, ok)
	r.Meter(sec(19), garden.Measured{})
	assert.Empty(t, r.Advance(sec(19)))
	assert.Len(t, r.Advance(sec(20)), 1)
}

func TestFloatEndsAndRefuses(t *testing.T) {
	r := newRig(t, withPump)
	r.Float(sec(0), garden.FloatUp)
	r.Meter(sec(0), garden.Known(0))
	_, ok := r.Request(sec(0), Env{}, r.order("chilli", 1, 10*time.Minute))
	require.True(t, ok)
	r.Float(sec(5), garden.FloatDown)
	assert.False(t, r.valves["chilli"].open, "at once, not at the next round")
	ended := r.Advance(sec(5))
	require.Len(t, ended, 1)
	assert.True(t, ended[0].TankLow && !ended[0].PumpDry)
	no, ok := r.Request(sec(6), Env{}, r.order("chard", 1, 10*time.Minute))
	assert.False(t, ok)
	assert.Equal(t, garden.TankEmpty, no.Cause)
	r.Float(sec(7), garden.FloatUp)
	r.Meter(sec(7), garden.Known(0))
	_, ok = r.Request(sec(7), Env{}, r.order("chard", 1, 10*time.Minute))
	assert.True(t, ok)
}

// Lines that follow each other without a pause don't keep the pump running for
// longer than it may.
func TestPumpMaxRun(t *testing.T) {
	r := newRig(t, func(g *garden.Garden, o *Options) {
		withPump(g, o)
		g.Supply.Pump.MaxRun = 10 * time.Minute
		g.Supply.Pump.FlowWithin = 0
	})
	r.Float(sec(0), garden.FloatUp)
	_, ok := r.Request(sec(0), Env{}, r.order("chilli", 1, 9*time.Minute))
	require.True(t, ok)
	o := r.order("chard", 3, time.Hour)
	_, ok = r.Request(sec(7*60), Env{}, o)
	require.True(t, ok)
	for s := 7 * 60; s < 10*60; s++ {
		r.Advance(sec(s))
	}
	lines, _ := r.Snapshot(sec(10*60 - 1))
	assert.True(t, lines[1].Open)
	assert.Len(t, r.Advance(sec(10*60)), 1)
	assert.False(t, r.valves["chard"].open)
}

func TestGuardRefusesAnUnboundedPump(t *testing.T) {
	g := terrace()
	g.Supply.Pump = garden.Pump{Fitted: true}
	_, err := NewGuard(g, nil, newLedger(nil), Options{})
	assert.ErrorContains(t, err, "a pump that may run 0s")
}

// Whatever is asked and whatever meter and float say: the motor never runs with
// every valve shut, with the float down, for longer than it may in one go, or
// beyond the time in which flow must show.
func TestPumpKeepsItsPromises(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		told := &[]string{}
		motor := &tap{name: "pump", told: told}
		pump := NewPump(motor)
		g := terrace()
		within := time.Duration(rapid.IntRange(1, 40).Draw(t, "within")) * time.Second
		most := time.Duration(rapid.IntRange(60, 600).Draw(t, "most")) * time.Second
		g.Supply.Pump = garden.Pump{Fitted: true, FlowWithin: within, MaxRun: most}
		g.Supply.Float = garden.Contact{Fitted: true}
		g.Limits.MinRest = 0
		taps := map[garden.LineID]*tap{}
		act := map[garden.LineID]Actuator{}
		for _, l := range g.Lines {
			taps[l.ID] = &tap{name: string(l.ID), told: told}
			act[l.ID] = pump.Behind(taps[l.ID])
		}
		gd, err := NewGuard(g, act, newLedger(nil), Options{})
		require.NoError(t, err)
		gd.CloseAll(sec(0))
		var id garden.OrderID
		var ranSince, flowed int
		wasOn, litres := false, 0.0
		for s := 1; s < 900; s++ {
			now := sec(s)
			f := garden.FloatUp
			if rapid.IntRange(0, 40).Draw(t, "float") == 0 {
				f = garden.FloatDown
			}
			gd.Float(now, f)
			runs := rapid.IntRange(0, 3).Draw(t, "flows") == 0
			if runs && motor.open {
				litres += 0.01
				flowed = s
			}
			if rapid.IntRange(0, 30).Draw(t, "deaf") == 0 {
				gd.Meter(now, garden.Measured{})
			} else {
				gd.Meter(now, garden.Known(litres))
			}
			gd.Advance(now)
			if rapid.IntRange(0, 10).Draw(t, "ask") == 0 {
				id++
				l := g.Lines[rapid.IntRange(0, 2).Draw(t, "line")].ID
				gd.Request(now, Env{}, garden.Order{ID: id, Line: l, Zone: "chilli", Litres: 0.5, MaxOn: time.Duration(rapid.IntRange(1, 900).Draw(t, "on")) * time.Second, Kind: garden.ByHand})
			}
			// It may have stopped and started again within this second.
			if !motor.open || slices.Contains(*told, "pump close") {
				wasOn = false
			}
			*told = (*told)[:0]
			if !motor.open {
				continue
			}
			if !wasOn {
				wasOn, ranSince, flowed = true, s, max(flowed, s)
			}
			anyOpen := taps["chilli"].open || taps["chard"].open || taps["both"].open
			switch {
			case !anyOpen:
				t.Fatalf("%d s: the pump runs with every valve shut", s)
			case f == garden.FloatDown:
				t.Fatalf("%d s: the pump runs with the float down", s)
			case time.Duration(s-ranSince)*time.Second >= most:
				t.Fatalf("%d s: the pump has run %d s, it may %v", s, s-ranSince, most)
			case time.Duration(s-flowed)*time.Second >= within+2*time.Second:
				t.Fatalf("%d s: no flow for %d s, at most %v", s, s-flowed, within)
			}
		}
	})
}
