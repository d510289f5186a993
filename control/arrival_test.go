package control

import (
	"math"
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestLessArrivesIsToldAgainstTheUsual(t *testing.T) {
	b := newBench(t, testGarden(1, 40))
	told := func(shares ...float64) (at []int) {
		b.st.zones[0].arrival = arrival{}
		now := b.now
		for k, s := range shares {
			b.st.zones[0].arrival.saw(s, now.Mono)
			for range 24 {
				b.st.events = b.st.events[:0]
				now = now.Add(time.Hour)
				b.p.watchArrival(b.st, 0, now)
				for _, e := range b.st.events {
					require.Equal(t, LessArrives, e.Kind)
					require.Equal(t, garden.ZoneID("pot0"), e.Zone)
					if len(at) == 0 || at[len(at)-1] != k {
						at = append(at, k)
					}
				}
			}
		}
		return at
	}
	assert.Empty(t, told(1.1, 1.2, 1.1, 1.2, 1, 1.1, 1.2), "as ever")
	assert.Empty(t, told(0.5, 0.5, 0.5, 0.5), "what was never otherwise")
	assert.Empty(t, told(1.1, 1.1, 0.5, 0.5), "not usual yet")
	assert.Equal(t, []int{4, 5}, told(1.1, 1.1, 1.1, 0.6, 0.6, 0.6, 1.1, 1.1), "from the second on, until it is mended")
	assert.Empty(t, told(1.1, 1.1, 1.1, 0.6, 1.1, 0.6, 1.1), "one by itself")
	assert.Equal(t, []int{4, 5, 6}, told(1, 1, 1, 0.6, 0.6, 0.8, 0.8, 0.9, 0.8, 0.8), "and not by a little")
	assert.Equal(t, []int{4, 5}, told(0.7, 0.7, 0.7, 0.4, 0.4, 0.4, 0.7), "whatever a probe has always been off by")
	many := []float64{1, 1, 1}
	for range 40 {
		many = append(many, 0.5)
	}
	at := told(many...)
	require.NotEmpty(t, at)
	assert.Equal(t, 3+resignedLooks-2, at[len(at)-1], "after so long it is the usual")
	assert.Empty(t, told(-3, -3, -3, -3), "and never a share that nothing is less than")
}

func TestALookAtWhatArrived(t *testing.T) {
	b := newBench(t, testGarden(1, 40))
	z, zp := &b.st.zones[0], &b.p.zones[0]
	dry := float64(zp.Capacity) - 0.2
	look := func(after time.Duration, came, rain, from, to float64) int {
		z.arrival = arrival{}
		z.lookArrived(zp, from, time.Hour)
		z.arrival.came = came * zp.VolumeL
		if rain > 0 {
			z.arrival.rained(rain*zp.VolumeL, zp)
		}
		z.lookArrived(zp, to, time.Hour+after)
		return z.arrival.looks
	}
	require.Equal(t, 1, look(24*time.Hour, 0.08, 0, dry, dry+0.06))
	assert.InDelta(t, 0.75, z.arrival.usual, 1e-9)
	require.Equal(t, 1, look(24*time.Hour, 0.08, 0.005, dry, dry+0.065))
	assert.InDelta(t, 0.75, z.arrival.usual, 1e-9, "rain is no line's")
	z.spent = 0
	require.Equal(t, 1, func() int {
		z.arrival = arrival{}
		z.lookArrived(zp, dry, time.Hour)
		z.arrival.came, z.spent = 0.08*zp.VolumeL, 0.05
		z.water.Factor = 1.2
		z.lookArrived(zp, dry+0.02, 25*time.Hour)
		return z.arrival.looks
	}())
	assert.InDelta(t, 1, z.arrival.usual, 1e-9, "what the plants drank arrived, too")
	for name, n := range map[string]int{
		"too soon":               look(8*time.Hour, 0.08, 0, dry, dry+0.06),
		"too little":             look(24*time.Hour, 0.04, 0, dry, dry+0.04),
		"too long ago":           look(7*24*time.Hour, 0.08, 0, dry, dry+0.06),
		"much rain":              look(24*time.Hour, 0.08, 0.01, dry, dry+0.06),
		"full, some ran through": look(24*time.Hour, 0.08, 0, dry+0.15, dry+0.2),
	} {
		assert.Zero(t, n, name)
	}
}

// More than a pot has room for runs through, and a day later its level does not
// show it any more: it is taken for no look.
func TestALookEndsWhereWaterRanThrough(t *testing.T) {
	for over, open := range map[float64]bool{-0.05: true, 0.05: false} {
		b := newBench(t, testGarden(1, 40))
		b.run(time.Hour)
		z := &b.st.zones[0]
		z.arrival.begin(z.water.Mean, z.spent)
		z.uneven.begin(z.water.Mean, z.spent)
		z.water.Mean = float64(b.p.zones[0].Capacity) + over
		minute := passed(time.Minute)
		b.p.accountZone(b.st, 0, b.now, &minute, 0, 0)
		assert.Equal(t, open, z.arrival.open, "%+.2f", over)
		assert.Equal(t, open, z.uneven.open, "%+.2f", over)
	}
}

// What is usual survives a restart and an edit of the file, so that neither takes
// clogged emitters for usual; other probes, plants or sizes make it mean nothing.
func TestTheUsualSurvives(t *testing.T) {
	start := func() *bench {
		b := newBench(t, testGarden(1, 40))
		b.run(time.Hour)
		b.st.zones[0].arrival = arrival{usual: 1.1, looks: 5, less: 2, factor: 1.2, ratio: 0.6, seen: b.now.Mono}
		return b
	}
	told := func(b *bench) bool {
		b.st.events = b.st.events[:0]
		b.p.watchArrival(b.st, 0, b.now)
		return len(b.st.events) > 0
	}
	b := start()
	require.True(t, told(b))
	m := b.p.Remember(b.st, b.now)
	fresh := func(m Memory, later time.Duration, events ...garden.PlantEvent) *bench {
		f := newBench(t, testGarden(1, 40))
		f.now = b.now.Add(later)
		f.p.Recall(f.st, f.now, m, events)
		return f
	}
	f := fresh(m, time.Hour)
	assert.True(t, told(f))
	f.st.zones[0].arrival.saw(0.7, f.now.Mono)
	assert.Equal(t, 3, f.st.zones[0].arrival.less, "and the next look is judged by it")
	assert.False(t, told(fresh(m, usualFor+time.Hour)), "too old")
	assert.False(t, told(fresh(m, time.Hour, garden.PlantEvent{Zone: "pot0", Kind: garden.Moved, Exposure: garden.Sheltered, On: b.now.Wall.Add(time.Minute)})), "moved since")
	for name, a := range map[string]ArrivalMemory{
		"no number": {Usual: math.NaN(), Looks: 5, Less: 2, Factor: 1},
		"negative":  {Usual: -1, Looks: 5, Less: 2, Factor: 1},
		"too few":   {Usual: 1, Looks: 1, Less: 2, Factor: 1},
		"no factor": {Usual: 1, Looks: 5, Less: 2},
		"too many":  {Usual: 1, Looks: 5, Less: 2e9, Factor: 1},
	} {
		bad := Memory{At: m.At, Zones: []ZoneMemory{m.Zones[0]}}
		bad.Zones[0].Arrival = &a
		assert.Zero(t, fresh(bad, time.Hour).st.zones[0].arrival.looks, name)
	}

	other := func(change func(*garden.Garden)) *garden.Garden {
		g := testGarden(1, 40)
		change(g)
		return g
	}
	b = start()
	require.NoError(t, b.reloadInto(other(func(g *garden.Garden) { g.Pots[0].Zones[0].LeachingFraction = 0.1 }), nothingChanged))
	assert.True(t, told(b), "an edit of something else")
	for name, change := range map[string]func(*bench){
		"another size": func(b *bench) {
			require.NoError(t, b.reloadInto(other(func(g *garden.Garden) { g.Pots[0].VolumeL *= 1.1 }), nothingChanged))
		},
		"other plants": func(b *bench) {
			require.NoError(t, b.reloadInto(other(func(g *garden.Garden) { g.Pots[0].Zones[0].Plants = []garden.Plant{{Crop: "chilli", Count: 2}} }), nothingChanged))
		},
		"another calibration": func(b *bench) {
			require.NoError(t, b.reloadInto(testGarden(1, 40), func(garden.ProbeID) bool { return true }))
		},
		"pruned": func(b *bench) {
			b.p.plant(b.st, b.now, &garden.PlantEvent{Zone: "pot0", Kind: garden.Pruned, Share: 0.5})
		},
	} {
		b := start()
		change(b)
		assert.Zero(t, b.st.zones[0].arrival, name)
	}
}
