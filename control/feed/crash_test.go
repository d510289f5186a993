package feed

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fabricpot/control/garden"
)

// crash loses everything but the journal: of the records of the last step the
// first keep were written, and of the order that came with them share reached
// the pot, which can only be where every record was written before it.
func (b *bench) crash(keep int, share float64, down time.Duration) {
	n := len(b.last.Records)
	b.journal = b.journal[:len(b.journal)-n+keep]
	if b.last.HasOrder {
		g := &b.given[len(b.given)-1]
		if keep < n {
			share = 0
		}
		g.litres *= share
	}
	b.last = Output{}
	s, err := Rebuild(b.p, b.journal)
	require.NoError(b.t, err)
	b.s = s
	b.view.Delivered, b.view.Refused = nil, nil
	b.now = garden.Moment{Mono: 5 * time.Second, Wall: b.now.Wall.Add(down), Synced: b.now.Synced}
}

func (b *bench) perFeed() map[garden.FeedID]float64 {
	out := map[garden.FeedID]float64{}
	for _, g := range b.given {
		if g.kind == garden.Feeding && g.litres > 0 {
			out[g.feed] += g.litres
		}
	}
	return out
}

// A crash at every single step of one feed, with every split of that step's
// records, never repeats the feed: before the intent, after it, between pulses,
// in the soak, before and after the closing dose.
func TestCrashAtEveryStep(t *testing.T) {
	whole := newBench(t, testPlan())
	whole.view.Due.Missed = 2
	const ticks = 7 * 60
	var eventful []int
	for i := range ticks {
		if o := whole.step(time.Minute); o.HasOrder || len(o.Records) > 0 {
			eventful = append(eventful, i)
		}
	}
	require.Greater(t, len(eventful), 8, "pulses, their ends, soak, closing dose and the end")
	for _, down := range []time.Duration{time.Second, 3 * time.Hour, 2 * day} {
		for _, at := range eventful {
			for _, share := range []float64{0, 0.5, 1} {
				for keep := range 4 {
					b := newBench(t, testPlan())
					b.view.Due.Missed = 2
					for range at + 1 {
						b.step(time.Minute)
					}
					if keep > len(b.last.Records) {
						continue
					}
					b.crash(keep, share, down)
					b.run(MinGap-down-8*time.Hour, 5*time.Minute)
					name := fmt.Sprintf("step %d keep %d share %v down %v", at, keep, share, down)
					var sum float64
					for _, l := range b.perFeed() {
						sum += l
					}
					require.LessOrEqual(t, sum, 4+1e-9, name)
					// Under 4 days after the beginning no second feed can be due;
					// what was begun is carried on under its own number.
					require.LessOrEqual(t, len(b.perFeed()), 1, name)
					require.Equal(t, Waiting, b.s.Phase(), name)
					// At most the pulse in flight is lost to uncertainty where
					// the gateway was soon back, and the feed itself is not.
					if down == time.Second {
						require.GreaterOrEqual(t, sum, 4-4.0/3-1e-9, name)
					}
				}
			}
		}
	}
}

// Over a season of restarts, lost records, skipped ticks, unconfirmed clocks,
// repeated requests and repeated outcomes: no window of seven days, wherever it
// begins, sees more than the cap; no feed gives more than was planned for it;
// and feeds keep their distance.
func TestNeverOverTheCap(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := testPlan()
		p.PulseL = rapid.Float64Range(0.4, 5).Draw(t, "pulse")
		b := newBench(t, p)
		v := &b.view
		planned := map[garden.FeedID]float64{}
		steps := rapid.IntRange(50, 400).Draw(t, "steps")
		for range steps {
			last, stage, ever := b.s.Last()
			s := Situation{Today: b.now.Wall, Since: d0.Add(-60 * day), Stage: Middle, LastStage: stage, Habit: Fruiting}
			if ever {
				s.Last = last
			}
			s.Asked = rapid.Bool().Draw(t, "asked")
			s.NDaysLeft = garden.Known(rapid.Float64Range(0, 6).Draw(t, "left"))
			v.Due = Assess(s)
			v.Portion.Litres = rapid.Float64Range(0.5, 8.9).Draw(t, "dose")
			v.Water = garden.Known(rapid.Float64Range(0.38, 0.60).Draw(t, "water"))
			v.Blocked = rapid.IntRange(0, 9).Draw(t, "blocked") == 0
			if len(v.Delivered) == 1 && rapid.Bool().Draw(t, "twice") {
				v.Delivered = append(v.Delivered, v.Delivered[0])
			}
			b.now.Synced = rapid.IntRange(0, 4).Draw(t, "synced") > 0
			tick := time.Duration(rapid.SampledFrom([]int{1, 1, 5, 20, 60, 60, 600, 3000}).Draw(t, "minutes")) * time.Minute
			o := b.step(tick)
			for _, r := range o.Records {
				if r.Kind == Begun {
					planned[r.Feed] = r.Litres
				}
			}
			if rapid.IntRange(0, 5).Draw(t, "crash") == 0 {
				keep := rapid.IntRange(0, len(o.Records)).Draw(t, "keep")
				// The clock of a board that just started is not confirmed.
				b.crash(keep, rapid.Float64Range(0, 1).Draw(t, "share"), time.Duration(rapid.IntRange(0, 4000).Draw(t, "down"))*time.Minute)
			}
		}
		checkWindows(t, b, p)
		for id, l := range b.perFeed() {
			require.LessOrEqual(t, l, planned[id]+1e-9, "feed %d", id)
		}
	})
}

