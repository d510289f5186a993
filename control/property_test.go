package control

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fabricpot/control/garden"
)

// anyReading draws what a broken probe or converter might say.
func anyReading(t *rapid.T, qualities ...garden.Quality) garden.Reading {
	return garden.Reading{
		Water: garden.WaterFraction(rapid.OneOf(
			rapid.Float64Range(0, 1), rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), math.Inf(-1), -5, 0, 1, 7, 1e300}),
		).Draw(t, "water")),
		Quality: rapid.SampledFrom(qualities).Draw(t, "quality"),
		Fault:   garden.ReadingFault(rapid.IntRange(0, 10).Draw(t, "fault")),
	}
}

// blocks runs f over a number of spans, each of which keeps its draws: a series
// that changes every minute never gets past a delay.
func blocks(t *rapid.T, f func(minutes int)) {
	for range rapid.IntRange(1, 12).Draw(t, "blocks") {
		f(rapid.SampledFrom([]int{1, 2, 3, 4, 7, 40, 300, 900}).Draw(t, "minutes"))
	}
}

func TestNoOrderRestsOnABadReading(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		b := newBench(t, testGarden(2, rapid.SampledFrom([]float64{5, 22, 42}).Draw(rt, "depth")))
		b.dry(0, 2)
		blocks(rt, func(n int) {
			r := anyReading(rt, garden.Bad, garden.Uncertain)
			for range n {
				b.quality = r.Quality
				b.lie = func(int, float64) float64 { return float64(r.Water) }
				for _, o := range b.tick() {
					if o.Kind == garden.Irrigate || o.Why.Code == garden.Topping || o.Why.Code == garden.BelowRefill {
						rt.Fatalf("%v %v on a reading of %v, %v", o.Kind, o.Why, r.Water, r.Quality)
					}
				}
				for i := range b.st.zones {
					if z := &b.st.zones[i]; z.known || !garden.Finite(z.water.Mean) {
						rt.Fatalf("a bad reading became what is known: %+v", z.water)
					}
				}
			}
		})
	})
}

// Good readings of which some are nonsense by value must not get in either.
func TestNonsenseMarkedGoodIsLeftOut(t *testing.T) {
	for _, v := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), -0.01, 1.01} {
		b := still(t, testGarden(1, 22))
		b.lie = func(int, float64) float64 { return v }
		b.run(time.Hour)
		assert.Empty(t, b.log)
		assert.False(t, b.st.zones[0].known)
		assert.True(t, garden.Finite(b.st.zones[0].water.Mean))
	}
	t.Run("readings of another garden", func(t *testing.T) {
		b := still(t, testGarden(1, 22))
		b.dry(0, 2)
		for range 60 {
			b.tick()
			b.now = b.now.Add(time.Minute)
			b.obs.Readings[0].Probe = "stranger"
			assert.Empty(t, b.p.Step(b.p.NewState(), b.now, &b.obs, nil))
		}
		short := garden.Observed{}
		assert.NotPanics(t, func() { b.p.Step(b.p.NewState(), b.now, &short, nil) })
	})
}

