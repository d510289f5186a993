package control

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"fabricpot/control/garden"
)

// crowd is n zones, each with a probe and a line of its own. Where they are
// thirsty every line wishes for water in every tick, each needier than the one
// before it, and the supply carries none: the most that ordering them can cost.
type crowd struct {
	*bench
	orders []garden.Order
}

func newCrowd(tb testing.TB, n int, thirsty bool) *crowd {
	g := testGarden(n, 15)
	for i := range g.Pots {
		g.Pots[i].Shape.HeightCM = 30 + float64(i%31)
	}
	c := &crowd{bench: newBench(tb, g)}
	p := c.p
	if thirsty {
		p.supply.FlowLPH = 1e-3
	}
	for i := range p.probes {
		z := &p.zones[i]
		wet := float64(z.Capacity)
		if thirsty {
			wet = float64(z.Refill) - (0.1+0.4*float64(i)/float64(n))*float64(z.Refill-z.LowerLimit)
		}
		c.mean[i] = wet
		c.obs.Readings[i] = garden.Reading{Probe: p.probes[i].id, Zone: z.ID, Water: garden.WaterFraction(c.reading(i)), Quality: garden.Good}
	}
	for range 10 {
		c.step()
	}
	if thirsty {
		require.Len(tb, c.st.wishes, n, "every line wants water")
	} else {
		require.Empty(tb, c.st.wishes)
	}
	return c
}

func (c *crowd) step() {
	c.now = c.now.Add(time.Minute)
	for i := range c.obs.Readings {
		c.obs.Readings[i].At = c.now
	}
	c.orders = c.p.Step(c.st, c.now, &c.obs, c.orders[:0])
}

// perZone is the time of one tick per zone: the least of several tries, since
// whatever else the machine does only adds.
func (c *crowd) perZone(tries int) time.Duration {
	// Some 20 000 zones a try, so that the clock's own steps don't count.
	ticks := max(1, 20000/len(c.p.zones))
	took := make([]time.Duration, 0, tries)
	for range tries {
		start := time.Now()
		for range ticks {
			c.step()
		}
		took = append(took, time.Since(start))
	}
	return slices.Min(took) / time.Duration(ticks*len(c.p.zones))
}

// BenchmarkZones is one tick of 10 to 10 000 zones, at rest and with every line
// waiting for a supply that carries none. What counts is × least: the time per
// zone over that of the ten zones in the same run.
func BenchmarkZones(b *testing.B) {
	for _, kind := range []string{"resting", "thirsty"} {
		least := 0.0
		for _, n := range []int{10, 100, 1000, 10000} {
			b.Run(fmt.Sprintf("%s/%d", kind, n), func(b *testing.B) {
				c := newCrowd(b, n, kind == "thirsty")
				b.ReportAllocs()
				for b.Loop() {
					c.step()
				}
				each := float64(b.Elapsed().Nanoseconds()) / float64(b.N) / float64(n)
				if n == 10 {
					least = each
				}
				b.ReportMetric(each, "ns/zone")
				if least > 0 {
					b.ReportMetric(each/least, "×least")
				}
			})
		}
	}
}

// TestCostIsLinear: ten thousand zones cost a hundred times a hundred zones, and
// several times that where their state (some 2 kB each) no longer fits into the
// processor's caches. What is quadratic in zones or lines would cost a hundred
// times a hundred times as much; it is caught from about a tenth of the cost at a
// hundred zones on.
func TestCostIsLinear(t *testing.T) {
	const few, many, bound = 100, 10000, 10
	for _, kind := range []string{"resting", "thirsty"} {
		t.Run(kind, func(t *testing.T) {
			thirsty := kind == "thirsty"
			a := newCrowd(t, few, thirsty).perZone(9)
			b := newCrowd(t, many, thirsty).perZone(9)
			t.Logf("%v per zone and tick of %d, %v of %d: × %.2f", a, few, b, many, float64(b)/float64(a))
			require.Less(t, float64(b), bound*float64(a))
		})
	}
}
