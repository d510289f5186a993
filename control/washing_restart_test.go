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

func TestSaltsOutliveARestart(t *testing.T) {
	b := newBench(t, saltyGarden(0.5))
	b.run(2 * time.Hour)
	z, zp := &b.st.zones[0], &b.p.zones[0]
	again := func(age time.Duration, synced bool, change func(*ZoneMemory)) *zoneState {
		raw, err := json.Marshal(b.p.Remember(b.st, b.now))
		require.NoError(t, err)
		var m Memory
		require.NoError(t, json.Unmarshal(raw, &m))
		change(&m.Zones[0])
		now := b.now.Add(age)
		now.Synced = synced
		st := b.p.NewState()
		b.p.Recall(st, now, m, nil)
		return &st.zones[0]
	}
	as := func(*ZoneMemory) {}
	z.salts.enter(zp.washing.at/0.5, zp)
	require.Positive(t, z.owes(zp))
	z.salts.dated, z.salts.from = true, 0 // of its beginning nothing is asked again
	z.salts.through = time.Date(2014, 6, 3, 9, 0, 0, 0, time.UTC)
	for name, back := range map[string]*zoneState{"at once": again(time.Minute, true, as), "days later": again(usualFor, true, as), "no clock yet": again(0, false, as)} {
		assert.Equal(t, z.salts, back.salts, name)
		assert.Equal(t, z.depth.may, back.depth.may, name)
		assert.InDelta(t, z.owes(zp), back.owes(zp), 1e-9, name)
	}
	assert.Zero(t, again(usualFor+time.Hour, true, as).salts, "long ago")
	for _, bad := range []float64{math.NaN(), math.Inf(1), -1, 0} {
		// JSON has no NaN; a caller may.
		assert.Zero(t, again(time.Minute, true, func(m *ZoneMemory) { m.SaltLoad = bad }).salts, "%v", bad)
		back := again(time.Minute, true, func(m *ZoneMemory) { m.MayL, m.OverL = bad, bad })
		assert.Zero(t, back.depth.may)
		assert.Zero(t, back.depth.over)
	}
	assert.Less(t, again(time.Minute, true, func(m *ZoneMemory) { m.SaltLoad = 1e300 }).salts.needL, 10*zp.washing.heldL)

	t.Run("what was about to wash it did, at the time of the memory", func(t *testing.T) {
		defer func() { z.depth.over = 0 }()
		z.depth.over = 4
		assert.True(t, again(3*time.Hour, true, as).salts.through.Equal(z.salts.through), "too little")
		for _, age := range []time.Duration{9 * time.Hour, 72 * time.Hour} {
			z.depth.over = 9
			assert.True(t, again(age, true, as).salts.through.Equal(b.now.Wall), "%v", age)
		}
	})
	t.Run("a wash that is half done goes on", func(t *testing.T) {
		z.salts.load = (zp.washing.at + zp.washing.to) / 2
		z.salts.reckon(&zp.washing)
		require.Positive(t, z.salts.needL)
		assert.InDelta(t, z.salts.needL, again(time.Minute, true, as).salts.needL, 1e-9)
		z.salts.needL = 0
		assert.Zero(t, again(time.Minute, true, as).salts.needL, "none is begun by it")
	})
	t.Run("also where it is food that asks for it", func(t *testing.T) {
		z.salts = salts{load: 0.7 * zp.washing.to, food: zp.washing.at - 0.5*zp.washing.to, begun: true, dated: true}
		z.salts.reckon(&zp.washing)
		require.Positive(t, z.salts.needL)
		z.salts.food = 0.5*zp.washing.to + 0.1*zp.washing.at // under the way, and not done
		z.salts.reckon(&zp.washing)
		require.Positive(t, z.salts.needL)
		back := again(time.Minute, true, as)
		assert.InDelta(t, z.salts.needL, back.salts.needL, 1e-9)
		assert.Equal(t, z.salts.food, back.salts.food)
		assert.Zero(t, again(time.Minute, true, func(m *ZoneMemory) { m.SaltFood = math.Inf(1) }).salts.food)
		z.salts = salts{load: z.salts.load, begun: true, dated: true}
		z.salts.reckon(&zp.washing)
	})
	t.Run("what is about to drain drains meanwhile", func(t *testing.T) {
		z.salts.enter(0, zp)
		z.depth.over = 6
		runs := 6 - staysShare*zp.VolumeL
		const age = 3 * time.Hour
		out := runs * -math.Expm1(-float64(age)/float64(zp.drain))
		back := again(age, true, as)
		assert.InDelta(t, 6-out, back.depth.over, 1e-9)
		assert.InDelta(t, z.salts.load*math.Exp(-drainsTimes*out/zp.washing.heldL), back.salts.load, 1e-9)
		for name, back := range map[string]*zoneState{"days later": again(72*time.Hour, true, as), "no clock yet": again(0, false, as)} {
			assert.InDelta(t, z.salts.load*math.Exp(-drainsTimes*runs/zp.washing.heldL), back.salts.load, 1e-9, name)
		}
	})
}

