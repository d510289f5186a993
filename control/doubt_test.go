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

const testDay = 24 * time.Hour

// driest runs a bench for so long and returns how far its pot came down, as a share of
// its available water that was left.
func driest(b *bench, d time.Duration) float64 {
	zp, least := &b.p.zones[0], math.Inf(1)
	for range int(d / time.Minute) {
		b.tick()
		least = min(least, b.mean[0])
	}
	return (least - float64(zp.LowerLimit)) / float64(zp.Capacity-zp.LowerLimit)
}

// told counts the events of a kind.
func (b *bench) toldOf(k EventKind) (n int) {
	for _, e := range b.events {
		if e.Kind == k {
			n++
		}
	}
	return n
}

// dropped is what was told of water that was asked for and not given.
func (b *bench) dropped() (told []Event) {
	for _, e := range b.events {
		if e.Kind == Dropped {
			told = append(told, e)
		}
	}
	return told
}

// A reading that gains by the hour what the pot loses says that it hardly dries, and
// nothing is given. The rate is invented; that such a pot must not be left to die is
// common practice, no source. A drift of half of what the pot loses and less is learnt as a
// plant that drinks little: only who calibrates finds that.
func TestAPotUnderAProbeThatDriftsWetIsKept(t *testing.T) {
	drifts := func(perDay float64) *bench {
		b := newBench(t, testGarden(1, 20))
		from := b.now.Mono + 5*testDay
		b.lie = func(_ int, v float64) float64 {
			return min(v+max(0, (b.now.Mono-from).Hours()/24)*perDay, 0.88)
		}
		return b
	}
	for _, perDay := range []float64{0.05, 0.1} {
		b := drifts(perDay)
		left := driest(b, 40*testDay)
		t.Logf("%.2f a day: %.0f %% of its available water left at the driest, drained %.0f of %.0f L", perDay, 100*left, b.drained, b.applied)
		assert.Positive(t, left, "%.2f a day", perDay)
		assert.Positive(t, b.toldOf(ReadsWet)+b.toldOf(DrinksLess), "%.2f a day", perDay)
	}
	t.Run("what was told once is told on for as long as it holds", func(t *testing.T) {
		b := drifts(0.1)
		b.run(16 * testDay)
		require.True(t, b.st.zones[0].doubt.on)
		b.events = b.events[:0]
		b.run(3 * testDay)
		assert.GreaterOrEqual(t, b.toldOf(ReadsWet), 7)
	})
}

// Half of the signal is left from one moment to the next, with no water given: more than
// a drained pot holds, and the pot goes on being watered.
func TestAReadingOverCapacityAtRestIsNotBelieved(t *testing.T) {
	const wet = 0.85
	for _, depth := range []float64{10, 20, 35} {
		for _, q := range []garden.Quality{garden.Good, garden.Uncertain} {
			b := newBench(t, testGarden(1, depth))
			b.run(4 * testDay)
			if b.quality = q; q != garden.Good {
				b.fault = garden.OutOfSpan
			}
			b.lie = func(int, float64) float64 { return wet - 0.1*(float64(b.p.zones[0].Capacity)-b.mean[0]) }
			left := driest(b, 20*testDay)
			t.Logf("%.0f cm, %v: %.0f %% left at the driest", depth, q, 100*left)
			assert.Greater(t, left, 0.2, "%.0f cm, %v", depth, q)
			assert.True(t, b.st.zones[0].doubt.on, "%.0f cm, %v", depth, q)
			assert.False(t, b.st.zones[0].trusted, "%.0f cm, %v", depth, q)
		}
	}
	for _, v := range []float64{0.87, 0.89, 0.99} {
		b := newBench(t, testGarden(1, 20))
		b.lie = func(int, float64) float64 { return v }
		b.run(3 * testDay)
		assert.True(t, b.st.zones[0].doubt.on, "%.2f, where its pores end at 0.88", v)
	}
	t.Run("whose plug was dried is soon believed again", func(t *testing.T) {
		b := newBench(t, testGarden(1, 20))
		b.run(4 * testDay)
		b.lie = func(int, float64) float64 { return wet }
		b.run(3 * testDay)
		require.True(t, b.st.zones[0].doubt.wet)
		b.lie = nil
		b.run(6 * testDay)
		assert.False(t, b.st.zones[0].doubt.on)
		assert.True(t, b.st.zones[0].trusted)
	})
	t.Run("at a start nobody knows what came", func(t *testing.T) {
		b := newBench(t, testGarden(1, 20))
		b.lie = func(int, float64) float64 { return wet }
		b.run(restLong - time.Hour)
		assert.False(t, b.st.zones[0].doubt.on)
		b.run(restLonger)
		assert.True(t, b.st.zones[0].doubt.on)
	})
	t.Run("nor while a feed's salt is in it", func(t *testing.T) {
		b := newBench(t, testGarden(1, 20))
		b.run(4 * testDay)
		b.lie = func(int, float64) float64 { return wet }
		for range int(3 * testDay / time.Minute) {
			b.st.zones[0].salt = 1.2
			b.tick()
		}
		assert.False(t, b.st.zones[0].doubt.on)
	})
	t.Run("nor where another of its probes says no such thing", func(t *testing.T) {
		g := testGarden(1, 20)
		z := &g.Pots[0].Zones[0]
		z.Probes = append(z.Probes, garden.Probe{ID: "other", Zone: z.ID, DepthCM: 21})
		b := newBench(t, g)
		b.run(4 * testDay)
		b.lie = func(i int, v float64) float64 {
			if i == 0 {
				return wet
			}
			return v
		}
		b.run(3 * testDay)
		assert.False(t, b.st.zones[0].doubt.on)
		b.st.probes[1].distrusted = true
		b.run(3 * testDay)
		assert.True(t, b.st.zones[0].doubt.on, "but one that is not believed says nothing")
	})

	t.Run("but for as long as water may be draining it is", func(t *testing.T) {
		b := newBench(t, testGarden(1, 20))
		b.run(4 * testDay)
		b.lie = func(int, float64) float64 { return wet }
		b.st.zones[0].hasWater, b.st.zones[0].wetAt = true, b.now.Mono
		b.run(restLonger - time.Hour)
		assert.False(t, b.st.zones[0].doubt.on)
	})
}

