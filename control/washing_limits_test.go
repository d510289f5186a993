package control

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/control/garden"
)

// Nothing is washed where no watering may run through for it.
func TestNoWashingByHandOrUnseen(t *testing.T) {
	for name, change := range map[string]func(*garden.Garden){
		"by hand":      func(g *garden.Garden) { g.Pots[0].Zones[0].Line, g.Lines = "", nil },
		"depth unseen": func(g *garden.Garden) { g.Pots[0].Shape.HeightCM, g.Pots[0].Zones[0].Probes[0].DepthCM = 60, 10 },
	} {
		g := saltyGarden(0.5)
		change(g)
		zp := zoneOf(t, g)
		assert.Zero(t, zp.washing, name)
		assert.False(t, zp.LeachByNeed, name)
	}
	g := saltyGarden(0.5)
	seen := zoneOf(t, g)
	g.Pots[0].Zones[0].LeachByNeed = false
	plain := zoneOf(t, g)
	assert.InDelta(t, plain.PeakDailyL/(1-sizedFor), seen.PeakDailyL, 1e-9, "its line is sized for it")
	assert.Equal(t, plain.RefillL, seen.RefillL)
}

// However much salts would ask for, no more drains in the long run than may, and no more
// than a part of the pot at a time.
func TestWashingIsBounded(t *testing.T) {
	b := newBench(t, saltyGarden(0.5))
	z, zp := &b.st.zones[0], &b.p.zones[0]
	salty := func(days int) {
		for range days {
			z.salts.load = 20 * zp.washing.at
			z.salts.reckon(&zp.washing)
			b.run(24 * time.Hour)
			assert.LessOrEqual(t, z.owes(zp), 0.3*zp.VolumeL)
		}
	}
	b.run(time.Hour)
	salty(20)
	drained, applied := b.drained, b.applied
	salty(60)
	share := (b.drained - drained) / (b.applied - applied)
	t.Logf("%.0f %% drains", 100*share)
	require.Greater(t, z.salts.needL, 0.3*zp.VolumeL, "salts ask for more")
	assert.InDelta(t, 0.20, share, 0.07)
}

// Each pot of a line is charged with what it got.
func TestSaltsOfASharedLine(t *testing.T) {
	g := testGarden(2, 36)
	g.Supply.ECmS = garden.Known(0.5)
	g.Pots[0].Zones[0].LeachByNeed, g.Pots[1].Zones[0].LeachByNeed = true, true
	g.Pots[1].Zones[0].Line = "line-pot0"
	g.Lines = g.Lines[:1]
	g.Lines[0].Outlets = []garden.Outlet{{Zone: "pot0", Emitters: 3, FlowLPH: 4}, {Zone: "pot1", Emitters: 1, FlowLPH: 4}}
	b := newBench(t, g)
	b.run(time.Hour)
	was := [2]float64{b.st.zones[0].salts.load, b.st.zones[1].salts.load}
	b.p.delivered(b.st, b.now, &garden.Delivery{Line: "line-pot0", Zone: "pot0", Kind: garden.Irrigate, Litres: 8, ClosedAt: b.now, End: garden.Complete}, b.now.Mono, comesNow)
	assert.InDelta(t, was[0]+3, b.st.zones[0].salts.load, 1e-9)
	assert.InDelta(t, was[1]+1, b.st.zones[1].salts.load, 1e-9)
}

// Water that was ordered and of which no probe saw anything is half taken back, so are its
// salts, and none of it has washed anything.
func TestWaterThatDidNotComeBringsAndWashesNothing(t *testing.T) {
	g := saltyGarden(0.5)
	g.Pots[0].Zones[0].Probes[0].DepthCM = 12
	b := newBench(t, g)
	b.run(2 * time.Hour)
	z, zp := &b.st.zones[0], &b.p.zones[0]
	z.salts.load = 1.1 * zp.washing.at
	z.salts.reckon(&zp.washing)
	b.silent = true
	was, may, begun := 0.0, 0.0, false
	for range 20 * 24 * 60 {
		if b.tick(); z.gave == 0 {
			was, may, begun = z.salts.load, z.depth.may, true
		}
		if z.dumb {
			break
		}
	}
	require.True(t, begun)
	require.True(t, z.dumb, "nothing came")
	require.Greater(t, z.gave, washShare*zp.VolumeL, "it was to be washed")
	assert.InDelta(t, was+0.5*z.gave/2, z.salts.load, 0.01)
	assert.Zero(t, z.depth.over, "and nothing goes on draining")
	assert.GreaterOrEqual(t, z.depth.may, may-0.01)
}

