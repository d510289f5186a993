package valves

import (
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// pumpRig drives a pumped garden second by second: what float and meter say, and
// whether it is asked for water whenever none runs.
type pumpRig struct {
	*rig
	t      *testing.T
	s      int
	float  garden.Float
	meter  garden.Measured
	ended  []garden.Delivery
	litres float64
}

func newPumpRig(t *testing.T) *pumpRig {
	return &pumpRig{rig: newRig(t, func(g *garden.Garden, o *Options) {
		withPump(g, o)
		g.Supply.Pump.MaxRun = time.Hour
	}), t: t, float: garden.FloatUp, meter: garden.Known(0), litres: 2}
}

// run lets time pass, asking line chard all the while.
func (r *pumpRig) run(d time.Duration) {
	for range int(d / time.Second) {
		r.s++
		r.Float(sec(r.s), r.float)
		r.Meter(sec(r.s), r.meter)
		r.ended = append(r.ended, r.Advance(sec(r.s))...)
		if !r.valves["chard"].open && r.Pump(sec(r.s)).LockedFor == 0 {
			r.Request(sec(r.s), Env{}, r.order("chard", r.litres, time.Hour))
		}
	}
}

// tries lets it be stopped for want of flow so many times.
func (r *pumpRig) tries(n int) {
	for range 100_000 {
		if r.Pump(sec(r.s)).DryRuns >= n {
			return
		}
		r.run(time.Second)
	}
	r.t.Fatalf("only %d tries", r.Pump(sec(r.s)).DryRuns)
}

// ranUntilEnd is how long the opening that begins now lasts.
func (r *pumpRig) ranUntilEnd() garden.Delivery {
	r.t.Helper()
	n := len(r.ended)
	for range 7200 {
		r.run(time.Second)
		if len(r.ended) > n {
			return r.ended[n]
		}
	}
	r.t.Fatal("nothing ended in two hours")
	return garden.Delivery{}
}

// A silent meter stops the pump as ever until probes show that water came.
func TestProbesVouchForAPumpWhoseMeterIsSilent(t *testing.T) {
	r := newPumpRig(t)
	r.tries(2)
	r.WaterCame(sec(r.s))
	assert.False(t, r.Pump(sec(r.s)).MeterDoubted, "two tries are too few to doubt a meter")
	r.tries(4)
	for _, d := range r.ended {
		assert.Equal(t, 20*time.Second, d.Open)
		assert.True(t, d.PumpDry && d.Uncounted && !d.TankLow)
	}
	r.WaterCame(sec(r.s))
	require.True(t, r.Pump(sec(r.s)).MeterDoubted)
	d := r.ranUntilEnd()
	assert.Equal(t, garden.Complete, d.End)
	assert.False(t, d.Metered)
	assert.True(t, d.Uncounted)
	assert.False(t, d.PumpDry)
	assert.InDelta(t, 2, d.Litres, 0.02, "by its rated flow")
	assert.InDelta(t, 2/8.0*3600, d.Open.Seconds(), 1)

	// What no rise confirms ends, and the short tries begin again.
	ran := d.Open
	for ran < 2*time.Hour && r.Pump(sec(r.s)).MeterDoubted {
		d = r.ranUntilEnd()
		ran += d.Open
	}
	assert.InDelta(t, risenRun.Seconds(), ran.Seconds(), 2)
	assert.True(t, d.PumpDry)
	assert.Equal(t, 20*time.Second, r.ranUntilEnd().Open)
}

func TestADoubtedMeterProtectsAgainOnceItCounts(t *testing.T) {
	r := newPumpRig(t)
	r.tries(3)
	r.WaterCame(sec(r.s))
	r.run(5 * time.Minute)
	require.True(t, r.valves["chard"].open)
	r.meter = garden.Known(0.1)
	r.run(time.Second)
	assert.False(t, r.Pump(sec(r.s)).MeterDoubted)
	assert.Zero(t, r.Pump(sec(r.s)).DryRuns)
	// And then it falls silent.
	r.run(18 * time.Second)
	assert.True(t, r.valves["chard"].open)
	r.run(2 * time.Second)
	assert.False(t, r.valves["chard"].open)
	assert.Equal(t, 1, r.Pump(sec(r.s)).DryRuns)
	dry := []garden.LineID{"chard"}
	assert.Equal(t, dry, r.Pump(sec(r.s)).DryLines)
	r.Float(sec(r.s), garden.FloatDown)
	r.run(time.Minute)
	assert.Equal(t, dry, r.Pump(sec(r.s)).DryLines, "an empty tank says nothing of them")
}

func TestAFloatOverrulesADoubt(t *testing.T) {
	for _, f := range []garden.Float{garden.FloatDown, garden.NoFloat} {
		r := newPumpRig(t)
		r.tries(3)
		r.Float(sec(r.s), f)
		r.WaterCame(sec(r.s))
		assert.False(t, r.Pump(sec(r.s)).MeterDoubted, "float %v", f)
	}
	r := newPumpRig(t)
	r.tries(3)
	r.WaterCame(sec(r.s))
	r.run(5 * time.Minute)
	require.True(t, r.valves["chard"].open)
	r.s++
	r.Float(sec(r.s), garden.FloatDown)
	assert.False(t, r.valves["chard"].open, "at once")
	r.float = garden.FloatDown
	r.run(time.Hour)
	assert.False(t, r.valves["chard"].open)
}

// A meter that does not answer says nothing against the float: after the same tries
// the pump runs by it, until probes should have answered.
func TestAMeterThatDoesNotAnswerIsNoProofOfADryPump(t *testing.T) {
	r := newPumpRig(t)
	r.meter = garden.Measured{}
	r.tries(3)
	require.Len(t, r.ended, 3)
	for _, d := range r.ended {
		assert.Equal(t, 20*time.Second, d.Open)
	}
	require.True(t, r.Pump(sec(r.s)).MeterDoubted)
	d := r.ranUntilEnd()
	assert.Equal(t, deafRun, d.Open)
	assert.True(t, d.PumpDry)
	assert.Equal(t, 20*time.Second, r.ranUntilEnd().Open, "no probe answered")
	r.run(24 * time.Hour)
	for _, d := range r.ended[4:] {
		assert.LessOrEqual(t, d.Open, 20*time.Second)
	}

	// One that falls silent in between is none that does not answer.
	r = newPumpRig(t)
	r.meter = garden.Measured{}
	r.tries(2)
	r.meter = garden.Known(0)
	r.tries(3)
	assert.False(t, r.Pump(sec(r.s)).MeterDoubted)
}

// Whatever is asked: without flow and without an answer of the probes a pump runs no
// more than sixteen minutes in any day, and never longer than it may at a time. That
// it tries more often where a float says that there is water is what a pot lives on
// meanwhile, and by which its probes come to tell.
func TestADayOfTries(t *testing.T) {
	perDay := func(f garden.Float, within, most time.Duration) (n int) {
		r := newPumpRig(t)
		r.pump.FlowWithin, r.float = within, f
		r.run(72 * time.Hour)
		for i, d := range r.ended {
			assert.LessOrEqual(t, d.Open, within)
			sum := time.Duration(0)
			for _, e := range r.ended[:i+1] {
				if d.ClosedAt.Since(e.ClosedAt) < 24*time.Hour {
					sum += e.Open
				}
			}
			assert.LessOrEqual(t, sum, most, "by %v", d.ClosedAt.Mono)
		}
		return len(r.ended)
	}
	const day = 16 * time.Minute
	few := perDay(garden.NoFloat, 30*time.Second, day)
	many := perDay(garden.FloatUp, 30*time.Second, day)
	assert.Greater(t, many, 3*few)
	perDay(garden.FloatUp, 45*time.Second, day)
	// Who grants it minutes without flow gets no more of them for the float.
	assert.Equal(t, perDay(garden.NoFloat, 10*time.Minute, 24*time.Hour), perDay(garden.FloatUp, 10*time.Minute, 24*time.Hour))
}
