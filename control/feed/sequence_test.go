package feed

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/control/garden"
)

var d0 = time.Date(2025, 6, 1, 7, 0, 0, 0, time.UTC)

// bench is a pot, a line and a journal around one sequence.
type bench struct {
	t     require.TestingT
	p     *Plan
	s     *State
	now   garden.Moment
	view  View
	order garden.OrderID
	// journal survives a crash; given is what really reached the pot.
	journal []Record
	given   []gave
	last    Output
}

type gave struct {
	at     time.Time
	feed   garden.FeedID
	litres float64
	kind   garden.OrderKind
	phase  Phase
}

func testPlan() *Plan {
	return &Plan{
		Zone: "tomato", Line: "line-1", LineShare: 1, FlowLPH: 8, VolumeL: 75,
		Capacity: 0.60, Refill: 0.52, LowerLimit: 0.36, PulseL: 1.5, CapL: 8, Plants: 1, Timing: UsualTiming(),
	}
}

func testView() View {
	return View{
		Due:     Due{Now: true, Why: ByInterval, DaysSince: 12, IntervalDays: 12},
		Portion: Portion{Litres: 4, NPPM: 125}, PPM: NPK{125, 27, 104}, Stage: Middle,
		Water: garden.Known(0.50), TempC: garden.Known(22),
	}
}

func newBench(t require.TestingT, p *Plan) *bench {
	s, err := Rebuild(p, nil)
	require.NoError(t, err)
	return &bench{t: t, p: p, s: s, view: testView(), now: garden.Moment{Mono: time.Hour, Wall: d0, Synced: true}}
}

// step runs one tick and carries its order out in full in the next.
func (b *bench) step(d time.Duration) Output {
	b.now = b.now.Add(d)
	o := Step(b.p, b.s, b.now, &b.view)
	b.view.Delivered, b.view.Refused = nil, nil
	b.journal = append(b.journal, o.Records...)
	if o.HasOrder {
		b.order++
		o.Order.ID = b.order
		b.s.Bind(b.order)
		litres := o.Order.Litres * b.p.LineShare
		b.given = append(b.given, gave{b.now.Wall, b.s.Feed(), litres, o.Order.Kind, b.s.Phase()})
		b.view.Delivered = []garden.Delivery{{Order: b.order, Litres: o.Order.Litres, End: garden.Complete}}
	}
	b.last = o
	return o
}

func (b *bench) run(d, tick time.Duration) {
	for range int(d / tick) {
		b.step(tick)
	}
}

func (b *bench) fed(kind garden.OrderKind) (sum float64) {
	for _, g := range b.given {
		if g.kind == kind {
			sum += g.litres
		}
	}
	return sum
}

