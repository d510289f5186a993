package control

import (
	"encoding/json"
	"math"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/control/balance"
	"fabricpot/control/garden"
)

func TestARestartUnlearnsNothing(t *testing.T) {
	b := newBench(t, testGarden(1, 36))
	b.demand = 1.35
	b.run(14 * 24 * time.Hour)
	old := b.st.zones[0]
	require.InDelta(t, 1.35, old.water.Factor, 0.14)

	raw, err := json.Marshal(b.p.Remember(b.st, b.now))
	require.NoError(t, err)
	var m Memory
	require.NoError(t, json.Unmarshal(raw, &m))

	again := func(after time.Duration, m Memory, events ...garden.PlantEvent) *zoneState {
		st := b.p.NewState()
		now := b.now.Add(after)
		now.Mono = 0 // another boot
		b.p.Recall(st, now, m, events)
		return &st.zones[0]
	}
	t.Run("an hour later", func(t *testing.T) {
		z := again(time.Hour, m)
		assert.InDelta(t, old.water.Factor, z.water.Factor, 1e-9)
		assert.InDelta(t, old.water.Mean, z.water.Mean, 1e-9)
		assert.Greater(t, z.water.SD(), old.water.SD())
		assert.True(t, z.known)
	})
	t.Run("a month later the factor stands with more doubt, the water does not", func(t *testing.T) {
		z := again(30*24*time.Hour, m)
		assert.InDelta(t, old.water.Factor, z.water.Factor, 1e-9)
		assert.Greater(t, z.water.VarFactor, old.water.VarFactor)
		assert.False(t, z.known)
		assert.NotEqual(t, old.water.Mean, z.water.Mean)
	})
	t.Run("other plants since: half of the factor", func(t *testing.T) {
		z := again(time.Hour, m, garden.PlantEvent{Kind: garden.Planted, Zone: "pot0", On: b.now.Wall.Add(time.Minute)})
		assert.InDelta(t, 1+(old.water.Factor-1)/2, z.water.Factor, 1e-9)
	})
	t.Run("what was done before is replayed", func(t *testing.T) {
		z := again(time.Hour, m, garden.PlantEvent{Kind: garden.Pruned, Zone: "pot0", Share: 0.5, On: b.now.Wall.Add(-14 * 24 * time.Hour)},
			garden.PlantEvent{Kind: garden.Moved, Zone: "pot0", Exposure: garden.Sheltered, On: b.now.Wall.Add(-13 * 24 * time.Hour)},
			garden.PlantEvent{Kind: garden.Pruned, Zone: "gone", Share: 0.5, On: b.now.Wall})
		assert.InDelta(t, 0.8, z.place.exposure, 1e-9)
		b.p.growOn(&b.p.zones[0], z, civilDay(b.now.Wall), garden.DayWeather{})
		assert.InDelta(t, 1-0.5*math.Pow(0.95, 14), z.plants[0].leaf, 0.03)
	})
	t.Run("nonsense is left out, bounds hold", func(t *testing.T) {
		bad := m
		bad.Zones = []ZoneMemory{{Zone: "pot0", Factor: 40, FactorSD: 3, Water: 7, WaterSD: 0.01, ShortL: -3}, {Zone: "nobody", Factor: 1}}
		z := again(time.Hour, bad)
		assert.Equal(t, balance.MaxFactor, z.water.Factor)
		assert.LessOrEqual(t, z.water.VarFactor, 0.09+1e-12)
		assert.Less(t, z.water.Mean, 1.0)
		bad.Zones = []ZoneMemory{{Zone: "pot0", Factor: math.NaN(), FactorSD: 1, Water: math.Inf(1), WaterSD: 1}}
		z = again(time.Hour, bad)
		assert.Equal(t, 1.0, z.water.Factor)
	})
}

