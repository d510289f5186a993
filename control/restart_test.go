package control

import (
	"encoding/json"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/control/garden"
)

// restart ends the gateway's life, lets the pots go on for off without one, and begins
// the next from what was kept.
func (b *bench) restart(off time.Duration) {
	raw, err := json.Marshal(b.p.Remember(b.st, b.now))
	require.NoError(b.t, err)
	var m Memory
	require.NoError(b.t, json.Unmarshal(raw, &m))
	lostMM := b.st.sky.between(solarHour(b.p, b.now), off.Hours())
	for i := range b.p.zones {
		b.mean[i] -= b.demand * lostMM * b.st.zones[i].lossPerMM / b.p.zones[i].VolumeL
	}
	b.now = b.now.Add(off)
	st := b.p.NewState()
	st.NextOrder = b.st.NextOrder
	b.p.Recall(st, b.now, m, nil)
	var last []garden.Delivery
	for _, d := range b.gave {
		if b.now.Wall.Sub(d.ClosedAt.Wall) < 24*time.Hour {
			last = append(last, d)
		}
	}
	b.p.Restore(st, b.now, last)
	b.st, b.pend = st, nil
}

// A pot whose gateway starts anew again and again is learnt as well as another, whatever
// its probe can see: the account that its thirst is learnt from goes on, and what it lost
// while no gateway ran is in it.
func TestManyRestartsTeachNothingWrong(t *testing.T) {
	for name, depthCM := range map[string]float64{"a probe under the surface": 12, "in the middle": 20, "near the floor": 36} {
		t.Run(name, func(t *testing.T) {
			season := func(every, off time.Duration) (factor, sd float64) {
				b := newBench(t, testGarden(1, depthCM))
				next := every
				for range 20 * 24 {
					b.run(time.Hour)
					if next -= time.Hour; every > 0 && next <= 0 && len(b.open) == 0 {
						b.restart(off)
						next = every
					}
				}
				return b.st.zones[0].water.Factor, math.Sqrt(b.st.zones[0].water.VarFactor)
			}
			want, sd := season(0, 0)
			require.InDelta(t, 1, want, 0.03, "the bench drinks what the book says")
			for _, off := range []time.Duration{time.Minute, 2 * time.Hour} {
				for _, every := range []time.Duration{6 * time.Hour, 24 * time.Hour} {
					got, gotSD := season(every, off)
					assert.InDelta(t, 1, got, 0.03, "every %v, off for %v", every, off)
					assert.Less(t, gotSD, 1.5*sd, "every %v, off for %v: it is as sure", every, off)
				}
			}
		})
	}
}

// Nobody but the book knows what a pot without a probe lost while no gateway ran.
func TestAPotIsOwedWhatItLostUnseen(t *testing.T) {
	g := testGarden(1, 20)
	g.Pots[0].Zones[0].Probes = nil
	b := newBench(t, g)
	b.run(30 * time.Hour) // to six in the morning
	z := &b.st.zones[0]
	watched := newBench(t, g)
	watched.run(30 * time.Hour)
	for _, off := range []time.Duration{time.Hour, 9 * time.Hour, 26 * time.Hour, 47 * time.Hour} {
		st := b.p.NewState()
		m := b.p.Remember(b.st, b.now)
		later := b.now.Add(off)
		b.p.Recall(st, later, m, nil)
		require.Equal(t, z.short, st.zones[0].short, "what it lost takes weather to tell")
		b.p.Step(st, later, &b.obs, nil)
		// The hours before, of days that are all alike, by another way: minute by minute.
		lost, s := 0.0, &st.sky
		for min := range int(off / time.Minute) {
			h := math.Mod(solarHour(b.p, b.now)+float64(min)/60, 24)
			lost += s.between(h, 1.0/60) * st.zones[0].lossPerMM
		}
		back := &st.zones[0]
		assert.InDelta(t, min(z.short+allowance*lost, 75), back.short, 0.02, "off for %v", off)
		assert.InDelta(t, z.water.Mean-lost/75, back.water.Mean, 0.001, "off for %v", off)
		assert.Greater(t, back.water.SD(), z.water.SD())
		// Once only.
		short := back.short
		b.p.Step(st, later.Add(time.Minute), &b.obs, nil)
		assert.InDelta(t, short, back.short, 0.02)
	}
	t.Run("rain of the day's figure", func(t *testing.T) {
		m := b.p.Remember(b.st, b.now)
		obs := b.obs
		after := func(mm float64) float64 {
			obs.Today.RainMM = garden.Known(mm)
			st := b.p.NewState()
			b.p.Recall(st, b.now.Add(6*time.Hour), m, nil)
			b.p.Step(st, b.now.Add(6*time.Hour), &obs, nil)
			return st.zones[0].short
		}
		came := after(0) - after(16)
		assert.LessOrEqual(t, came, 4*0.1662, "a quarter of 16 mm on 0.166 m²")
		assert.GreaterOrEqual(t, came, 4*0.1662/2-1e-3, "of which the canopy sheds half at most")
		assert.Equal(t, after(0), after(math.NaN()))
		assert.Equal(t, after(0), after(-3))
	})
	t.Run("after days that of two", func(t *testing.T) {
		owed := func(off time.Duration) float64 {
			st := b.p.NewState()
			b.p.Recall(st, b.now.Add(off), b.p.Remember(b.st, b.now), nil)
			b.p.Step(st, b.now.Add(off), &b.obs, nil)
			return st.zones[0].short
		}
		assert.InDelta(t, owed(47*time.Hour), owed(73*time.Hour), 4.5, "but for what a pot is guessed to lack of which nothing is known")
		assert.GreaterOrEqual(t, owed(49*time.Hour), owed(47*time.Hour))
	})
	t.Run("not without a clock", func(t *testing.T) {
		m := b.p.Remember(b.st, b.now)
		for name, at := range map[string]garden.Moment{
			"no clock": {Mono: time.Minute, Wall: b.now.Wall.Add(5 * time.Hour)}, "a clock before the memory": b.now.Add(-time.Hour),
		} {
			st := b.p.NewState()
			b.p.Recall(st, at, m, nil)
			assert.Zero(t, st.unseen, name)
		}
	})
}