func TestSequence(t *testing.T) {
	t.Run("feed in pulses, rest, soak", func(t *testing.T) {
		b := newBench(t, testPlan())
		b.run(6*time.Hour, time.Minute)
		require.Len(t, b.given, 4)
		for _, g := range b.given[:3] {
			assert.Equal(t, garden.Feeding, g.kind)
			assert.InDelta(t, 4.0/3, g.litres, 1e-9)
		}
		assert.Equal(t, garden.Irrigate, b.given[3].kind)
		assert.GreaterOrEqual(t, b.given[1].at.Sub(b.given[0].at), 20*time.Minute)
		assert.GreaterOrEqual(t, b.given[3].at.Sub(b.given[2].at), time.Hour)
		// 7.5 L of room before, 4 L of feed: the soak stays under the rest.
		assert.InDelta(t, 0.8*3.5, b.given[3].litres, 1e-9)
		assert.Equal(t, Waiting, b.s.Phase())
		assert.Equal(t, TooSoon, b.last.Held.Hold)
		assert.Equal(t, Ended, b.journal[len(b.journal)-1].Kind)
		assert.InDelta(t, 4, b.journal[len(b.journal)-1].Litres, 1e-9)
	})
	t.Run("catching up keeps a closing dose within the same total", func(t *testing.T) {
		b := newBench(t, testPlan())
		b.view.Due.Missed = 3
		b.run(8*time.Hour, time.Minute)
		require.Len(t, b.given, 5)
		assert.Equal(t, ClosingDose, b.given[4].phase)
		assert.InDelta(t, 0.8, b.given[4].litres, 1e-9)
		assert.InDelta(t, 4, b.fed(garden.Feeding), 1e-9)
		b.run(3*day, time.Minute)
		assert.InDelta(t, 4, b.fed(garden.Feeding), 1e-9, "k missed feeds make one")
	})
	t.Run("dry mix is moistened first", func(t *testing.T) {
		b := newBench(t, testPlan())
		b.view.Water = garden.Known(0.40)
		o := b.step(time.Minute)
		require.True(t, o.HasOrder)
		assert.Equal(t, garden.Irrigate, o.Order.Kind)
		assert.Empty(t, o.Records, "no feed has begun")
		assert.True(t, b.s.Busy())
		b.view.Water = garden.Known(0.46)
		b.run(29*time.Minute, time.Minute)
		assert.Len(t, b.given, 1)
		b.run(5*time.Minute, time.Minute)
		require.Len(t, b.given, 2)
		assert.Equal(t, garden.Feeding, b.given[1].kind)
	})
	t.Run("water that runs past dry mix is noticed", func(t *testing.T) {
		b := newBench(t, testPlan())
		b.view.Water = garden.Known(0.40)
		for range 60 * 5 {
			if b.step(time.Minute); b.last.Held.Hold == TakesNoWater {
				break
			}
		}
		assert.Equal(t, TakesNoWater, b.last.Held.Hold)
		assert.Len(t, b.given, 3)
		b.run(10*time.Hour, 10*time.Minute)
		assert.Len(t, b.given, 3, "tries again a day later, not at once")
	})
	t.Run("a line that serves more than this zone", func(t *testing.T) {
		p := testPlan()
		p.LineShare = 0.25
		b := newBench(t, p)
		o := b.step(time.Minute)
		assert.InDelta(t, 4*4.0/3, o.Order.Litres, 1e-9)
		b.run(6*time.Hour, time.Minute)
		assert.InDelta(t, 4, b.fed(garden.Feeding), 1e-9)
	})
	t.Run("every order has a deadline", func(t *testing.T) {
		b := newBench(t, testPlan())
		o := b.step(time.Minute)
		// 4/3 L at 8 L/h take ten minutes.
		assert.Equal(t, 16*time.Minute, o.Order.MaxOn.Round(time.Second))
	})
	t.Run("joins the next watering, but not for ever", func(t *testing.T) {
		b := newBench(t, testPlan())
		b.view.HoursToRefill = garden.Known(20)
		b.step(time.Minute)
		assert.Equal(t, NextWatering, b.last.Held.Hold)
		b.view.Due.OverdueDays = 3
		assert.True(t, b.step(time.Minute).HasOrder)
	})
	t.Run("a refused pulse is asked for again and not counted", func(t *testing.T) {
		b := newBench(t, testPlan())
		b.step(time.Minute)
		b.view.Delivered = nil
		b.view.Refused = []garden.Refusal{{Order: b.order, Cause: garden.SupplyBusy}}
		b.given = nil
		b.run(6*time.Hour-time.Minute, time.Minute)
		assert.InDelta(t, 4, b.fed(garden.Feeding), 1e-9)
	})
	t.Run("a pulse whose end nobody reports counts in full", func(t *testing.T) {
		b := newBench(t, testPlan())
		b.step(time.Minute)
		b.view.Delivered = nil
		b.run(6*time.Hour, time.Minute)
		assert.InDelta(t, 4, b.fed(garden.Feeding), 1e-9)
		assert.True(t, b.journal[2].Uncertain)
	})
	t.Run("a delivery told twice, and a stranger's, change nothing", func(t *testing.T) {
		b := newBench(t, testPlan())
		b.step(time.Minute)
		own := b.view.Delivered[0]
		b.view.Delivered = []garden.Delivery{{Order: 999, Line: own.Line, Litres: 0}, own, own, {Order: 998, Litres: 3}}
		b.run(6*time.Hour, time.Minute)
		assert.InDelta(t, 4, b.fed(garden.Feeding), 1e-9)
	})
	t.Run("a feed of which nothing went out is no feed", func(t *testing.T) {
		b := newBench(t, testPlan())
		b.step(time.Minute)
		b.view.Delivered = []garden.Delivery{{Order: b.order, Litres: 0, End: garden.Faulted}}
		b.view.Blocked = true
		b.given = nil
		b.run(8*time.Hour, time.Minute)
		_, _, ever := b.s.Last()
		assert.False(t, ever)
		b.view.Blocked = false
		b.run(20*time.Hour, time.Minute)
		assert.InDelta(t, 4, b.fed(garden.Feeding), 1e-9)
	})
	t.Run("a person feeding in the middle takes the place of the rest", func(t *testing.T) {
		for _, litres := range []float64{1, 3, 7} {
			b := newBench(t, testPlan())
			b.run(3*time.Minute, time.Minute)
			_, err := b.s.Given(b.p, b.now, litres, NPK{N: 100}, Middle, false)
			require.ErrorIs(t, err, ErrAsk)
			r, err := b.s.Given(b.p, b.now, litres, NPK{N: 100}, Middle, true)
			require.NoError(t, err)
			assert.Equal(t, b.s.Feed(), r.Feed)
			b.run(20*time.Hour, time.Minute)
			assert.InDelta(t, max(4.0/3, 4-litres), b.fed(garden.Feeding), 1e-9)
			assert.Equal(t, Waiting, b.s.Phase())
		}
	})
	t.Run("drainage ends it", func(t *testing.T) {
		b := newBench(t, testPlan())
		b.run(3*time.Minute, time.Minute)
		b.view.Draining = true
		b.run(time.Minute, time.Minute)
		assert.Equal(t, Waiting, b.s.Phase())
		assert.InDelta(t, 4.0/3, b.fed(garden.Feeding), 1e-9)
	})
}