// Of a plant that does drink little the readings stay what they are once the pot was
// filled: it is believed again, and what it got for nothing is bounded.
func TestAPlantThatDrinksLittleIsBelieved(t *testing.T) {
	b := newBench(t, testGarden(1, 36))
	b.run(10 * testDay)
	b.demand = 0.02 // its leaves fell
	var doubted, longest, run time.Duration
	for range int(40 * testDay / time.Minute) {
		b.tick()
		if run += time.Minute; !b.st.zones[0].doubt.on {
			run = 0
		} else {
			doubted += time.Minute
		}
		longest = max(longest, run)
	}
	assert.Positive(t, doubted)
	assert.LessOrEqual(t, longest, doubtFor, "a full pot that reads full shows nothing")
	assert.LessOrEqual(t, doubted, 40*testDay*2/5)
	assert.Zero(t, b.toldOf(ReadsWet))
	t.Logf("doubted for %v of 40 days, %v at most; drained %.0f of %.0f L", doubted, longest, b.drained, b.applied)
}

// Readings beyond all that a probe was calibrated for are uncertain, and come back into
// its span as the pot dries: they are no better then.
func TestWhatWasBeyondItsSpanIsNotBelievedWhenItIsBack(t *testing.T) {
	b := newBench(t, testGarden(1, 20))
	b.run(4 * testDay)
	wet := float64(b.p.zones[0].Porosity) - 0.01
	b.lie = func(int, float64) float64 { return wet }
	b.quality, b.fault = garden.Uncertain, garden.OutOfSpan
	b.run(3 * testDay)
	z := &b.st.zones[0]
	require.True(t, z.doubt.on, "no water for half a day, and still beyond")
	b.quality, b.fault = garden.Good, 0
	b.lie = func(_ int, v float64) float64 { return v + 0.08 }
	b.run(5 * testDay)
	assert.True(t, z.doubt.on)
	assert.False(t, z.trusted)
}

