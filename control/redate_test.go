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
	require.True(t, b.p.Redate(st, right, m, nil, last))
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
		require.True(t, b.p.Redate(st, right, m, nil, last))
		assert.True(t, st.zones[1].shut)
		assert.Equal(t, time.Hour, st.zones[1].shutTill)
		assert.False(t, st.zones[0].shut)
	})
	t.Run("not once something has come of it", func(t *testing.T) {
		for name, st := range map[string]*State{
			"water asked for":  begin(garden.Ask{Kind: garden.AskWater, Zone: "pot1", Litres: 1}),
			"a can":            begin(garden.Ask{Kind: garden.GardenerWatered, Zone: "pot1", Litres: 1}),
			"plants":           begin(garden.Ask{Kind: garden.AskPlant, Zone: "pot1", Plant: garden.PlantEvent{Kind: garden.Pruned, Zone: "pot1", Share: 0.5}}),
			"a line in a feed": begin(),
		} {
			if name == "a line in a feed" {
				b.p.Lend(st, b.p.lines[0].ID, true)
			}
			assert.False(t, b.p.Redate(st, right, m, nil, last), name)
		}
		st := begin()
		b.p.Step(st, early.Add(time.Second), &garden.Observed{Today: b.obs.Today, Delivered: last[:1]}, nil)
		assert.False(t, b.p.Redate(st, right, m, nil, last), "a delivery")
		gives := begin()
		gives.zones[1].asked, gives.zones[1].askedAt = 1, early.Mono+6*time.Hour
		require.NotEmpty(t, b.p.Step(gives, early.Add(6*time.Hour), &garden.Observed{Today: b.obs.Today}, nil))
		assert.False(t, b.p.Redate(gives, right.Add(6*time.Hour), m, nil, last), "an order")
		require.False(t, gives.lines[1].phase == garden.Resting)
		gives.used = false
		assert.False(t, b.p.Redate(gives, right.Add(6*time.Hour), m, nil, last), "one that is under way")
		assert.False(t, b.p.Redate(begin(), early.Add(time.Minute), m, nil, last), "nor while it is wrong")
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
	b.st.zones[0].short = 0
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