func TestVetoes(t *testing.T) {
	k := garden.Known
	for _, c := range []struct {
		name string
		set  func(*bench)
		want Hold
	}{
		{"nothing due", func(b *bench) { b.view.Due.Now = false }, NothingDue},
		{"clock not confirmed", func(b *bench) { b.now.Synced = false }, NoClock},
		{"too hot", func(b *bench) { b.view.TempC = k(35.1) }, TooHot},
		{"too cold", func(b *bench) { b.view.TempC = k(11.9) }, TooCold},
		{"salty drainage", func(b *bench) { b.view.DrainMS, b.view.FeedMS = k(3.4), k(1.5) }, Salty},
		{"saturated", func(b *bench) { b.view.Water = k(0.59) }, Saturated},
		{"draining", func(b *bench) { b.view.Draining = true }, Saturated},
		{"no room without draining", func(b *bench) { b.view.Water = k(0.56) }, NoRoom},
		{"heavy rain", func(b *bench) { b.view.RainMM = k(10) }, RainAhead},
		{"no trustworthy reading", func(b *bench) { b.view.Water = garden.Measured{} }, NoReading},
		{"watering under way", func(b *bench) { b.view.Watering = true }, WateringNow},
		{"line shut", func(b *bench) { b.view.Blocked = true }, LineShut},
		{"too much", func(b *bench) { b.view.Portion.Litres = 9.1 }, BadPortion},
		{"too strong", func(b *bench) { b.view.Portion.NPPM = 301 }, BadPortion},
		{"no number", func(b *bench) { b.view.Portion.Litres = math.NaN() }, BadPortion},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := newBench(t, testPlan())
			c.set(b)
			o := b.step(time.Minute)
			assert.Equal(t, c.want, o.Held.Hold, o.Held.String())
			assert.NotEmpty(t, o.Held.String())
			assert.False(t, o.HasOrder)
			assert.Empty(t, o.Records)
		})
	}
	t.Run("over the cap", func(t *testing.T) {
		b := newBench(t, testPlan())
		_, err := b.s.Given(b.p, b.now, 5, NPK{N: 100}, Middle, false)
		require.NoError(t, err)
		b.view.Due.Now = false
		b.run(5*day, time.Hour)
		b.view.Due.Now = true
		o := b.step(time.Hour)
		assert.Equal(t, OverCap, o.Held.Hold, o.Held.String())
		assert.Empty(t, o.Records)
		b.run(3*day, time.Hour)
		assert.InDelta(t, 4, b.fed(garden.Feeding), 1e-9, "and goes once there is room")
	})
	t.Run("just inside every limit it feeds", func(t *testing.T) {
		b := newBench(t, testPlan())
		b.view.TempC, b.view.RainMM, b.view.DrainMS, b.view.FeedMS = k(35), k(9.9), k(3.0), k(1.5)
		assert.True(t, b.step(time.Minute).HasOrder)
	})
	// 4 L of feed in a pot of 75 L that is full at 0.60.
	t.Run("heavy rain that fits beside the feed holds nothing", func(t *testing.T) {
		for _, c := range []struct {
			water, rainL float64
			goes         bool
		}{{0.50, 3.4, true}, {0.50, 3.6, false}, {0.52, 3.4, false}} {
			b := newBench(t, testPlan())
			b.view.Water, b.view.RainMM, b.view.RainL = k(c.water), k(20), k(c.rainL)
			o := b.step(time.Minute)
			assert.Equal(t, c.goes, o.HasOrder, "%+v: %s", c, o.Held)
			if !c.goes {
				assert.Equal(t, RainAhead, o.Held.Hold, "%+v", c)
				continue
			}
			assert.InDelta(t, 7.5-c.rainL, o.Records[0].RoomL, 1e-9, "what carries it down leaves the rain its room")
		}
		b := newBench(t, testPlan())
		b.p.Line = ""
		b.view.Water, b.view.RainMM, b.view.RainL = garden.Measured{}, k(20), k(0.1)
		assert.Equal(t, RainAhead, b.step(time.Minute).Held.Hold, "nobody knows what fits")
	})
	t.Run("a late feed may stand over capacity", func(t *testing.T) {
		for _, c := range []struct {
			litres float64
			want   Hold
		}{{1.4, NoHold}, {1.6, Saturated}} {
			b := newBench(t, testPlan())
			b.view.Water, b.view.OverL, b.view.Portion.Litres = k(0.60), 1.5, c.litres
			o := b.step(time.Minute)
			assert.Equal(t, c.want, o.Held.Hold, o.Held.String())
		}
		b := newBench(t, testPlan())
		b.view.Water, b.view.OverL, b.view.Portion.Litres, b.view.Draining = k(0.60), 1.5, 1.4, true
		assert.Equal(t, Saturated, b.step(time.Minute).Held.Hold, "not one that drains")
	})
}