func TestADoubtOutlivesARestartAndEndsWithAnotherProbe(t *testing.T) {
	b := newBench(t, testGarden(1, 20))
	b.run(4 * testDay)
	wet := float64(b.p.zones[0].Porosity) - 0.03
	b.lie = func(int, float64) float64 { return wet }
	b.run(3 * testDay)
	old := b.st.zones[0].doubt
	require.True(t, old.on)

	raw, err := json.Marshal(b.p.Remember(b.st, b.now))
	require.NoError(t, err)
	var m Memory
	require.NoError(t, json.Unmarshal(raw, &m))
	again := func(after time.Duration, synced bool, m Memory) doubt {
		st := b.p.NewState()
		now := b.now.Add(after)
		now.Mono, now.Synced = 0, synced
		b.p.Recall(st, now, m, nil)
		return st.zones[0].doubt
	}
	left := old.till - b.now.Mono
	got := again(time.Hour, true, m)
	assert.True(t, got.on && got.wet)
	assert.InDelta(t, (left - time.Hour).Hours(), got.till.Hours(), 1e-6)
	assert.InDelta(t, old.missingL, got.missingL, 1e-9)
	assert.False(t, again(left+time.Hour, true, m).on)
	assert.True(t, again(left+time.Hour, false, m).on, "with no clock it is not over")
	for _, bad := range []DoubtMemory{{ForH: math.NaN()}, {ForH: 1, MissingL: math.Inf(1)}, {ForH: 1e12}, {ForH: -3}, {MissingL: -1}} {
		m.Zones[0].Doubt = &bad
		d := again(time.Hour, true, m)
		assert.LessOrEqual(t, d.till, wetDoubtFor, "%+v", bad)
		assert.GreaterOrEqual(t, d.missingL, 0.0, "%+v", bad)
	}

	hand := b.p.zones[0]
	hand.line = -1
	var d doubt
	d.recall(&DoubtMemory{ForH: 100, Wet: true, MissingL: 1}, &hand, 0, 0)
	assert.False(t, d.on, "it has no line any more")
	assert.InDelta(t, 1, d.missingL, 1e-9)
	d.recall(&DoubtMemory{BelieveH: 100}, &b.p.zones[0], 0, time.Hour)
	assert.InDelta(t, 99, d.believe.Hours(), 1e-9)

	b.st.zones[0].unsureOfDemand()
	assert.True(t, b.st.zones[0].doubt.on, "other plants do not make a reading less wet")
	require.NoError(t, b.p.Reload(b.p, b.st, b.now, func(garden.ProbeID) bool { return false }, nil))
	assert.True(t, b.st.zones[0].doubt.on, "the same probe")
	require.NoError(t, b.p.Reload(b.p, b.st, b.now, func(garden.ProbeID) bool { return true }, nil))
	assert.False(t, b.st.zones[0].doubt.on, "calibrated anew")
}

// Water that soaks a pot against everybody's will, or that a meter does not count, makes
// readings that are too wet right ones.
func TestASoakedPotIsBelieved(t *testing.T) {
	for name, known := range map[string]func(b *bench){
		"a line that does not close": func(b *bench) { b.p.Spilt(b.st, b.now, "pot0") },
		"a line that was open and counted nothing": func(b *bench) {
			b.pend = append(b.pend, garden.Delivery{Line: "line-pot0", Zone: "pot0", Open: time.Minute, ClosedAt: b.now})
		},
		"": func(*bench) {},
	} {
		b := newBench(t, testGarden(1, 20))
		b.run(4 * testDay)
		b.lie = func(int, float64) float64 { return float64(b.p.zones[0].Porosity) - 0.02 }
		for range int(3 * testDay / time.Minute) {
			known(b)
			b.tick()
		}
		assert.Equal(t, name == "", b.st.zones[0].doubt.on, name)
		assert.Equal(t, name == "", b.toldOf(ReadsWet) > 0, name)
	}
}

// A probe that hangs in another pot reads that one: once it is known, what it read says
// nothing of its own pot any more.
func TestConfusedPlugsEndADoubt(t *testing.T) {
	b := newBench(t, testGarden(1, 20))
	b.run(4 * testDay)
	b.lie = func(int, float64) float64 { return float64(b.p.zones[0].Porosity) - 0.02 }
	b.run(3 * testDay)
	require.True(t, b.st.zones[0].doubt.on)
	b.p.Confuse(b.st, 0, true)
	b.quality, b.fault = garden.Uncertain, garden.OutOfSpan
	b.run(2 * testDay)
	assert.False(t, b.st.zones[0].doubt.on)
	assert.False(t, b.st.zones[0].trusted)
	b.lie, b.quality, b.fault = nil, garden.Good, garden.NoFault
	b.p.Confuse(b.st, 0, false)
	b.run(5 * testDay)
	assert.True(t, b.st.zones[0].trusted, "it moves with its own pot's water")
}

// A pot that is kept shut hardly dries in the end, since it has nothing left. Its reading
// asks for water all the same.
func TestADryPotIsNotDoubted(t *testing.T) {
	b := newBench(t, testGarden(1, 36))
	b.run(10 * testDay)
	b.obs.Asks = append(b.obs.Asks, garden.Ask{Kind: garden.AskShut, Zone: "pot0", Until: b.now.Add(30 * testDay)})
	for range int(20 * testDay / time.Minute) {
		if b.mean[0] < float64(b.p.zones[0].LowerLimit)+0.02 {
			b.demand = 0.05
		}
		b.tick()
		require.False(t, b.st.zones[0].doubt.on)
	}
}