// What a memory has of a delivery is not booked again from the journal.
func TestRestartBooksWaterOnce(t *testing.T) {
	b := newBench(t, saltyGarden(0.5))
	b.run(2 * time.Hour)
	closed := b.now
	given := garden.Delivery{Line: "line-pot0", Zone: "pot0", Kind: garden.Irrigate, Litres: 4, OpenedAt: closed, ClosedAt: closed, End: garden.Complete}
	b.p.delivered(b.st, b.now, &given, closed.Mono, comesNow)
	b.now = b.now.Add(10 * time.Minute)
	m := b.p.Remember(b.st, b.now)
	restart := func(synced bool, at garden.Moment) *State {
		d := given
		d.ClosedAt = at
		d.ClosedAt.Synced = synced
		st := b.p.NewState()
		now := b.now.Add(time.Minute)
		b.p.Recall(st, now, m, nil)
		b.p.Restore(st, now, []garden.Delivery{d})
		return st
	}
	was := &b.st.zones[0]
	once := restart(true, closed)
	assert.InDelta(t, was.water.Mean, once.zones[0].water.Mean, 1e-9)
	assert.InDelta(t, was.salts.load, once.zones[0].salts.load, 0.02) // a minute drains a little
	assert.True(t, once.zones[0].hasWater, "it is wet all the same")
	assert.InDelta(t, 4, once.lines[0].given.sum(b.now.Mono+time.Minute), 1e-9, "and its budget is used")
	for name, st := range map[string]*State{
		"after the memory":       restart(true, b.now.Add(20*time.Second)),
		"just before the memory": restart(true, b.now.Add(-20*time.Second)),
	} {
		assert.InDelta(t, was.water.Mean+4.0/75, st.zones[0].water.Mean, 1e-9, name)
		assert.InDelta(t, was.salts.load+2, st.zones[0].salts.load, 0.02, name)
	}
	// The number of its order tells, whatever clock it closed by.
	numbered := restart(false, closed)
	assert.InDelta(t, was.water.Mean, numbered.zones[0].water.Mean, 1e-9)
	// In a memory of an earlier version there is none: then it may have it: readings
	// mend the water, and nothing mends what the book would have drain.
	m.NextOrder = 0
	unsure := restart(false, closed)
	assert.InDelta(t, was.water.Mean+4.0/75, unsure.zones[0].water.Mean, 1e-9)
	assert.Equal(t, once.zones[0].salts, unsure.zones[0].salts)
	assert.Equal(t, once.zones[0].depth, unsure.zones[0].depth)

	t.Run("a start before the clock is right", func(t *testing.T) {
		st := b.p.NewState()
		now := garden.Moment{Mono: time.Minute, Wall: time.Date(1970, 1, 1, 0, 1, 0, 0, time.UTC)}
		b.p.Recall(st, now, m, nil)
		load := st.zones[0].salts.load
		require.Positive(t, load)
		b.p.Restore(st, now, []garden.Delivery{given})
		assert.Equal(t, load, st.zones[0].salts.load)
		assert.Zero(t, st.zones[0].depth.over)
	})
	t.Run("water that came after the memory, long ago", func(t *testing.T) {
		z, zp := &b.st.zones[0], &b.p.zones[0]
		z.depth.short, z.depth.over, z.water.Mean = 0, 0, float64(zp.Capacity)
		m := b.p.Remember(b.st, b.now)
		d := given
		d.Litres, d.ClosedAt = 12, b.now.Add(10*time.Minute)
		d.OpenedAt = d.ClosedAt
		st := b.p.NewState()
		now := b.now.Add(10*time.Minute + 5*time.Hour)
		b.p.Recall(st, now, m, nil)
		b.p.Restore(st, now, []garden.Delivery{d})
		over := 12 - staysShare*zp.VolumeL
		out := over * -math.Expm1(-5*time.Hour.Hours()/zp.drain.Hours())
		assert.InDelta(t, (z.salts.load+6)*math.Exp(-drainsTimes*out/zp.washing.heldL), st.zones[0].salts.load, 1e-6)
		assert.InDelta(t, 12-out, st.zones[0].depth.over, 1e-6)
		assert.InDelta(t, float64(zp.Capacity)+12.0/75, st.zones[0].water.Mean, 1e-9, "the first tick lets it drain")
		b.p.Step(st, now, &b.obs, nil)
		back := &st.zones[0]
		left := (12.0/75 - back.water.Factor*back.spent) * math.Exp(-(5*time.Hour+10*time.Minute).Hours()/zp.drain.Hours())
		assert.InDelta(t, float64(zp.Capacity)+left, back.water.Mean, 1e-9)
	})
}