func TestByHand(t *testing.T) {
	p := testPlan()
	p.Line = ""
	b := newBench(t, p)
	b.view.Water = garden.Measured{}
	o := b.step(time.Minute)
	require.True(t, o.OpenTask)
	require.Equal(t, HandOpened, o.Records[0].Kind)
	b.run(40*day, time.Hour)
	assert.Len(t, b.journal, 1, "one task, however long it waits")
	assert.False(t, b.s.Busy(), "an open task keeps no water back")

	r, err := b.s.Given(p, b.now, 3.5, NPK{N: 125}, Middle, false)
	require.NoError(t, err)
	assert.Equal(t, o.Records[0].Feed, r.Feed)
	assert.InDelta(t, 0.4375, r.Grams().N, 1e-12)
	b.journal = append(b.journal, r)

	_, err = b.s.Given(p, b.now.Add(time.Hour), 3.5, NPK{N: 125}, Middle, false)
	require.ErrorIs(t, err, ErrAsk, "done twice is asked about")
	b.run(3*day, time.Hour)
	assert.Len(t, b.journal, 2)
	b.run(2*day, time.Hour)
	assert.Len(t, b.journal, 3)

	d, err := b.s.Drop(p, b.now)
	require.NoError(t, err)
	assert.Equal(t, HandDropped, d.Kind)
	_, err = b.s.Drop(p, b.now)
	require.Error(t, err)
	for _, l := range []float64{0, -1, 76, math.NaN()} {
		_, err = b.s.Given(p, b.now, l, NPK{}, Middle, true)
		assert.Error(t, err)
	}
}

func TestPlanCheck(t *testing.T) {
	for name, set := range map[string]func(*Plan){
		"no plants":      func(p *Plan) { p.Plants = 0 },
		"no volume":      func(p *Plan) { p.VolumeL = 0 },
		"no cap":         func(p *Plan) { p.CapL = math.NaN() },
		"no pulse":       func(p *Plan) { p.PulseL = -1 },
		"no flow":        func(p *Plan) { p.FlowLPH = math.Inf(1) },
		"share over one": func(p *Plan) { p.LineShare = 1.1 },
		"limits crossed": func(p *Plan) { p.Refill = 0.7 },
	} {
		t.Run(name, func(t *testing.T) {
			p := testPlan()
			set(p)
			_, err := Rebuild(p, nil)
			require.ErrorContains(t, err, `zone "tomato"`)
		})
	}
	_, err := Rebuild(testPlan(), []Record{{Zone: "other"}})
	require.Error(t, err)
	_, err = Rebuild(testPlan(), []Record{{Zone: "tomato", Litres: math.NaN()}})
	require.Error(t, err)
}

func BenchmarkStepWaiting(b *testing.B) {
	p := testPlan()
	s, _ := Rebuild(p, nil)
	v := testView()
	v.Due.Now = false
	now := garden.Moment{Wall: d0, Synced: true}
	b.ReportAllocs()
	for b.Loop() {
		now = now.Add(time.Minute)
		Step(p, s, now, &v)
	}
}
