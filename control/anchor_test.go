package control

import (
	"encoding/json"
	"math"
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A bucket that drains what is over its capacity, and a probe in it that reads too
// dry: it is filled to a capacity that it never reads, and runs over each time. What
// is found, what of the irrigation still drains a month later, and what people hear.
func TestAPotThatRunsOverIsFoundOut(t *testing.T) {
	const day = 24 * time.Hour
	for _, c := range []struct {
		name    string
		depthCM float64
		lie     float64 // m³/m³
		demand  float64
		part    float64 // of its line's water that arrives
		from    float64 // the correction, at least and at most
		to      float64
		drained float64 // at most, as a share of what was applied
	}{
		{"true", 30, 0, 1, 1, 0, 0, 0.05},
		{"true, a probe in the middle", 18, 0, 1, 1, 0, 0, 0.05},
		{"too dry by 0.05", 30, -0.05, 1, 1, 0.035, 0.06, 0.07},
		{"too dry by 0.03", 30, -0.03, 1, 1, 0.015, 0.04, 0.06},
		{"too dry, a probe in the middle", 18, -0.05, 1, 1, 0.03, 0.065, 0.06},
		{"too wet", 30, 0.05, 1, 1, 0, 0, 0.05},
		{"a thirsty plant", 30, 0, 1.5, 1, 0, 0, 0.05},
		{"a thirsty plant, a probe in the middle", 18, 0, 1.5, 1, 0, thirstStep, 0.05},
		{"half of the water arrives", 30, 0, 1, 0.5, 0, 0, 0.01},
		{"two thirds of the water arrive, a probe in the middle", 18, 0, 1, 0.67, 0, thirstStep, 0.01},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			b := newBench(t, testGarden(1, c.depthCM))
			b.demand, b.parts = c.demand, []float64{c.part}
			b.lie = func(_ int, v float64) float64 { return v + c.lie }
			b.run(35 * day)
			b.drained, b.applied = 0, 0
			b.run(20 * day)
			a := &b.st.zones[0].anchor
			t.Logf("corrected by %.3f, drained %.1f %%", a.shift, 100*b.drained/b.applied)
			assert.GreaterOrEqual(t, a.shift, c.from)
			assert.LessOrEqual(t, a.shift, c.to)
			assert.LessOrEqual(t, b.drained/b.applied, c.drained)
			told := 0
			for _, e := range b.events {
				if e.Kind == ReadsDry {
					told++
					assert.Equal(t, garden.ZoneID("pot0"), e.Zone)
				}
			}
			switch {
			case c.lie >= 0:
				assert.Zero(t, told, "a false alarm")
			case c.lie <= -0.05:
				assert.Contains(t, []int{1, 2}, told, "once, or once more as it is seen better")
			}
		})
	}
}

// filling has a zone at rest at from get came and stand at to, a look later.
func filling(b *bench, from, came, to float64) {
	z, zp := &b.st.zones[0], &b.p.zones[0]
	b.now = b.now.Add(24 * time.Hour)
	b.p.lookFull(b.st, 0, from, b.now, settled)
	z.anchor.came += came * zp.VolumeL
	b.now = b.now.Add(8 * time.Hour)
	b.p.lookFull(b.st, 0, to, b.now, settled)
}