// A pot that waits for a person's can reads wet at once when it comes, and nobody said so
// yet. Without one on the list it is the probe's doing, as is what stays so wet.
func TestACanThatNobodyTickedIsBelieved(t *testing.T) {
	for _, asked := range []bool{false, true} {
		b := newBench(t, testGarden(1, 20))
		b.run(4 * testDay)
		b.obs.Asks = append(b.obs.Asks, garden.Ask{Kind: garden.AskShut, Zone: "pot0", Until: b.now.Add(30 * testDay)})
		b.run(4 * testDay)
		may := func(d time.Duration) {
			for end := b.now.Mono + d; b.now.Mono < end; {
				if asked {
					b.p.MayPour(b.st, b.now, "pot0")
					b.p.MayPour(b.st, b.now, "nobody")
				}
				b.tick()
			}
		}
		may(time.Hour)
		require.False(t, b.st.zones[0].doubt.on)
		b.lie = func(int, float64) float64 { return 0.85 }
		may(time.Hour)
		assert.Equal(t, !asked, b.st.zones[0].doubt.on, "asked for: %v", asked)
		asked = false // it has got water
		b.run(restLonger)
		assert.True(t, b.st.zones[0].doubt.on)
	}
}

// What the book misses is what a pot is filled by that was believed for too long.
func TestADoubtedPotIsFilledByTheBook(t *testing.T) {
	b := newBench(t, testGarden(1, 20))
	b.run(10 * testDay)
	z, zp := &b.st.zones[0], &b.p.zones[0]
	z.water.Factor = 0.5
	z.doubt.missingL = 2 * z.band * zp.VolumeL
	b.p.disbelieve(b.st, 0, b.now)
	assert.InDelta(t, 2*z.band*zp.VolumeL, z.short, 1e-9)
	assert.InDelta(t, float64(zp.Capacity)-2*z.band, z.water.Mean, 1e-9)
	assert.InDelta(t, 1, z.water.Factor, 1e-9)
	z.doubt.missingL, z.short, z.trusted = 0, 0, true
	b.p.disbelieve(b.st, 0, b.now)
	assert.InDelta(t, z.band*zp.VolumeL, z.short, 1e-9, "its band at least")

	z.doubt.missingL = 0
	z.doubt.spent(1e9, zp)
	assert.InDelta(t, zp.holdsL(), z.doubt.missingL, 1e-9, "never more than it holds")
	b.p.credit(b.st, 0, zp.holdsL()/2, 0.1, b.now.Mono)
	assert.InDelta(t, zp.holdsL()/2, z.doubt.missingL, 1e-9)
	z.doubt.missingL = 0
	b.run(testDay / 2)
	assert.Positive(t, z.doubt.missingL)
}

// A zone that is slow again while it is believed is not doubted, and is later.
func TestABelievedZoneIsNotDoubtedForSlowness(t *testing.T) {
	b := newBench(t, testGarden(1, 20))
	b.run(2 * testDay)
	d := &b.st.zones[0].doubt
	slow := func(days int) (on bool) {
		for range days * 3 {
			d.hardly(0.2, b.now.Mono)
			b.run(8 * time.Hour)
			on = on || d.on
		}
		return on
	}
	d.believe = b.now.Mono + 5*testDay
	assert.False(t, slow(4))
	assert.True(t, slow(3))

	*d = doubt{}
	for range 6 {
		d.hardly(0.2, b.now.Mono)
		b.run(doubtGap + time.Hour)
	}
	assert.False(t, d.on, "each time forgotten before the next")
	*d = doubt{}
	for range 6 {
		d.hardly(0.2, b.now.Mono)
		b.p.Spilt(b.st, b.now, "pot0")
		b.run(8 * time.Hour)
	}
	assert.False(t, d.on, "it is soaked by what nobody ordered")
}

// A watering is counted when it ends, hours after it began where it was a large one.
func TestAPotThatIsBeingWateredMayReadWet(t *testing.T) {
	b := newBench(t, testGarden(1, 20))
	b.run(4 * testDay)
	z := &b.st.zones[0]
	z.hasWater, z.wetAt, z.doubt.mayCome = true, b.now.Mono-3*testDay, false
	b.obs.Asks = append(b.obs.Asks, garden.Ask{Kind: garden.AskWater, Zone: "pot0", Litres: 40})
	b.run(2 * time.Minute)
	require.NotEmpty(t, b.open)
	b.lie = func(int, float64) float64 { return 0.85 }
	b.run(time.Hour)
	require.NotEmpty(t, b.open)
	assert.False(t, z.doubt.on)
}
