package control

import (
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// cameRig is a pot of 75 L whose probe reads what the test says, minute by minute.
type cameRig struct {
	b   *bench
	now garden.Moment
	// water is what the probe reads, falls by how much it does in an hour, m³/m³.
	water, falls float64
	told         []Event
}

func newCameRig(t *testing.T) *cameRig {
	b := newBench(t, testGarden(1, 15))
	return &cameRig{b: b, now: b.now, water: 0.40, falls: 0.006}
}

// hours lets so many of them pass.
func (r *cameRig) hours(n float64) {
	ps, t := &r.b.st.probes[0], passed(time.Minute)
	for range int(n * 60) {
		r.now = r.now.Add(time.Minute)
		r.water -= r.falls / 60
		ps.has, ps.smooth, ps.at = true, r.water, r.now.Mono
		r.b.st.events = r.b.st.events[:0]
		r.b.p.watchCame(r.b.st, 0, r.now, &t)
		r.told = append(r.told, r.b.st.events...)
	}
}

// gave books a pulse of so many litres by rating, counted or not.
func (r *cameRig) gave(litres float64, counted bool) {
	r.b.p.uncounted(r.b.st, 0, &garden.Delivery{Open: time.Duration(litres / r.b.p.lines[0].FlowLPH * float64(time.Hour)), Uncounted: !counted}, r.now.Mono)
}

func (r *cameRig) kinds() (out []EventKind) {
	for _, e := range r.told {
		out = append(out, e.Kind)
	}
	return out
}

func TestWaterThatNoMeterCountedShowsAtAProbe(t *testing.T) {
	r := newCameRig(t)
	r.b.p.expectWater(r.b.st, 0, &garden.Order{MaxOn: time.Hour}, r.now)
	r.hours(0.5)
	r.gave(0.5, false)
	r.falls = -0.02
	r.hours(0.25)
	assert.Empty(t, r.told, "not by a hair's breadth")
	r.hours(0.5)
	require.Equal(t, []EventKind{WaterCame}, r.kinds())
	assert.Equal(t, garden.ProbeID("pot0-probe"), r.told[0].Probe)
	assert.InDelta(t, answerLeast, r.told[0].A, 0.001)
	assert.InDelta(t, 0.5, r.told[0].B, 0.01)
	r.hours(3)
	assert.Len(t, r.told, 1, "the same water tells once")
	r.gave(0.5, false)
	r.hours(0.1)
	assert.Len(t, r.told, 2)
}

func TestWhatIsNoSignOfUncountedWater(t *testing.T) {
	for _, c := range []struct {
		name string
		do   func(r *cameRig)
	}{
		{"water that was counted", func(r *cameRig) { r.gave(0.5, true) }},
		{"too little of it", func(r *cameRig) { r.gave(0.2, false) }},
		{"rain before", func(r *cameRig) {
			r.b.st.zones[0].came.otherMM += 12
			r.hours(6)
			r.gave(0.5, false)
		}},
		{"rain after", func(r *cameRig) { r.gave(0.5, false); r.b.st.zones[0].came.otherMM += 12 }},
		{"a gardener's can", func(r *cameRig) {
			r.gave(0.5, false)
			r.b.p.ask(r.b.st, r.now, &garden.Ask{Kind: garden.GardenerWatered, Zone: "pot0", Litres: 5})
		}},
		{"water that was counted just before, and spreads", func(r *cameRig) { r.gave(5, true); r.gave(0.5, false) }},
		{"a rise that is little beside what was given", func(r *cameRig) { r.gave(24, false); r.hours(0.25); r.water -= 0.002 }},
		{"water of yesterday", func(r *cameRig) { r.gave(0.5, false); r.hours(13) }},
		{"a probe that is not believed", func(r *cameRig) { r.gave(0.5, false); r.b.st.probes[0].distrusted = true }},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newCameRig(t)
			r.b.p.expectWater(r.b.st, 0, &garden.Order{MaxOn: time.Hour}, r.now)
			r.hours(0.5)
			c.do(r)
			r.falls = -0.02
			r.hours(1.5)
			assert.Empty(t, r.told)
		})
	}
}