func checkWindows(t require.TestingT, b *bench, p *Plan) {
	first := map[garden.FeedID]time.Time{}
	var ids []garden.FeedID
	for i, g := range b.given {
		if g.kind != garden.Feeding || g.litres <= 0 {
			continue
		}
		if _, ok := first[g.feed]; !ok {
			first[g.feed] = g.at
			ids = append(ids, g.feed)
		}
		// A pulse flows for up to an hour from g.at on; a window that begins at
		// its very end is the worst one, so look 7 days and 1 h back to front.
		var sum float64
		for _, h := range b.given[i:] {
			if h.kind == garden.Feeding && h.at.Sub(g.at) <= CapWindow+time.Hour {
				sum += h.litres
			}
		}
		require.LessOrEqual(t, sum, p.CapL+1e-9, "window from %v", g.at)
	}
	for i := 1; i < len(ids); i++ {
		require.GreaterOrEqual(t, first[ids[i]].Sub(first[ids[i-1]]), MinGap-p.Timing.ResumeWithin)
	}
}

// A wall clock that leaps while the gateway runs makes nothing due early.
func TestClockLeaps(t *testing.T) {
	b := newBench(t, testPlan())
	b.run(6*time.Hour, time.Minute)
	require.InDelta(t, 4, b.fed(garden.Feeding), 1e-9)
	b.now.Wall = b.now.Wall.Add(30 * day)
	b.run(3*day, time.Hour)
	assert.InDelta(t, 4, b.fed(garden.Feeding), 1e-9, "forward")
	b.now.Wall = b.now.Wall.Add(-90 * day)
	b.run(12*time.Hour, time.Hour)
	assert.InDelta(t, 4, b.fed(garden.Feeding), 1e-9, "back")
	b.run(2*day, time.Hour)
	assert.InDelta(t, 8, b.fed(garden.Feeding), 1.4+1e-9, "four real days later the next one goes")
}

// An interrupted feed with no confirmed clock must not keep a pot dry.
func TestInterruptedWithoutClock(t *testing.T) {
	b := newBench(t, testPlan())
	b.run(5*time.Minute, time.Minute)
	b.now.Synced = false
	b.crash(0, 1, time.Hour)
	b.run(day, time.Minute)
	assert.False(t, b.s.Busy())
	assert.Len(t, b.given, 1)
	b.now.Synced = true
	b.run(time.Hour, time.Minute)
	assert.Equal(t, Waiting, b.s.Phase())
	assert.Len(t, b.given, 1, "a day later it is not carried on")
}

func TestStepAllocatesNothingAtRest(t *testing.T) {
	b := newBench(t, testPlan())
	b.view.Due.Now = false
	b.step(time.Minute)
	n := testing.AllocsPerRun(100, func() {
		b.now = b.now.Add(time.Minute)
		Step(b.p, b.s, b.now, &b.view)
	})
	assert.Zero(t, n)
}

// After a restart with a clock that went back, records go on in order and
// nothing becomes due because of it.
func TestRestartWithClockBack(t *testing.T) {
	b := newBench(t, testPlan())
	b.run(5*time.Minute, time.Minute)
	b.crash(0, 1, -90*time.Minute)
	b.run(6*time.Hour, time.Minute)
	require.LessOrEqual(t, b.fed(garden.Feeding), 4+1e-9)
	for i := 1; i < len(b.journal); i++ {
		require.False(t, b.journal[i].At.Before(b.journal[i-1].At), "record %d", i)
	}
	given := b.fed(garden.Feeding)
	b.crash(0, 1, -60*day)
	b.run(3*day, time.Hour)
	require.InDelta(t, given, b.fed(garden.Feeding), 1e-9)
}
