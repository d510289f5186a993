package control

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Spans as clean seasons on the simulator's terraces gave them, loss to the book's
// and the rain's doubt: what is usual was learnt in rain, of which half is a guess.
func TestWhatIsUsualIsNoSurerThanTheRain(t *testing.T) {
	run := func(o odd, spans ...[2]float64) odd {
		for _, s := range spans {
			o.doubt = s[1]
			o.spanned(s[0])
		}
		return o
	}
	wet := run(odd{}, [2]float64{0.632, 0.206}, [2]float64{0.507, 0.245}, [2]float64{0.546, 0.153})
	assert.InDelta(t, 0.562, wet.usual, 0.001)
	dry := run(odd{}, [2]float64{0.632, 0.02}, [2]float64{0.507, 0.02}, [2]float64{0.546, 0.02})

	// Three wet weeks, then a dry one by the book: no leak.
	byBook := [][2]float64{{1.001, 0.042}, {1.056, 0.031}, {1.084, 0.028}}
	assert.Zero(t, run(wet, byBook...).more)
	assert.GreaterOrEqual(t, run(dry, byBook...).more, oddSpans, "learnt without rain it is odd")
	assert.GreaterOrEqual(t, run(wet, [2]float64{1.4, 0.03}, [2]float64{1.4, 0.03}).more, oddSpans, "so is one beyond the doubt")

	// A rainy summer, then two spans of rain alone.
	rainy := run(odd{}, [2]float64{0.679, 0.182}, [2]float64{1.453, 0.121}, [2]float64{0.861, 0.031}, [2]float64{1.103, 0.106})
	sunny := run(odd{}, [2]float64{0.679, 0}, [2]float64{1.453, 0}, [2]float64{0.861, 0}, [2]float64{1.103, 0})
	ofRain := [][2]float64{{0.287, 0.189}, {0.338, 0.281}}
	assert.Less(t, run(rainy, ofRain...).less, oddSpans)
	assert.GreaterOrEqual(t, run(sunny, ofRain...).less, oddSpans)
	assert.GreaterOrEqual(t, run(rainy, [2]float64{0.3, 0.02}, [2]float64{0.3, 0.02}).less, oddSpans)
}

// A probe in the middle of a pot sees what hours of drizzle left for as long as that
// spreads: a rise then is no leak. As in a clean season: 0.9 % of the pot's volume in
// eight hours, and a reading that rose by 3.5 % in the fifteen after them.
func TestDrizzleStillSpreads(t *testing.T) {
	told := func(drizzle float64) (n int) {
		b := newBench(t, testGarden(1, 20))
		b.run(time.Hour)
		z, zp := &b.st.zones[0], &b.p.zones[0]
		z.hasWater, z.wetAt = true, b.now.Mono-30*time.Hour
		z.odd, z.span = odd{}, span{open: true}
		mid := 0.478
		zp.Capacity = 0.54
		hour := func(rise, rain, loss float64) {
			b.now = b.now.Add(time.Hour)
			mid += rise
			z.spent += loss
			z.span.inL += rain * zp.VolumeL
			b.st.events = b.st.events[:0]
			b.p.watchOdd(b.st, 0, &verdict{lo: mid - 0.05, mid: mid, hi: mid, middle: true}, b.now)
			n += len(b.st.Events())
		}
		hour(0, 0, 0)
		for range 8 {
			hour(0, drizzle/8, 0.0005)
		}
		for range 15 {
			hour(0.035/15, 0, 0.0012)
		}
		return n
	}
	assert.Zero(t, told(0.009))
	assert.NotZero(t, told(0), "with no drop of it, somebody waters the pot")
}

// A span is weighed every few days. In dry weather the next spell begins with the next
// span, as a leak shows in it: it is told of half a day after. What drizzled before the
// weighing still spreads after it.
func TestAWeighingPutsOffNoSpell(t *testing.T) {
	told := func(drizzle float64) (after int) {
		b := newBench(t, testGarden(1, 20))
		b.run(time.Hour)
		z, zp := &b.st.zones[0], &b.p.zones[0]
		z.hasWater, z.wetAt = true, b.now.Mono-30*time.Hour
		z.odd, z.span = odd{}, span{open: true, inL: 3}
		zp.Capacity = 0.54
		mid := 0.40
		hour := func(rise, rain float64) bool {
			b.now = b.now.Add(time.Hour)
			mid += rise
			z.spent += 0.0012
			z.span.inL += rain * zp.VolumeL
			b.st.events = b.st.events[:0]
			b.p.watchOdd(b.st, 0, &verdict{lo: mid - 0.05, mid: mid, hi: mid, middle: true}, b.now)
			return len(b.st.Events()) > 0
		}
		for range 6 {
			require.False(t, hour(0, drizzle/12))
		}
		z.span = span{open: true, at: b.now.Mono, mid: mid, spent: z.spent}
		for range 6 {
			require.False(t, hour(0, drizzle/12))
		}
		for h := 1; h <= 48; h++ {
			if hour(0.06/12, 0) {
				return h
			}
		}
		return 0
	}
	dry := told(0)
	assert.Positive(t, dry)
	assert.LessOrEqual(t, dry, 12)
	wet := told(0.008)
	assert.Positive(t, wet)
	assert.Greater(t, wet, dry+10, "what drizzled before and after it is one drizzle")
}

// A clock that was set wrong has day for night: half a day's loss may be in hours that
// the book takes for night. A spell it was set in says nothing, and for a time after
// only whole days do; a pot that really loses more is still told of.
func TestAClockThatWasSetIsNoLoss(t *testing.T) {
	told := func(set time.Duration, synced bool, leak float64) (after int) {
		b := newBench(t, testGarden(1, 20))
		b.run(time.Hour)
		z, zp := &b.st.zones[0], &b.p.zones[0]
		z.hasWater, z.wetAt = true, b.now.Mono-30*time.Hour
		z.odd, z.span = odd{}, span{open: true}
		zp.Capacity = 0.54
		b.now.Synced = synced
		mid := 0.45
		for h := 1; h <= 30; h++ {
			b.now = b.now.Add(time.Hour)
			if h == 2 {
				b.now.Wall = b.now.Wall.Add(set)
			}
			b.st.watchClock(b.now)
			// It dries by day, and the book has all of the loss in the other half.
			mid -= leak
			if h <= 15 {
				mid -= 0.07 / 12
			} else {
				z.spent += 0.07 / 12
			}
			b.st.events = b.st.events[:0]
			b.p.watchOdd(b.st, 0, &verdict{lo: mid - 0.05, mid: mid, hi: mid, middle: true}, b.now)
			if len(b.st.Events()) > 0 {
				return h
			}
		}
		return 0
	}
	assert.Zero(t, told(7*time.Hour, true, 0))
	assert.Zero(t, told(-7*time.Hour, true, 0))
	assert.Positive(t, told(0, true, 0), "by a clock that nobody set it is odd")
	assert.Positive(t, told(10*time.Minute, true, 0), "or only a little")
	assert.Positive(t, told(7*time.Hour, false, 0), "one that is not believed is none")
	assert.Equal(t, 26, told(7*time.Hour, true, 0.01), "a whole day after the clock was set")
}
