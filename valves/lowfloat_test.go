package valves

import (
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// pours has the meter count what chard's emitters give while its valve is open, a share
// of it, second by second.
func (r *pumpRig) pours(d time.Duration, share float64) {
	r.t.Helper()
	for range int(d / time.Second) {
		if r.valves["chard"].open {
			r.meter.Value += share * 8.0 / 3600
		}
		r.run(time.Second)
	}
}

// A float whose wire is broken says that a full tank is empty: pots are kept all the
// same, once a meter has shown that water flows.
func TestAMeterContradictsAFloat(t *testing.T) {
	r := newPumpRig(t)
	r.float = garden.FloatDown
	r.pours(floatTries-time.Second, 1)
	assert.Empty(t, r.ended, "a float is believed for hours")
	r.pours(10*time.Minute, 1)
	require.True(t, r.valves["chard"].open)
	assert.True(t, r.Pump(sec(r.s)).FloatDoubted)
	r.pours(24*time.Hour, 1)
	require.GreaterOrEqual(t, len(r.ended), 5, "as much as a day may")
	for _, d := range r.ended {
		assert.NotEqual(t, garden.Stopped, d.End)
		assert.Greater(t, d.Litres, 1.5, "less only where the day's limit ends it")
	}

	// It was the last of the water, or the meter dies: the pump stops as ever, and what
	// follows is seldom.
	n := len(r.ended)
	for !r.valves["chard"].open {
		r.pours(time.Second, 1)
	}
	r.run(20 * time.Second)
	assert.False(t, r.valves["chard"].open)
	assert.False(t, r.Pump(sec(r.s)).FloatDoubted)
	r.run(72 * time.Hour)
	dry := r.ended[n:]
	assert.InDelta(t, 72/6, len(dry), 2)
	for _, d := range dry[1:] {
		assert.LessOrEqual(t, d.Open, 20*time.Second)
		assert.True(t, d.PumpDry)
	}
	// Somebody fills it: no rest of the pump holds the pots back.
	r.float = garden.FloatUp
	r.pours(5*time.Second, 1)
	assert.True(t, r.valves["chard"].open)
	assert.Zero(t, r.Pump(sec(r.s)).DryRuns)
}

func TestAFloatIsBelieved(t *testing.T) {
	t.Run("where nobody counts", func(t *testing.T) {
		r := newPumpRig(t)
		r.float, r.meter = garden.FloatDown, garden.Measured{}
		r.run(72 * time.Hour)
		assert.Empty(t, r.ended)
		no, ok := r.Request(sec(r.s), Env{}, r.order("chard", 2, time.Hour))
		assert.False(t, ok)
		assert.Equal(t, garden.TankEmpty, no.Cause, "people are told why")
	})
	t.Run("by a contact that chatters", func(t *testing.T) {
		r := newPumpRig(t)
		r.float = garden.FloatDown
		r.pours(72*time.Hour, 0.3)
		for _, d := range r.ended {
			assert.LessOrEqual(t, d.Open, 20*time.Second)
		}
		assert.InDelta(t, 72/6, len(r.ended), 2)
	})
	t.Run("again from when it falls", func(t *testing.T) {
		r := newPumpRig(t)
		for range 30 {
			r.float = garden.FloatDown
			r.run(floatTries - time.Second)
			assert.False(t, r.valves["chard"].open)
			// It floats for a moment, with nothing asked.
			r.s++
			r.Float(sec(r.s), garden.FloatUp)
		}
	})
	t.Run("for a feed, until the meter counted", func(t *testing.T) {
		r := newPumpRig(t)
		r.float = garden.FloatDown
		r.run(floatTries - time.Second)
		feed := r.order("chard", 2, time.Hour)
		feed.Kind, feed.Dosed = garden.Feeding, true
		r.s += 2
		r.Float(sec(r.s), r.float)
		r.Meter(sec(r.s), r.meter)
		no, ok := r.Request(sec(r.s), Env{}, feed)
		assert.False(t, ok)
		assert.Equal(t, garden.TankEmpty, no.Cause)
		r.pours(10*time.Minute, 1)
		assert.True(t, r.Pump(sec(r.s)).FloatDoubted)
	})
	t.Run("after a start", func(t *testing.T) {
		r := newPumpRig(t)
		r.float = garden.FloatDown
		r.s = int((72 * time.Hour).Seconds())
		r.run(floatTries - time.Second)
		assert.Empty(t, r.ended, "a guard that has just begun has seen no six hours of it")
	})
}

// One line tries at a time, and with no pump a line may be open for minutes.
func TestATryIsOneOpening(t *testing.T) {
	r := newRig(t, func(g *garden.Garden, _ *Options) {
		g.Supply.Float.Fitted, g.Supply.MeterPulsesPerL = true, garden.Known(450)
	})
	at := func(s int) garden.Moment {
		r.Float(sec(s), garden.FloatDown)
		r.Meter(sec(s), garden.Known(0))
		r.Advance(sec(s))
		return sec(s)
	}
	at(1)
	late := int(floatTries.Seconds()) + 1
	_, ok := r.Request(at(late), Env{}, r.order("chard", 2, time.Hour))
	require.True(t, ok)
	no, ok := r.Request(at(late+1), Env{}, r.order("chilli", 2, time.Hour))
	require.False(t, ok)
	assert.Equal(t, garden.TankEmpty, no.Cause)
	at(late + int(floatProof.Seconds()) - 1)
	assert.True(t, r.valves["chard"].open)
	at(late + int(floatProof.Seconds()))
	assert.False(t, r.valves["chard"].open)
	_, ok = r.Request(at(late+2*int(floatProof.Seconds())), Env{}, r.order("chard", 2, time.Hour))
	assert.False(t, ok)
}

// A round that read slow probes asks with the moment it began at: that takes nothing
// from the time in which a try must show flow.
func TestATryInASlowRound(t *testing.T) {
	r := newPumpRig(t)
	r.float = garden.FloatDown
	r.run(floatTries)
	r.s++
	began := sec(r.s)
	r.Float(began, r.float)
	r.Meter(began, r.meter)
	for range 12 { // gauges are read meanwhile
		r.s++
		r.Float(sec(r.s), r.float)
		r.Meter(sec(r.s), r.meter)
		r.Advance(sec(r.s))
	}
	_, ok := r.Request(began, Env{}, r.order("chard", 2, time.Hour))
	require.True(t, ok)
	_, ok = r.Request(began, Env{}, r.order("chilli", 2, time.Hour))
	require.False(t, ok)
	r.run(19 * time.Second)
	assert.True(t, r.valves["chard"].open, "it has its 20 s")
	r.run(2 * time.Second)
	assert.False(t, r.valves["chard"].open)
}

// A meter of one pulse a litre takes its time, and a line that nobody can close keeps
// no try from the others.
func TestATryOfALineAlone(t *testing.T) {
	r := newRig(t, func(g *garden.Garden, _ *Options) {
		g.Supply.Float.Fitted, g.Supply.MeterPulsesPerL, g.Supply.FlowLPH = true, garden.Known(1), 100
	})
	total, s := 0.0, 0
	look := func() garden.Moment {
		s++
		r.Float(sec(s), garden.FloatDown)
		r.Meter(sec(s), garden.Known(total))
		r.Advance(sec(s))
		return sec(s)
	}
	r.Float(sec(0), garden.FloatUp)
	r.Meter(sec(0), garden.Known(0))
	_, ok := r.Request(sec(0), Env{}, r.order("chilli", 0.1, time.Minute))
	require.True(t, ok)
	r.valves["chilli"].failCloses = 1 << 30
	for range int(floatTries.Seconds()) + 1 {
		look()
	}
	_, ok = r.Request(look(), Env{}, r.order("chard", 4, time.Hour))
	require.True(t, ok)
	for range 15 * 60 {
		total = float64(int(8 * float64(s-int(floatTries.Seconds())) / 3600))
		look()
	}
	assert.True(t, r.valves["chard"].open, "a pulse each 7.5 min")
	assert.True(t, r.Pump(sec(s)).FloatDoubted || r.low.dry < r.low.within)
}