func TestReloadKeepsSalts(t *testing.T) {
	b := newBench(t, saltyGarden(0.5))
	b.run(2 * time.Hour)
	z := &b.st.zones[0]
	z.salts.enter(b.p.zones[0].washing.at/0.5, &b.p.zones[0])
	load, need := z.salts.load, z.salts.needL
	require.NoError(t, b.reloadInto(saltyGarden(0.7), nothingChanged))
	assert.Equal(t, load, z.salts.load, "what is in it is in it")
	assert.Greater(t, z.salts.needL, need, "saltier water washes less well")
	z.salts.load = (b.p.zones[0].washing.at + b.p.zones[0].washing.to) / 2
	z.salts.reckon(&b.p.zones[0].washing)
	half := z.salts.needL
	require.Positive(t, half)
	named := saltyGarden(0.7)
	named.Pots[0].Zones[0].Name, named.Pots[0].Zones[0].Exposure = "other", garden.WindyPaved
	require.NoError(t, b.reloadInto(named, nothingChanged))
	assert.Equal(t, half, z.salts.needL, "a wash goes on")
	hardy := saltyGarden(0.7)
	hardy.Pots[0].Zones[0].Plants[0].Crop = "chard"
	require.NoError(t, b.reloadInto(hardy, nothingChanged))
	assert.Zero(t, z.salts.needL, "of other plants it is wanted when it is")
	load = z.salts.load
	small := saltyGarden(0.7)
	small.Pots[0].VolumeL, small.Pots[0].Shape.HeightCM, small.Pots[0].Zones[0].Probes[0].DepthCM = 25, 15, 8
	require.NoError(t, b.reloadInto(small, nothingChanged))
	assert.InDelta(t, load/3, z.salts.load, 1e-9, "what no longer fits was taken out")

	asked := saltyGarden(0.5)
	asked.Pots[0].Zones[0].LeachByNeed, asked.Pots[0].Zones[0].LeachingFraction = false, 0.1
	require.NoError(t, b.reloadInto(asked, nothingChanged))
	assert.Zero(t, z.salts)
	assert.Zero(t, z.depth.may)
	b.run(time.Hour)
	require.NoError(t, b.reloadInto(saltyGarden(0.5), nothingChanged))
	b.run(2 * time.Minute)
	assert.True(t, z.salts.begun, "begun anew")
	assert.InDelta(t, 0.5*z.water.Mean*75, z.salts.load, 0.5)

	shared := saltyGarden(0.5)
	shared.Pots[0].Zones[0].LeachByNeed, shared.Pots[0].Zones[0].LeachingFraction = false, 0.15
	require.NoError(t, b.reloadInto(shared, nothingChanged))
	z.depth.wash = 7
	require.NoError(t, b.reloadInto(saltyGarden(0.5), nothingChanged))
	assert.Zero(t, z.depth.wash, "no share, no debt of one")
}

// A start during a wash or after one brings no second one.
func TestRestartWashesOnce(t *testing.T) {
	share := testGarden(1, 36)
	share.Pots[0].Zones[0].LeachingFraction = 0.10
	for name, g := range map[string]*garden.Garden{"by need": saltyGarden(0.5), "a share": share} {
		drains := func(after time.Duration) float64 {
			b := newBench(t, g)
			var given []garden.Delivery
			b.told = func(d *garden.Delivery) { given = append(given, *d) }
			for b.drained < 2 {
				b.tick()
				require.Less(t, b.now.Mono, 120*24*time.Hour)
			}
			if after >= 0 {
				b.run(after)
				raw, err := json.Marshal(b.p.Remember(b.st, b.now))
				require.NoError(t, err)
				var m Memory
				require.NoError(t, json.Unmarshal(raw, &m))
				st := b.p.NewState()
				st.NextOrder = b.st.NextOrder
				b.st = st
				b.p.Recall(b.st, b.now, m, nil)
				b.p.Restore(b.st, b.now, given[max(0, len(given)-12):])
			}
			b.run(10*24*time.Hour - max(after, 0))
			return b.drained
		}
		on := drains(-1)
		for _, after := range []time.Duration{0, time.Hour, 3 * time.Hour, 5 * time.Hour, 8 * time.Hour, 12 * time.Hour} {
			d := drains(after)
			assert.LessOrEqual(t, d, 1.4*on, "%s: a start %v after it drains", name, after)
			assert.GreaterOrEqual(t, d, 0.5*on, "%s: a start %v after it drains", name, after)
		}
	}
}