func TestALevelThatFillingsEndAtIsTried(t *testing.T) {
	start := func() (*bench, *anchor, float64) {
		b := newBench(t, testGarden(1, 30))
		b.run(time.Hour)
		b.st.zones[0].anchor = anchor{}
		return b, &b.st.zones[0].anchor, float64(b.p.zones[0].Capacity)
	}
	b, a, cc := start()
	zp := &b.p.zones[0]
	stop := float64(zp.Stop)
	for _, from := range []float64{-0.10, -0.08, -0.09} {
		assert.False(t, a.trying)
		filling(b, cc+from, 0.08, cc-0.05)
	}
	require.True(t, a.trying, "three that end at one level, whatever it was before")
	assert.InDelta(t, cc-0.05, b.st.zones[0].stop(zp), 1e-9, "the next ones aim no higher")
	filling(b, cc-0.10, 0.05, cc-0.052)
	assert.Zero(t, a.shift, "one alone proves nothing")
	filling(b, cc-0.10, 0.05, cc-0.052)
	assert.InDelta(t, 0.05, a.shift, 1e-9, "all of it stays: they had run over")
	assert.Equal(t, stop, b.st.zones[0].stop(zp))
	assert.InDelta(t, 0.05, b.p.Remember(b.st, b.now).Zones[0].Anchor.ReadsDry, 1e-9)

	b, a, cc = start()
	for range 3 {
		filling(b, cc-0.10, 0.09, cc-0.05)
	}
	require.True(t, a.trying)
	filling(b, cc-0.10, 0.05, cc-0.075)
	filling(b, cc-0.10, 0.05, cc-0.075)
	assert.False(t, a.trying, "a part is missing again: less arrives")
	assert.Zero(t, a.shift)
	for range 3 {
		filling(b, cc-0.10, 0.09, cc-0.05)
	}
	assert.False(t, a.trying, "and it is not asked again so soon")

	b, a, cc = start()
	for range 3 {
		filling(b, cc-0.06, 0.06, cc-0.02)
	}
	require.True(t, a.trying)
	filling(b, cc-0.065, 0.045, cc-0.032)
	filling(b, cc-0.065, 0.045, cc-0.0265)
	assert.True(t, a.trying)
	filling(b, cc-0.065, 0.045, cc-0.0265)
	assert.False(t, a.trying)
	assert.Zero(t, a.shift, "as large a share is missing as before, only less water: nothing ran over")
	assert.Positive(t, a.wait, "a try in vain")

	for name, f := range map[string]func(*bench, float64){
		"levels that differ":   func(b *bench, cc float64) { filling(b, cc-0.10, 0.08, cc-0.05+0.01*float64(b.now.Mono/time.Hour%3)) },
		"all arrives":          func(b *bench, cc float64) { filling(b, cc-0.10, 0.08, cc-0.021) },
		"full":                 func(b *bench, cc float64) { filling(b, cc-0.05, 0.08, cc-0.005) },
		"hardly more than dry": func(b *bench, cc float64) { filling(b, cc-0.2, 0.08, b.st.zones[0].refillAt(&b.p.zones[0])) },
		"much rain": func(b *bench, cc float64) {
			z, zp := &b.st.zones[0], &b.p.zones[0]
			b.now = b.now.Add(24 * time.Hour)
			b.p.lookFull(b.st, 0, cc-0.10, b.now, settled)
			z.anchor.came += 0.08 * zp.VolumeL
			z.anchor.rained(0.05*zp.VolumeL, zp)
			b.now = b.now.Add(8 * time.Hour)
			b.p.lookFull(b.st, 0, cc-0.05, b.now, settled)
		},
	} {
		b, a, cc := start()
		if name == "levels that differ" {
			for k := range 6 {
				filling(b, cc-0.12, 0.08, cc-0.055-0.01*float64(k%2)+0.005*float64(k))
			}
		} else {
			for range 6 {
				f(b, cc)
			}
		}
		assert.False(t, a.trying, name)
	}
}