// A reading that jumps did not rise by water: a plug was changed, a drift ended. As the
// smoothed reading follows, the rest of the jump is none either.
func TestAReadingThatJumpsIsNoSignOfUncountedWater(t *testing.T) {
	for _, wait := range []float64{0.1, 0.5, 2, 5} {
		r := newCameRig(t)
		r.b.p.expectWater(r.b.st, 0, &garden.Order{MaxOn: time.Hour}, r.now)
		r.hours(0.5)
		for range 6 {
			r.gave(0.1, false)
			r.hours(wait / 6)
		}
		level := r.water + 0.03
		for range 45 {
			r.water += smoothing(time.Minute) * (level - r.water)
			r.hours(1. / 60)
		}
		assert.InDelta(t, level, r.water, 0.001)
		assert.Empty(t, r.told, "%v h after", wait)
		r.gave(0.5, false)
		r.falls = -0.03
		r.hours(1)
		assert.Len(t, r.told, 1, "and water is still seen from there")
	}
}

// Rain reaches the controller through Step, and hides what comes after.
func TestRainHidesWhatAPumpGives(t *testing.T) {
	b := newBench(t, testGarden(1, 15))
	b.tick()
	b.obs.Now.RainMM = garden.Known(3)
	b.tick()
	b.obs.Now.RainMM = garden.Measured{}
	assert.InDelta(t, 3, b.st.zones[0].came.otherMM, 0.1)
}

// How long a pump rests is the guard's to say: a line is not left for two hours as
// after a stop because water drained.
func TestAPumpThatShowedNoFlowIsTriedAgain(t *testing.T) {
	next := func(dry bool) time.Duration {
		b := newBench(t, testGarden(1, 15))
		b.mean[0] -= 0.3
		b.run(10 * time.Hour)
		require.NotEmpty(t, b.log)
		b.mean[0] = float64(b.p.zones[0].Capacity) - 0.3
		for len(b.open) == 0 {
			b.tick()
		}
		o := b.log[len(b.log)-1]
		delete(b.open, o.Line)
		b.pend = append(b.pend, garden.Delivery{Order: o.ID, Line: o.Line, Zone: o.Zone, Kind: o.Kind, Metered: true, Uncounted: true,
			PumpDry: dry, Open: 30 * time.Second, OpenedAt: b.now, ClosedAt: b.now, End: garden.Stopped})
		from, n := b.now, len(b.log)
		for len(b.log) == n && b.now.Since(from) < 5*time.Hour {
			b.mean[0] = float64(b.p.zones[0].Capacity) - 0.3
			b.tick()
		}
		return b.now.Since(from)
	}
	assert.Less(t, next(true), 10*time.Minute)
	assert.GreaterOrEqual(t, next(false), unsettled)
}

// A pulse may last so long that its water shows before it ends: what counts is what
// the probe read before the order.
func TestUncountedWaterShowsDuringItsPulse(t *testing.T) {
	b := newBench(t, testGarden(1, 15))
	b.mean[0] -= 0.2
	for len(b.open) == 0 {
		b.tick()
	}
	o := b.log[len(b.log)-1]
	for b.now.Mono+time.Minute < b.ends[o.Line] {
		b.tick()
	}
	require.Contains(t, b.open, o.Line)
	delete(b.open, o.Line)
	b.pend = append(b.pend, garden.Delivery{Order: o.ID, Line: o.Line, Zone: o.Zone, Kind: o.Kind, Litres: o.Litres, Uncounted: true,
		Open: b.now.Since(b.openAt[o.Line]), OpenedAt: b.openAt[o.Line], ClosedAt: b.now, End: garden.Complete})
	b.events = nil
	b.run(2 * time.Minute)
	require.NotEmpty(t, b.events)
	assert.Equal(t, WaterCame, b.events[0].Kind)
}