// What a day's limit does not allow of a wash waits, and is no reason to call anybody.
func TestWashKeepsWithinTheDay(t *testing.T) {
	g := saltyGarden(2)
	g.Lines[0].DailyCapL = garden.Known(18)
	b := newBench(t, g)
	held, washed := 0, 0
	for range 90 * 24 {
		from := len(b.events)
		b.run(time.Hour)
		for _, e := range b.events[min(from, len(b.events)):] {
			if e.Kind == CapHolds {
				held++
			}
		}
	}
	for _, o := range b.log {
		if o.Why.Code == garden.RefillAndWash {
			washed++
		}
	}
	t.Logf("%d washes, the limit held %d times", washed, held)
	require.Positive(t, washed)
	assert.Zero(t, held)
}

// A pot whose day's limit is used up is told of, wash or no wash.
func TestWashHidesNoLimit(t *testing.T) {
	g := saltyGarden(0.5)
	g.Lines[0].DailyCapL = garden.Known(12)
	b := newBench(t, g)
	b.run(2 * time.Hour)
	b.quality = garden.Bad
	b.run(3 * time.Hour)
	z, zp := &b.st.zones[0], &b.p.zones[0]
	require.False(t, z.trusted)
	z.water.Mean, z.short = float64(zp.Capacity), 9.9
	z.salts.load = 1.5 * zp.washing.at
	z.salts.reckon(&zp.washing)
	require.True(t, z.washDue(zp))
	b.st.lines[0].given.add(b.now.Mono, 12)
	from := len(b.events)
	b.run(2 * time.Hour)
	told := false
	for _, e := range b.events[from:] {
		told = told || e.Kind == CapHolds
	}
	assert.True(t, told)
}

// Where a day's limit holds no wash there is none, nobody is told of one, and the file is
// warned of.
func TestLimitTooSmallToWash(t *testing.T) {
	g := saltyGarden(0.5)
	g.Lines[0].DailyCapL = garden.Known(9)
	_, problems, err := NewPlan(g)
	require.NoError(t, err)
	warned := ""
	for _, p := range problems {
		warned += p.What
	}
	assert.Contains(t, warned, "may give 9.0 L a day and a watering that washes salts out of pot0 takes 15.6 L at least")
	b := newBench(t, g)
	b.run(2 * time.Hour)
	z, zp := &b.st.zones[0], &b.p.zones[0]
	z.salts.load = 1.5 * zp.washing.at
	z.salts.reckon(&zp.washing)
	b.run(20 * 24 * time.Hour)
	for _, o := range b.log {
		assert.NotEqual(t, garden.RefillAndWash, o.Why.Code)
	}
	assert.NotEmpty(t, b.log)
}

// Without a probe the share that is asked for is given along, once; where none is asked
// for, what salts ask for and no share.
func TestUnseenNeedHasNoShareTwice(t *testing.T) {
	for byNeed, plain := range map[bool]float64{false: 5 / 0.9, true: 5} {
		g := saltyGarden(0.5)
		g.Pots[0].Zones[0].LeachingFraction, g.Pots[0].Zones[0].LeachByNeed = 0.1, byNeed
		b := newBench(t, g)
		b.quality = garden.Bad
		b.run(2 * time.Hour)
		z, zp := &b.st.zones[0], &b.p.zones[0]
		z.short, z.depth.wash = 5, 8
		assert.InDelta(t, plain, b.p.need(b.st, 0), 1e-9)
		if !byNeed {
			continue
		}
		z.salts.load = 1.5 * zp.washing.at
		z.salts.reckon(&zp.washing)
		require.Positive(t, z.saltsOwe(zp))
		assert.InDelta(t, plain+z.saltsOwe(zp), b.p.need(b.st, 0), 1e-9)
	}
}
