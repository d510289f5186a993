package control

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/control/garden"
)

// A start before the clock is right, made anew when it is, is the start that a board with
// a clock makes.
func TestAStartIsMadeAnewWhenItsClockIsRight(t *testing.T) {
	g := testGarden(2, 36)
	g.Pots[0].Zones[0].Probes = nil
	b := newBench(t, g)
	b.run(5 * 24 * time.Hour)
	m := b.p.Remember(b.st, b.now)
	var last []garden.Delivery
	for _, d := range b.gave {
		if b.now.Wall.Sub(d.ClosedAt.Wall) < 24*time.Hour {
			last = append(last, d)
		}
	}
	require.NotEmpty(t, last)
	right := garden.Moment{Mono: time.Minute, Wall: b.now.Wall.Add(7 * time.Hour), Synced: true}
	early := garden.Moment{Mono: 20 * time.Second, Wall: time.Unix(20, 0).UTC()}
	begin := func(asks ...garden.Ask) *State {
		st := b.p.NewState()
		st.NextOrder = 700
		b.p.Recall(st, early, m, nil)
		b.p.Restore(st, early, last)
		b.p.Step(st, early, &garden.Observed{Today: b.obs.Today, Asks: asks}, nil)
		return st
	}
	want := b.p.NewState()
	b.p.Recall(want, right, m, nil)
	b.p.Restore(want, right, last)

	st := begin()
	require.NotEqual(t, want.zones[0].water, st.zones[0].water, "the clock matters")
	require.NotEqual(t, want.zones[0].wetAt, st.zones[0].wetAt)
	b.p.Redate(st, right, m, nil, last)
	for i := range want.zones {
		assert.Equal(t, want.zones[i], st.zones[i])
	}
	for i := range want.lines {
		assert.Equal(t, want.lines[i].given, st.lines[i].given)
	}
	assert.Equal(t, garden.OrderID(700), st.NextOrder)
	b.p.Step(st, right, &b.obs, nil)
	assert.Zero(t, st.unseen)
	assert.Greater(t, st.zones[0].short, want.zones[0].short, "what it lost while no gateway ran is in it")

	t.Run("what people asked for stands", func(t *testing.T) {
		shut := garden.Ask{Kind: garden.AskShut, Zone: "pot1", Until: garden.Moment{Mono: time.Hour}}
		st := begin(shut)
		b.p.Redate(st, right, m, nil, last)
		assert.True(t, st.zones[1].shut)
		assert.Equal(t, time.Hour, st.zones[1].shutTill)
		assert.False(t, st.zones[0].shut)
	})
	t.Run("but where something has come of it", func(t *testing.T) {
		kept := func(name string, zone int, st *State) {
			t.Helper()
			was, other := st.zones[zone].water, 1-zone
			require.NotEqual(t, want.zones[zone].water, was)
			b.p.Redate(st, right, m, nil, last)
			assert.Equal(t, was, st.zones[zone].water, name)
			assert.Equal(t, want.zones[other].water, st.zones[other].water, "%s: the other pot", name)
			b.p.Step(st, right, &b.obs, nil)
			assert.InDelta(t, was.Mean, st.zones[zone].water.Mean, 1e-6, "%s: what it lost unseen was not known", name)
		}
		kept("water asked for", 1, begin(garden.Ask{Kind: garden.AskWater, Zone: "pot1", Litres: 1}))
		kept("a can", 1, begin(garden.Ask{Kind: garden.GardenerWatered, Zone: "pot1", Litres: 1}))
		kept("plants", 1, begin(garden.Ask{Kind: garden.AskPlant, Zone: "pot1", Plant: garden.PlantEvent{Kind: garden.Mulched, Zone: "pot1", Share: 0.5}}))
		st := begin()
		b.p.Lend(st, b.p.lines[0].ID, true)
		kept("a line in a feed", 0, st)
		st = begin()
		d := last[0]
		require.Equal(t, b.p.lines[0].ID, d.Line)
		b.p.Step(st, early.Add(time.Second), &garden.Observed{Today: b.obs.Today, Delivered: []garden.Delivery{d}}, nil)
		kept("a delivery", 0, st)
		st = begin()
		st.zones[1].asked, st.zones[1].askedAt = 1, early.Mono+6*time.Hour
		orders := b.p.Step(st, early.Add(6*time.Hour), &garden.Observed{Today: b.obs.Today}, nil)
		require.Len(t, orders, 1)
		require.Equal(t, b.p.lines[1].ID, orders[0].Line)
		id := st.lines[1].order
		b.p.Redate(st, right.Add(6*time.Hour), m, nil, last)
		assert.Equal(t, id, st.lines[1].order, "an order under way")
		assert.Equal(t, garden.Pulsing, st.lines[1].phase)
		early := begin()
		was := early.zones[0].water
		b.p.Redate(early, garden.Moment{Mono: time.Minute, Wall: time.Unix(60, 0)}, m, nil, last)
		assert.Equal(t, was, early.zones[0].water, "nor while the clock is wrong")
	})
}

// A memory that was kept without a clock says at least what was missing.
func TestAMemoryOfNoTime(t *testing.T) {
	g := testGarden(1, 20)
	g.Pots[0].Zones[0].Probes = nil
	b := newBench(t, g)
	b.run(5 * 24 * time.Hour)
	lost := b.now
	lost.Synced = false
	m := b.p.Remember(b.st, lost)
	require.True(t, m.At.IsZero())
	m.Zones[0].ShortL = 9.5
	st := b.p.NewState()
	guess := st.zones[0].short
	require.Less(t, guess, 9.5)
	now := garden.Moment{Mono: time.Minute, Wall: time.Unix(60, 0).UTC()}
	b.p.Recall(st, now, m, nil)
	assert.Equal(t, 9.5, st.zones[0].short)
	var last []garden.Delivery
	for _, d := range b.gave[max(0, len(b.gave)-3):] {
		d.ClosedAt.Synced = false
		last = append(last, d)
	}
	require.NotEmpty(t, last)
	b.p.Restore(st, now, last)
	assert.Equal(t, 9.5, st.zones[0].short, "the memory has that water")
	assert.Positive(t, st.lines[0].given.sum(now.Mono), "and the day's limit counts it")
	assert.Less(t, st.zones[0].water.VarFactor, 0.27*0.27, "what it drinks is as known as a day later")
	m.Zones[0].ShortL = 1e9
	b.p.Recall(st, now, m, nil)
	assert.Equal(t, 75.0, st.zones[0].short)
}
