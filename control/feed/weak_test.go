package feed

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fabricpot/control/garden"
)

// weakPlan is a pot that gets 50 ppm N with its waterings.
func weakPlan() *Plan {
	p := testPlan()
	p.EveryWatering, p.CapNG = true, 2.4
	return p
}

func weakBench(t require.TestingT) *bench {
	b := newBench(t, weakPlan())
	b.view.Due, b.view.PPM, b.view.Portion = Due{}, NPK{50, 11, 41}, Portion{Litres: 4, NPPM: 50}
	return b
}

// water has the controller want a watering: it carries feed where that is allowed.
func (b *bench) water(litres float64) Held {
	b.order++
	r, h := Dose(b.p, b.s, b.now, &b.view, litres, b.order, time.Hour)
	b.last = Output{}
	if h.Hold == NoHold {
		b.last.Records = []Record{r}
		b.journal = append(b.journal, r)
		b.last.HasOrder = true
		b.given = append(b.given, gave{b.now.Wall, r.Feed, litres, garden.Irrigate, Waiting})
		b.view.Delivered = []garden.Delivery{{Order: b.order, Litres: litres, DosedL: litres, End: garden.Complete}}
	}
	return h
}

func (b *bench) weakNG(from time.Time, d time.Duration) (sum float64) {
	for _, g := range b.given {
		if !g.at.Before(from) && g.at.Sub(from) <= d {
			sum += g.litres * 50 / 1000
		}
	}
	return sum
}

func TestWeakFeed(t *testing.T) {
	t.Run("each watering is one dose, and only what flowed counts", func(t *testing.T) {
		b := weakBench(t)
		b.step(time.Minute)
		require.Equal(t, NoHold, b.water(5).Hold)
		assert.True(t, b.s.Dosing())
		assert.Equal(t, WateringNow, b.water(5).Hold, "one at a time")
		b.view.Delivered[0].DosedL = 3
		b.step(time.Minute)
		assert.False(t, b.s.Dosing())
		last := b.journal[len(b.journal)-1]
		assert.Equal(t, DoseSettled, last.Kind)
		assert.InDelta(t, 0.15, last.Grams().N, 1e-12)
		assert.True(t, last.Gives())
		b.step(time.Minute)
		assert.Equal(t, last, b.journal[len(b.journal)-1], "told twice, entered once")
	})
	t.Run("refused, and not kept", func(t *testing.T) {
		b := weakBench(t)
		b.step(time.Minute)
		b.water(5)
		b.view.Delivered = nil
		b.view.Refused = []garden.Refusal{{Order: b.order}}
		b.step(time.Minute)
		assert.Zero(t, b.s.usedN(b.now.Wall))
		b.water(5)
		b.s.Undose(b.p, b.now, b.order)
		assert.Zero(t, b.s.usedN(b.now.Wall))
		assert.False(t, b.s.Dosing())
	})
	t.Run("what stands against it leaves the water plain", func(t *testing.T) {
		for hold, spoil := range map[Hold]func(*bench){
			TooHot:     func(b *bench) { b.view.TempC = garden.Known(36) },
			TooCold:    func(b *bench) { b.view.TempC = garden.Known(11) },
			Salty:      func(b *bench) { b.view.DrainMS = garden.Known(4.7) },
			RainAhead:  func(b *bench) { b.view.RainMM = garden.Known(12) },
			NoClock:    func(b *bench) { b.now.Synced = false },
			BadPortion: func(b *bench) { b.view.PPM.N = 150 },
			Plenty: func(b *bench) {
				b.view.Starter, b.view.Due = true, Due{First: true, DaysSince: 10, NDaysLeft: garden.Known(30)}
			},
		} {
			b := weakBench(t)
			b.step(time.Minute)
			spoil(b)
			assert.Equal(t, hold, b.water(5).Hold)
			assert.Empty(t, b.journal)
		}
	})
	t.Run("no feed at intervals besides, whatever is due", func(t *testing.T) {
		b := weakBench(t)
		b.view.Due = Due{Now: true, Why: ByAsk}
		b.run(day, time.Minute)
		assert.Empty(t, b.given)
	})
	for _, ppm := range []float64{0, 19, 101, -1} {
		require.ErrorContains(t, CheckEveryWatering(ppm), "20 to 100")
	}
}

// Whatever the order of restarts, lost records, skipped ticks and repeated
// outcomes: no seven days see more nitrogen than the cap, and no watering is dosed
// that is not on the record.
func TestWeakFeedNeverOverTheCap(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := weakBench(t)
		for range rapid.IntRange(50, 300).Draw(t, "steps") {
			b.now.Synced = rapid.IntRange(0, 5).Draw(t, "synced") > 0
			tick := time.Duration(rapid.SampledFrom([]int{1, 5, 20, 60, 300, 900}).Draw(t, "minutes")) * time.Minute
			if rapid.IntRange(0, 3).Draw(t, "twice") == 0 && len(b.view.Delivered) == 1 {
				b.view.Delivered = append(b.view.Delivered, b.view.Delivered[0])
			}
			b.step(tick)
			if rapid.Bool().Draw(t, "waters") {
				b.water(rapid.Float64Range(0.2, 9).Draw(t, "litres"))
				if rapid.IntRange(0, 4).Draw(t, "crash") == 0 {
					keep := rapid.IntRange(0, len(b.last.Records)).Draw(t, "keep")
					if b.last.HasOrder || keep == len(b.last.Records) {
						b.crash(keep, rapid.Float64Range(0, 1).Draw(t, "share"), time.Duration(rapid.IntRange(0, 4000).Draw(t, "down"))*time.Minute)
					}
				}
			}
		}
		for _, g := range b.given {
			require.LessOrEqual(t, b.weakNG(g.at, CapWindow), b.p.CapNG+1e-9, "the week from %v", g.at)
		}
		var recorded, flowed float64
		for _, r := range b.journal {
			if r.Kind == DoseIntended {
				recorded += r.Litres
			}
		}
		for _, g := range b.given {
			flowed += g.litres
		}
		require.LessOrEqual(t, flowed, recorded+1e-9)
	})
}