// A probe that drifts back, or was calibrated meanwhile, reads more than a drained
// pot can hold; and from time to time a corrected pot is filled a little higher.
func TestACorrectionIsTakenBack(t *testing.T) {
	start := func() (*bench, *anchor, float64) {
		b := newBench(t, testGarden(1, 30))
		b.run(time.Hour)
		b.st.zones[0].anchor = anchor{shift: 0.05, every: higherEvery, next: b.now.Mono + higherEvery}
		return b, &b.st.zones[0].anchor, float64(b.p.zones[0].Capacity)
	}
	b, a, cc := start()
	b.p.lookFull(b.st, 0, cc+0.03, b.now, settled)
	assert.Equal(t, 0.05, a.shift, "that may drain yet")
	b.p.lookFull(b.st, 0, cc+0.03, b.now, drainedAfter)
	assert.InDelta(t, 0.02, a.shift, 1e-9)
	b.p.lookFull(b.st, 0, cc+0.03, b.now, drainedAfter)
	assert.Zero(t, a.shift, "and never below none")

	b, a, cc = start()
	b.now = b.now.Add(higherEvery)
	b.p.lookFull(b.st, 0, cc-0.05, b.now, settled)
	require.True(t, a.higher)
	assert.Greater(t, b.st.zones[0].stop(&b.p.zones[0]), cc)
	filling(b, cc-0.05, 0.07, cc-0.001)
	assert.Equal(t, 0.05, a.shift, "no higher than full: it is as it was found")
	assert.False(t, a.higher)
	assert.Greater(t, a.every, higherEvery, "and is asked less often")

	b, a, cc = start()
	b.now = b.now.Add(higherEvery)
	filling(b, cc-0.05, 0.07, cc+0.02)
	assert.InDelta(t, 0.03, a.shift, 1e-9)
}

func TestACorrectionSurvivesARestart(t *testing.T) {
	b := newBench(t, testGarden(1, 30))
	b.run(time.Hour)
	b.st.zones[0].anchor = anchor{shift: 0.05, told: 0.05}
	raw, err := json.Marshal(b.p.Remember(b.st, b.now))
	require.NoError(t, err)
	var m Memory
	require.NoError(t, json.Unmarshal(raw, &m))
	recalled := func(m Memory, later time.Duration) float64 {
		f := newBench(t, testGarden(1, 30))
		f.now = b.now.Add(later)
		f.p.Recall(f.st, f.now, m, nil)
		return f.st.zones[0].anchor.shift
	}
	assert.Equal(t, 0.05, recalled(m, time.Hour))
	assert.Zero(t, recalled(m, usualFor+time.Hour), "too old")
	for name, v := range map[string]float64{"no number": math.NaN(), "negative": -0.02, "too much": 0.2, "endless": math.Inf(1)} {
		m.Zones[0].Anchor = &AnchorMemory{ReadsDry: v}
		assert.Zero(t, recalled(m, time.Hour), name)
	}
	b.st.zones[0].anchor.thirst.trying = true
	assert.InDelta(t, 0.05-thirstStep, b.p.Remember(b.st, b.now).Zones[0].Anchor.ReadsDry, 1e-9, "what is only tried is not kept")

	// Another curve of its probe makes it mean nothing.
	other := newBench(t, testGarden(1, 30))
	require.NoError(t, other.p.Reload(b.p, b.st, b.now, func(garden.ProbeID) bool { return false }, nil))
	assert.Equal(t, 0.05, b.st.zones[0].anchor.shift)
	require.NoError(t, other.p.Reload(b.p, b.st, b.now, func(garden.ProbeID) bool { return true }, nil))
	assert.Zero(t, b.st.zones[0].anchor.shift)
}

// What a pot drinks is unsure by some hundredths: a correction found in two steps by a
// little less each time is kept, since it costs nothing, and is no news. One that is
// followed by a quarter less is.
func TestWhatIsToldOfThirst(t *testing.T) {
	told := func(after float64) (n int, shift float64) {
		b := newBench(t, testGarden(1, 30))
		b.run(time.Hour)
		a := &b.st.zones[0].anchor
		drink := func(share float64) {
			a.thirst.gone, a.thirst.spent, a.thirst.spans = share, 1, thirstSpans
			b.st.events = b.st.events[:0]
			b.p.watchThirst(b.st, 0, b.now)
			for _, e := range b.st.Events() {
				if e.Kind == ReadsDry {
					n++
				}
			}
		}
		drink(1.25)
		require.Equal(t, thirstStep, a.shift)
		drink(1.25 - after)
		drink(1.25)
		drink(1.25 - after)
		return n, a.shift
	}
	n, shift := told(0.16)
	assert.Zero(t, n)
	assert.InDelta(t, 2*thirstStep, shift, 1e-9)
	n, _ = told(0.3)
	assert.Equal(t, 2, n)
	n, shift = told(0.05)
	assert.Zero(t, n)
	assert.Zero(t, shift)
}