// What a memory has of an account can be damaged.
func TestAMemoryOfAccountsThatCantBe(t *testing.T) {
	b := newBench(t, testGarden(1, 36))
	b.run(4 * 24 * time.Hour)
	m := b.p.Remember(b.st, b.now)
	require.NotNil(t, m.Zones[0].Span)
	again := func(age time.Duration, change func(*ZoneMemory)) *zoneState {
		raw, err := json.Marshal(m)
		require.NoError(t, err)
		var c Memory
		require.NoError(t, json.Unmarshal(raw, &c))
		change(&c.Zones[0])
		st := b.p.NewState()
		now := b.now.Add(age)
		now.Mono = 0
		b.p.Recall(st, now, c, nil)
		return &st.zones[0]
	}
	as := func(*ZoneMemory) {}
	was, back := b.st.zones[0].span, again(time.Hour, as)
	assert.Equal(t, was.inL, back.span.inL)
	assert.InDelta(t, b.st.zones[0].spent-was.spent, back.spent-back.span.spent, 1e-12)
	assert.Equal(t, b.now.Mono-was.at+time.Hour, -back.span.at.Round(time.Microsecond))
	assert.Equal(t, trustFor, back.span.from, "one reading ends none")
	assert.False(t, again(freshMemory+time.Minute, as).span.open, "who waters by hand meanwhile tells nobody")
	for name, change := range map[string]func(*SpanMemory){
		"not a number": func(s *SpanMemory) { s.InL = math.NaN() }, "endless": func(s *SpanMemory) { s.Hours = math.Inf(1) },
		"negative": func(s *SpanMemory) { s.Spent = -1 }, "weeks old": func(s *SpanMemory) { s.Hours = 400 }, "more than all": func(s *SpanMemory) { s.Mid = 1.1 },
	} {
		assert.False(t, again(time.Hour, func(z *ZoneMemory) { change(z.Span) }).span.open, name)
	}
	drying := &DryingMemory{Hours: 5, From: 0.4, To: 0.38, Spent: 0.01}
	back = again(time.Hour, func(z *ZoneMemory) { z.Drying = drying })
	assert.True(t, back.drying)
	assert.Equal(t, -6*time.Hour, back.dryAt)
	assert.InDelta(t, 0.01, back.spent-back.drySpent, 1e-12)
	for _, bad := range []DryingMemory{{Hours: math.NaN()}, {From: 2}, {To: -0.1}, {Spent: math.Inf(1)}, {Hours: 500}} {
		assert.False(t, again(time.Hour, func(z *ZoneMemory) { z.Drying = &bad }).drying, "%+v", bad)
	}
}

// What a memory has of a delivery is told by its order's number, whatever clocks say.
func TestARestartTellsOrdersApart(t *testing.T) {
	b := newBench(t, saltyGarden(0.5))
	b.run(2 * time.Hour)
	b.st.NextOrder = 41
	b.st.lines[0].phase, b.st.lines[0].order = garden.Pulsing, 40
	lost := b.now
	lost.Synced = false
	for name, kept := range map[string]garden.Moment{"a memory of no time": lost, "of a time": b.now} {
		m := b.p.Remember(b.st, kept)
		require.Equal(t, []garden.OrderID{40}, m.Open)
		for _, synced := range []bool{true, false} {
			after := func(id garden.OrderID, closed bool) *zoneState {
				st := b.p.NewState()
				now := b.now.Add(20 * time.Minute)
				now.Synced = synced
				b.p.Recall(st, now, m, nil)
				at := b.now.Add(-10 * time.Minute)
				at.Synced = closed
				b.p.Restore(st, now, []garden.Delivery{{Order: id, Line: "line-pot0", Zone: "pot0", Kind: garden.Irrigate, Litres: 4, Metered: true, OpenedAt: at, ClosedAt: at, End: garden.Complete}})
				return &st.zones[0]
			}
			for _, closed := range []bool{true, false} {
				was := after(39, closed)
				for _, id := range []garden.OrderID{40, 41, 90} {
					assert.InDelta(t, was.salts.load+2, after(id, closed).salts.load, 1e-9, "%s, start with a clock %v, closed with one %v: order %d is new", name, synced, closed, id)
				}
			}
		}
	}
}