// TestARestartBelievesNoProbeThatDidNotMove: what did not move with water before a
// restart is to move with it after.
func TestARestartBelievesNoProbeThatDidNotMove(t *testing.T) {
	b := still(t, testGarden(1, 8))
	b.dry(0, 1.2)
	stuck := b.reading(0)
	b.lie = func(int, float64) float64 { return stuck }
	_, at := b.until(10)
	require.GreaterOrEqual(t, at, 0)
	b.run(10 * time.Hour)
	require.True(t, b.p.View(b.st, b.now, nil)[0].NoAnswer)
	raw, err := json.Marshal(b.p.Remember(b.st, b.now))
	require.NoError(t, err)
	probe := b.p.probes[0].id

	for name, c := range map[string]struct {
		change func(*Memory, *garden.Moment)
		mute   bool // the probe is not believed
		none   bool // nothing answered
	}{
		"at once":                    {func(*Memory, *garden.Moment) {}, true, true},
		"on a board with no clock":   {func(_ *Memory, now *garden.Moment) { now.Synced = false }, true, true},
		"a month later":              {func(_ *Memory, now *garden.Moment) { *now = now.Add(30 * 24 * time.Hour) }, false, false},
		"one of two":                 {func(m *Memory, _ *garden.Moment) { m.Zones[0].NoAnswer = false }, true, false},
		"of an older version":        {func(m *Memory, _ *garden.Moment) { m.Zones[0].Unmoved, m.Zones[0].NoAnswer = nil, false }, false, false},
		"of a probe that is no more": {func(m *Memory, _ *garden.Moment) { m.Zones[0].Unmoved = []garden.ProbeID{"", "gone"} }, false, false},
	} {
		t.Run(name, func(t *testing.T) {
			var m Memory
			require.NoError(t, json.Unmarshal(raw, &m))
			now := b.now
			c.change(&m, &now)
			now.Mono = 0 // another boot
			st := b.p.NewState()
			b.p.Recall(st, now, m, nil)
			var mute []garden.ProbeID
			b.p.Unmoved(st, func(id garden.ProbeID) { mute = append(mute, id) })
			assert.Equal(t, c.mute, slices.Contains(mute, probe))
			assert.Equal(t, c.none, b.p.View(st, now, nil)[0].NoAnswer)
		})
	}
}

// TestOddLossesOutliveRestarts: a pot that begins to lose several times what a plant drinks
// is told of as soon where the gateway is started anew each other day as where it is not.
func TestOddLossesOutliveRestarts(t *testing.T) {
	told := func(restart bool) (first, times int) {
		b := newBench(t, testGarden(1, 22))
		b.run(14 * 24 * time.Hour)
		b.demand = 2.5
		for day := range 14 {
			if restart && day%2 == 0 {
				m := b.p.Remember(b.st, b.now)
				b.st = b.p.NewState()
				b.st.NextOrder = m.NextOrder
				b.p.Recall(b.st, b.now, m, nil)
			}
			b.run(24 * time.Hour)
			if times = b.toldOf(DrinksMore); times > 0 && first == 0 {
				first = day
			}
		}
		return first, times
	}
	without, often := told(false)
	require.Positive(t, often)
	with, again := told(true)
	assert.Equal(t, without, with)
	assert.InDelta(t, often, again, 2, "a start tells nothing twice")
}

func TestNonsenseOfOddLossesIsLeftOut(t *testing.T) {
	b := newBench(t, testGarden(1, 22))
	good := OddMemory{More: 1, Ratio: 2, Spans: 4, Usual: 1.1, Unsure: 0.1}
	recall := func(m OddMemory, age time.Duration, events ...garden.PlantEvent) odd {
		st := b.p.NewState()
		b.p.Recall(st, b.now.Add(age), Memory{At: b.now.Wall, Zones: []ZoneMemory{{Zone: "pot0", Odd: &m}}}, events)
		return st.zones[0].odd
	}
	o := recall(good, time.Hour)
	assert.Equal(t, odd{more: 1, ratio: 2, spans: 4, usual: 1.1, unsure: 0.1}, odd{more: o.more, ratio: o.ratio, spans: o.spans, usual: o.usual, unsure: o.unsure})
	assert.False(t, o.hasTold)
	assert.Zero(t, recall(good, usualFor+time.Hour).spans, "too long ago")
	assert.Equal(t, 1, recall(good, mostForgotten).more)
	late := recall(good, mostForgotten+time.Hour)
	assert.Zero(t, late.more, "a streak of days ago is none")
	assert.Equal(t, 4, late.spans)
	assert.Zero(t, recall(good, time.Hour, garden.PlantEvent{Kind: garden.Planted, Zone: "pot0", On: b.now.Wall.Add(time.Minute)}).spans, "of other plants")
	assert.Zero(t, recall(good, time.Hour, garden.PlantEvent{Kind: garden.Pruned, Zone: "pot0", Share: 0.5, On: b.now.Wall.Add(time.Minute)}).spans, "of more leaves")
	assert.Equal(t, 4, recall(good, time.Hour, garden.PlantEvent{Kind: garden.Pruned, Zone: "pot0", Share: 0.5, On: b.now.Wall.Add(-time.Minute)}).spans, "of as many")
	for name, change := range map[string]func(*OddMemory){
		"spans": func(m *OddMemory) { m.Spans = -1 }, "more": func(m *OddMemory) { m.More = -1 }, "less": func(m *OddMemory) { m.Less = -1 },
		"ratio": func(m *OddMemory) { m.Ratio = math.NaN() }, "usual": func(m *OddMemory) { m.Usual = math.Inf(1) }, "unsure": func(m *OddMemory) { m.Unsure = math.NaN() },
	} {
		m := good
		change(&m)
		assert.Equal(t, odd{}, recall(m, time.Hour), name)
	}
	many := good
	many.Spans, many.More = 1e9, 1e9
	o = recall(many, time.Hour)
	assert.Equal(t, 8, o.spans)
	assert.Equal(t, oddSpans, o.more)
}
