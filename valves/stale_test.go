package valves

import (
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A round that reads slow probes asks for openings by the time it began at, while
// Meter and Advance go on in another goroutine.

// TestSlowRoundKeepsTheMeter: it neither takes the meter from pulses that go by it
// nor from the one it opens.
func TestSlowRoundKeepsTheMeter(t *testing.T) {
	for _, slow := range []time.Duration{1500 * time.Millisecond, 10 * time.Second, time.Minute} {
		r := newRig(t, func(g *garden.Garden, _ *Options) { metered(g) })
		began := at(2 * time.Hour)
		r.Meter(began, garden.Known(0))
		_, ok := r.Request(began, Env{}, r.order("chilli", 2, time.Hour))
		require.True(t, ok)
		litres := 0.0
		for s := time.Duration(0); s <= slow; s += 50 * time.Millisecond {
			litres += 8.0 / 3600 / 20
			r.Meter(began.Add(s), garden.Known(litres))
			r.Advance(began.Add(s))
		}
		_, ok = r.Request(began, Env{}, r.order("chard", 2, time.Hour))
		require.True(t, ok)
		lines, _ := r.Snapshot(began.Add(slow))
		assert.True(t, lines[0].Metered, "%v: the pulse that ran lost its meter", slow)
		assert.True(t, lines[1].Metered, "%v: the pulse that was opened goes by nominal flow", slow)
		// A count that is too old is none, as before.
		r.Advance(began.Add(slow + meterStale))
		lines, _ = r.Snapshot(began.Add(slow + meterStale))
		assert.True(t, lines[0].Metered)
		r.Advance(began.Add(slow + meterStale + time.Nanosecond))
		lines, _ = r.Snapshot(began.Add(slow + meterStale + time.Nanosecond))
		assert.False(t, lines[0].Metered)
	}
}

// TestSlowRoundIsNoDryRun: the time in which flow must show begins when the line
// opened, not when the round did; bounds on the opening count from the round.
func TestSlowRoundIsNoDryRun(t *testing.T) {
	began, slow := sec(0), 60
	t.Run("pump", func(t *testing.T) {
		r := newRig(t, withPump)
		r.Float(began, garden.FloatUp)
		r.Meter(sec(slow), garden.Known(0))
		r.Advance(sec(slow))
		_, ok := r.Request(began, Env{}, r.order("chilli", 1, 5*time.Minute))
		require.True(t, ok)
		assert.Equal(t, sec(300).Mono, r.lines[0].pulse.deadline)
		assert.Empty(t, r.Advance(sec(slow+19)), "no water can have come yet")
		assert.Zero(t, r.Pump(sec(slow+19)).LockedFor)
		assert.Len(t, r.Advance(sec(slow+20)), 1)
		assert.Positive(t, r.Pump(sec(slow+20)).LockedFor)
	})
	t.Run("injector", func(t *testing.T) {
		r, inj := dosingRig(t, metered)
		r.Meter(sec(slow), garden.Known(0))
		r.Advance(sec(slow))
		o := r.order("chilli", 1, 10*time.Minute)
		o.Kind = garden.Feeding
		_, ok := r.Request(began, Env{}, o)
		require.True(t, ok)
		within := int(garden.DefaultFlowWithin / time.Second)
		for s := slow; s < slow+within; s++ {
			r.Meter(sec(s), garden.Known(0))
			require.Empty(t, r.Advance(sec(s)), "%d s", s)
		}
		assert.True(t, inj.open)
		r.Advance(sec(slow + within))
		assert.False(t, inj.open)
	})
	t.Run("a clock that runs backwards puts off no proof", func(t *testing.T) {
		r := newRig(t, func(g *garden.Garden, o *Options) {
			withPump(g, o)
			g.Supply.MeterPulsesPerL = garden.Measured{}
		})
		r.Float(began, garden.FloatUp)
		r.Advance(sec(3600))
		_, ok := r.Request(began, Env{}, r.order("chilli", 1, 5*time.Minute))
		require.True(t, ok)
		assert.Empty(t, r.Advance(sec(1)))
		assert.Len(t, r.Advance(sec(21)), 1)
	})
}
