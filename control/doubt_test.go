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
	b := newBench(t, testGarden(1, 20))
	b.run(4 * testDay)
	wet := float64(b.p.zones[0].Porosity) - 0.03
	b.lie = func(int, float64) float64 { return wet - 0.1*(float64(b.p.zones[0].Capacity)-b.mean[0]) }
	assert.Greater(t, driest(b, 20*testDay), 0.2)
	assert.True(t, b.st.zones[0].doubt.on)
	assert.False(t, b.st.zones[0].trusted)

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