func TestWhateverComesInTheRulesHold(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		g := testGarden(4, rapid.SampledFrom([]float64{5, 22, 42}).Draw(rt, "depth"))
		g.Supply.FlowLPH = rapid.SampledFrom([]float64{0, 8, 17, 1000}).Draw(rt, "supply")
		if rapid.Bool().Draw(rt, "hours") {
			g.Supply.Hours = []garden.DayWindow{{From: 6 * time.Hour, To: 9 * time.Hour}, {From: 18 * time.Hour, To: 2 * time.Hour}}
		}
		if rapid.Bool().Draw(rt, "a shared line") {
			g.Lines = g.Lines[:3]
			g.Pots[3].Zones[0].Line = g.Lines[0].ID
			g.Lines[0].Outlets = append(g.Lines[0].Outlets, garden.Outlet{Zone: "pot3", Emitters: 1, FlowLPH: 2})
			if g.Supply.FlowLPH == 8 {
				g.Supply.FlowLPH = 10
			}
		}
		b := newBench(t, g)
		b.demand = rapid.Float64Range(0, 6).Draw(rt, "demand")
		type given struct {
			order  garden.OrderID
			at     time.Duration
			litres float64
		}
		past := map[garden.LineID][]given{}
		last := garden.OrderID(0)
		blocks(rt, func(n int) {
			r := anyReading(rt, garden.Good, garden.Uncertain, garden.Bad)
			honest := rapid.Bool().Draw(rt, "honest")
			refuse := rapid.IntRange(0, 3).Draw(rt, "refuse") == 0
			cause := garden.RefusalCause(rapid.IntRange(1, 14).Draw(rt, "cause"))
			b.now.Synced = rapid.Bool().Draw(rt, "synced")
			b.obs.Today = garden.DayWeather{TMinC: garden.Known(rapid.Float64Range(-10, 25).Draw(rt, "tmin")), TMaxC: garden.Known(rapid.Float64Range(0, 48).Draw(rt, "tmax"))}
			if rapid.IntRange(0, 2).Draw(rt, "asks") == 0 {
				b.obs.Asks = append(b.obs.Asks, garden.Ask{
					Kind: garden.AskKind(rapid.IntRange(0, 6).Draw(rt, "kind")), Zone: rapid.SampledFrom([]garden.ZoneID{"", "pot0", "pot2", "nobody"}).Draw(rt, "zone"),
					Litres: rapid.SampledFrom([]float64{-1, 0, 0.5, 9, 1e9, math.NaN()}).Draw(rt, "litres"),
					Until:  b.now.Add(time.Duration(rapid.IntRange(-1, 600).Draw(rt, "until")) * time.Minute),
				})
			}
			for range n {
				if honest {
					b.quality, b.lie = garden.Good, nil
				} else {
					b.quality = r.Quality
					b.lie = func(int, float64) float64 { return float64(r.Water) }
				}
				orders := b.tick()
				for _, d := range b.obs.Delivered {
					// Cut short: what went through counts.
					for i := range past[d.Line] {
						if past[d.Line][i].order == d.Order {
							past[d.Line][i].litres = d.Litres
						}
					}
				}
				for _, o := range orders {
					l := &b.p.lines[b.p.lineIndex(o.Line)]
					if o.ID <= last {
						rt.Fatalf("order %d after %d", o.ID, last)
					}
					last = o.ID
					if !(o.Litres > 0) || !garden.Finite(o.Litres) || o.MaxOn <= 0 || o.MaxOn > l.MaxOn {
						rt.Fatalf("unbounded order %+v", o)
					}
					if refuse {
						delete(b.open, o.Line)
						b.obs.Refused = append(b.obs.Refused, garden.Refusal{Order: o.ID, Line: o.Line, Zone: o.Zone, At: b.now, Cause: cause})
						continue
					}
					past[o.Line] = append(past[o.Line], given{o.ID, b.now.Mono, o.Litres})
					sum := 0.0
					for _, x := range past[o.Line] {
						if b.now.Mono-x.at <= 24*time.Hour {
							sum += x.litres
						}
					}
					if sum > l.CapL+1e-6 {
						rt.Fatalf("line %s was given %.2f L in a day, its cap is %.2f L", o.Line, sum, l.CapL)
					}
				}
				flow := 0.0
				for id := range b.open {
					flow += b.p.lines[b.p.lineIndex(id)].FlowLPH
				}
				if g.Supply.FlowLPH > 0 && flow > g.Supply.FlowLPH || g.Supply.FlowLPH == 0 && len(b.open) > 1 {
					rt.Fatalf("%.1f L/h planned on a supply of %.1f L/h", flow, g.Supply.FlowLPH)
				}
				for i := range b.st.zones {
					if w := b.st.zones[i].water; !garden.Finite(w.Mean+w.VarMean+w.Factor+w.Cov) || w.Mean < 0 || w.Mean > 1 {
						rt.Fatalf("lost the account: %+v", w)
					}
				}
			}
		})
	})
}

func TestStepDependsOnItsArgumentsAlone(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		b := newBench(t, testGarden(3, 22))
		b.demand = 3
		b.run(time.Duration(rapid.IntRange(1, 2000).Draw(rt, "minutes")) * time.Minute)
		for i := range b.mean {
			b.dry(i, rapid.Float64Range(0, 2).Draw(rt, "gone"))
		}
		for range 10 {
			twin := b.st.Clone()
			require.Equal(rt, b.st, twin)
			obs := b.obs
			obs.Readings = append([]garden.Reading(nil), b.obs.Readings...)
			now := b.now.Add(time.Minute)
			a := b.p.Step(twin, now, &obs, nil)
			other := b.st.Clone()
			c := b.p.Step(other, now, &obs, nil)
			require.Equal(rt, a, c)
			require.Equal(rt, twin, other)
			b.tick()
		}
	})
}

func TestLedgerNeverForgetsTooEarly(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		var l ledger
		type entry struct {
			at     time.Duration
			litres float64
		}
		var all []entry
		now := time.Duration(rapid.IntRange(-3000, 3000).Draw(rt, "from")) * time.Minute
		for range rapid.IntRange(1, 60).Draw(rt, "n") {
			now += time.Duration(rapid.IntRange(0, 400).Draw(rt, "wait")) * time.Minute
			x := rapid.Float64Range(0, 10).Draw(rt, "litres")
			l.add(now, x)
			all = append(all, entry{now, x})
			var day, more float64
			for _, e := range all {
				if now-e.at <= 24*time.Hour {
					day += e.litres
				}
				if now-e.at <= 25*time.Hour {
					more += e.litres
				}
			}
			if s := l.sum(now); s < day-1e-9 || s > more+1e-9 {
				rt.Fatalf("sum %v, given in 24 h %v, in 25 h %v", s, day, more)
			}
		}
	})
}

func TestFortnightStaysInItsBand(t *testing.T) {
	for _, depth := range []float64{5, 10, 22, 35, 42} {
		for _, demand := range []float64{0.7, 1, 1.4} {
			b := newBench(t, testGarden(1, depth))
			b.demand = demand
			z := &b.p.zones[0]
			lo := 1.0
			for range 20 * 24 * 60 {
				b.tick()
				lo = min(lo, b.mean[0])
			}
			assert.Greater(t, lo, float64(z.Refill)-0.03, "depth %v demand %v", depth, demand)
			assert.Less(t, b.drained, 0.15*b.applied, "depth %v demand %v", depth, demand)
			assert.NotEmpty(t, b.log)
		}
	}
}