// A crash at every step of a watering with feed in it: the ledger is never short
// of what flowed.
func TestWeakFeedCrash(t *testing.T) {
	for _, share := range []float64{0, 0.5, 1} {
		for keep := range 2 {
			b := weakBench(t)
			b.step(time.Minute)
			require.Equal(t, NoHold, b.water(5).Hold)
			b.crash(keep, share, time.Hour)
			b.step(time.Minute)
			var flowed, entered float64
			for _, g := range b.given {
				flowed += g.litres
			}
			for _, r := range b.journal {
				if r.Gives() {
					entered += r.Litres
				}
			}
			assert.GreaterOrEqual(t, entered, flowed-1e-9, "keep %d share %v", keep, share)
			assert.LessOrEqual(t, entered, 5.0)
			assert.False(t, b.s.Dosing())
		}
	}
}

func flushBench(t require.TestingT) *bench {
	p := testPlan()
	p.Flush = Through{p.Line, 1, p.FlowLPH}
	b := newBench(t, p)
	b.view.Due, b.view.FlushL, b.view.FlushMS = Due{}, garden.Known(9), 4.8
	return b
}

func (b *bench) count(k RecordKind) (n int) {
	for _, r := range b.journal {
		if r.Kind == k {
			n++
		}
	}
	return n
}

func TestFlush(t *testing.T) {
	t.Run("plain water in pulses, once", func(t *testing.T) {
		b := flushBench(t)
		b.run(10*time.Hour, time.Minute)
		assert.InDelta(t, 9, b.fed(garden.Irrigate), 1e-9)
		assert.Zero(t, b.fed(garden.Feeding))
		assert.Equal(t, 1, b.count(FlushBegun))
		assert.Equal(t, Waiting, b.s.Phase())
		assert.True(t, b.given[1].at.Sub(b.given[0].at) >= 20*time.Minute)
	})
	t.Run("comes before a feed that is due", func(t *testing.T) {
		b := flushBench(t)
		b.view.Due = testView().Due
		b.run(10*time.Hour, time.Minute)
		assert.Equal(t, garden.Irrigate, b.given[0].kind)
		assert.Equal(t, FlushBegun, b.journal[0].Kind)
	})
	for name, spoil := range map[string]func(*View){
		"a watering under way": func(v *View) { v.Watering = true },
		"line shut":            func(v *View) { v.FlushBlocked = true },
		"no reading":           func(v *View) { v.Water = garden.Measured{} },
		"rain does it":         func(v *View) { v.RainMM = garden.Known(15) },
	} {
		t.Run(name, func(t *testing.T) {
			b := flushBench(t)
			spoil(&b.view)
			b.run(3*time.Hour, time.Minute)
			assert.Empty(t, b.given)
		})
	}
	t.Run("a week gets no more than its cap", func(t *testing.T) {
		b := flushBench(t)
		b.view.FlushL = garden.Known(60)
		b.run(7*day, 10*time.Minute)
		assert.LessOrEqual(t, b.fed(garden.Irrigate), flushCap*b.p.VolumeL+1e-9)
		assert.Greater(t, b.fed(garden.Irrigate), 40.0)
	})
}

// A crash at every step of a flush, with every split of that step's records, gives
// no drop twice and begins none again.
func TestFlushCrash(t *testing.T) {
	whole := flushBench(t)
	var eventful []int
	for i := range 6 * 60 {
		if o := whole.step(time.Minute); o.HasOrder || len(o.Records) > 0 {
			eventful = append(eventful, i)
		}
	}
	require.Greater(t, len(eventful), 10)
	for _, down := range []time.Duration{time.Second, 3 * time.Hour} {
		for _, at := range eventful {
			for _, share := range []float64{0, 1} {
				for keep := range 3 {
					b := flushBench(t)
					for range at + 1 {
						b.step(time.Minute)
					}
					if keep > len(b.last.Records) {
						continue
					}
					b.crash(keep, share, down)
					b.run(flushGap-12*time.Hour, time.Minute)
					require.LessOrEqual(t, b.fed(garden.Irrigate), 9+1e-9, "step %d keep %d", at, keep)
					require.LessOrEqual(t, b.count(FlushBegun), 1)
					require.Equal(t, Waiting, b.s.Phase())
				}
			}
		}
	}
}

// A strength at a bound comes back from grams per litre as a hair less or more.
func TestWeakFeedAtItsBounds(t *testing.T) {
	for _, ppm := range []float64{LeastEveryPPM, MostEveryPPM} {
		for percent := 1.0; percent <= 34; percent++ {
			g, err := GramsPerLitre(ppm, percent)
			require.NoError(t, err)
			assert.NoError(t, CheckEveryWatering(PPM(g, percent)), "%v ppm of %v %%", ppm, percent)
		}
	}
	assert.Error(t, CheckEveryWatering(LeastEveryPPM-0.01))
	assert.Error(t, CheckEveryWatering(MostEveryPPM+0.01))
}
