package control

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/control/garden"
)

// still is a bench whose pots lose nothing worth speaking of.
func still(t *testing.T, g *garden.Garden) *bench {
	b := newBench(t, g)
	b.demand = 0
	b.obs.Today = garden.DayWeather{TMinC: garden.Known(1), TMaxC: garden.Known(1.01)}
	return b
}

// step is a part of a series: for n ticks the mean stands there and the readings
// have that quality; order tells whether the last of them must bring an order.
type step struct {
	n       int
	share   float64 // of the band that is gone
	quality garden.Quality
	order   bool
}

func TestWaterStartsAfterTheDelayAndANearMissResetsIt(t *testing.T) {
	const delay = int(confirmFor / time.Minute)
	for _, c := range []struct {
		name   string
		series []step
	}{
		{"one tick before", []step{{delay, 1.2, garden.Good, false}}},
		{"one tick after", []step{{delay, 1.2, garden.Good, false}, {1, 1.2, garden.Good, true}}},
		{"over the refill point", []step{{300, 0.8, garden.Good, false}}},
		{"near miss resets", []step{
			{delay, 1.2, garden.Good, false}, {1, 1.2, garden.Uncertain, false},
			{delay, 1.2, garden.Good, false}, {1, 1.2, garden.Good, true},
		}},
		{"a bad reading resets", []step{
			{delay, 1.2, garden.Good, false}, {1, 1.2, garden.Bad, false},
			{delay, 1.2, garden.Good, false}, {1, 1.2, garden.Good, true},
		}},
		{"uncertain for ever starts nothing", []step{{25, 1.2, garden.Uncertain, false}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := still(t, testGarden(1, 22))
			z := &b.p.zones[0]
			for i, s := range c.series {
				b.quality = s.quality
				for k := range s.n {
					b.mean[0] = float64(z.Capacity) - s.share*z.band(1)
					got := len(b.tick()) > 0
					want := s.order && k == s.n-1
					require.Equal(t, want, got, "part %d tick %d", i, k)
				}
			}
		})
	}
}

// dry sets one zone well under its refill point.
func (b *bench) dry(zone int, share float64) {
	z := &b.p.zones[zone]
	b.mean[zone] = float64(z.Capacity) - share*z.band(1)
}

// until ticks until an order comes, at most n times.
func (b *bench) until(n int) (garden.Order, int) {
	for i := range n {
		if o := b.tick(); len(o) > 0 {
			return o[0], i
		}
	}
	return garden.Order{}, -1
}

func TestSessionIsPulsesWithSoaksThatFillToTheStopPoint(t *testing.T) {
	b := still(t, testGarden(1, 22))
	z := &b.p.zones[0]
	b.dry(0, 1.05)
	first, at := b.until(10)
	require.GreaterOrEqual(t, at, 0)
	assert.Equal(t, garden.Irrigate, first.Kind)
	assert.Equal(t, garden.BelowRefill, first.Why.Code)
	assert.Equal(t, garden.Pulsing, b.p.View(b.st, b.now, nil)[0].State)
	total, last := first.Litres, b.now
	var closed garden.Moment
	for range 400 {
		was := len(b.open)
		for _, o := range b.tick() {
			assert.Equal(t, garden.NextPulse, o.Why.Code)
			assert.GreaterOrEqual(t, b.now.Since(closed), z.Soak, "the soak comes between")
			assert.Less(t, b.now.Since(closed), z.Soak+2*time.Minute, "and is over when it is over")
			total += o.Litres
			last = b.now
		}
		if was == 1 && len(b.open) == 0 {
			closed = b.now
		}
	}
	_ = last
	assert.GreaterOrEqual(t, len(b.log), 2)
	assert.InDelta(t, (float64(z.Stop)-(float64(z.Capacity)-1.05*z.band(1)))*z.VolumeL*blindSurplus, total, 0.4)
	assert.InDelta(t, total, b.applied, 0.3)
	assert.Equal(t, garden.Resting, b.p.View(b.st, b.now, nil)[0].State)
	for i := 1; i < len(b.log); i++ {
		assert.Equal(t, b.log[i-1].ID+1, b.log[i].ID, "ids grow without gaps")
	}
}

func TestADryMixIsMoistenedFirst(t *testing.T) {
	b := still(t, testGarden(1, 22))
	z := &b.p.zones[0]
	b.mean[0] = float64(z.LowerLimit) + 0.1*float64(z.Capacity-z.LowerLimit)
	first, at := b.until(10)
	require.GreaterOrEqual(t, at, 0)
	// 10 to 20 % of the dose goes first into a mix that repels water (from
	// memory, trade practice).
	share := first.Litres / first.Why.C
	assert.GreaterOrEqual(t, share, 0.10)
	assert.LessOrEqual(t, share, 0.20)
	second, _ := b.until(200)
	assert.Greater(t, second.Litres, first.Litres)
}

func TestEarlyStop(t *testing.T) {
	for _, c := range []struct {
		name  string
		depth float64
		ticks int
		stop  bool
	}{
		{"a deep probe that sees water once", 40, 1, false},
		{"a deep probe that sees water twice", 40, 2, true},
		{"a shallow probe sees every pulse pass", 10, 5, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := still(t, testGarden(1, c.depth))
			b.dry(0, 1.1)
			o, at := b.until(10)
			require.GreaterOrEqual(t, at, 0)
			b.lie = func(int, float64) float64 { return 0.875 }
			for i := range c.ticks {
				b.tick()
				if i < c.ticks-1 {
					require.Empty(t, b.st.Stops())
				}
			}
			require.Equal(t, c.stop, len(b.st.Stops()) == 1)
			if c.stop {
				assert.Equal(t, o.ID, b.st.Stops()[0].Order)
				b.lie = nil
				b.run(unsettled - time.Minute)
				assert.Len(t, b.log, 1, "a stopped session is over; it is looked at again at rest")
			}
		})
	}
}

func TestRefusalsAreAskedAgainInTheirTime(t *testing.T) {
	for _, c := range []struct {
		name    string
		refusal garden.Refusal
		after   time.Duration
	}{
		{"supply busy", garden.Refusal{Cause: garden.SupplyBusy}, retrySoon},
		{"too soon, and says when", garden.Refusal{Cause: garden.TooSoon, Until: 7 * time.Minute}, 7 * time.Minute},
		{"device fault", garden.Refusal{Cause: garden.DeviceFault}, retryFaults},
		{"cap reached", garden.Refusal{Cause: garden.CapReached}, retryMuch},
		{"a far date is not believed blindly", garden.Refusal{Cause: garden.CapReached, Until: 400 * time.Hour}, retryMuch},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := still(t, testGarden(1, 22))
			b.dry(0, 1.2)
			o, at := b.until(10)
			require.GreaterOrEqual(t, at, 0)
			delete(b.open, o.Line)
			b.log = nil
			r := c.refusal
			r.Order, r.Line, r.Zone, r.At = o.ID, o.Line, o.Zone, b.now
			if r.Until > 0 {
				r.Until += b.now.Mono + time.Minute
			}
			b.obs.Refused = append(b.obs.Refused, r)
			heard := b.now.Add(time.Minute)
			_, n := b.until(100)
			require.GreaterOrEqual(t, n, 0)
			assert.Equal(t, c.after, b.now.Since(heard))
		})
	}
}

func TestVerifiedAtRestAndToppedUpOnce(t *testing.T) {
	b := still(t, testGarden(1, 40))
	z := &b.p.zones[0]
	b.dry(0, 1.1)
	_, at := b.until(10)
	require.GreaterOrEqual(t, at, 0)
	for b.st.lines[0].phase != garden.Resting || len(b.open) > 0 {
		b.tick()
	}
	given, n := b.now, len(b.log)
	// Most of it ran past: the pot is short once it rests.
	b.dry(0, 0.9)
	o, k := b.until(24 * 60)
	require.GreaterOrEqual(t, k, 0, "topped up")
	assert.Equal(t, garden.Topping, o.Why.Code)
	assert.Equal(t, garden.Irrigate, o.Kind)
	assert.GreaterOrEqual(t, b.now.Since(given), 5*time.Hour, "only at rest")
	assert.Less(t, o.Why.A, float64(z.Stop))
	b.run(5 * time.Hour)
	tops := 0
	for _, o := range b.log[n:] {
		if o.Why.Code == garden.Topping {
			tops++
		}
	}
	assert.Equal(t, 1, tops)
}

// What is charged as the most that may have run is no water that a probe must have
// moved with.
func TestAWorstCaseJudgesNoProbe(t *testing.T) {
	for name, c := range map[string]struct {
		end    garden.Ending
		times  float64
		judged bool
	}{
		"in full": {garden.Complete, 1, true}, "the driver failed": {garden.Faulted, 1, false},
		"nobody knows": {garden.Unfinished, 1, false}, "it may have been open for hours": {garden.Stopped, 5, false},
	} {
		t.Run(name, func(t *testing.T) {
			b := still(t, testGarden(1, 8))
			b.dry(0, 1.2)
			stuck := b.reading(0)
			b.lie = func(int, float64) float64 { return stuck }
			b.told = func(d *garden.Delivery) { d.End, d.Litres = c.end, d.Litres*c.times }
			_, at := b.until(10)
			require.GreaterOrEqual(t, at, 0)
			b.run(10 * time.Hour)
			judged := slices.ContainsFunc(b.events, func(e Event) bool { return e.Kind == ProbeNoResponse })
			assert.Equal(t, c.judged, judged, "%v", b.events)
		})
	}
}

func TestAProbeThatDoesNotMoveIsDistrustedAndComesBack(t *testing.T) {
	b := still(t, testGarden(1, 8))
	b.dry(0, 1.2)
	stuck := b.reading(0)
	b.lie = func(int, float64) float64 { return stuck }
	_, at := b.until(10)
	require.GreaterOrEqual(t, at, 0)
	b.run(10 * time.Hour)
	var kinds []EventKind
	for _, e := range b.events {
		kinds = append(kinds, e.Kind)
		assert.NotEqual(t, "unknown event", e.String())
	}
	assert.Contains(t, kinds, ProbeNoResponse)
	assert.Contains(t, kinds, ZoneNoResponse)
	assert.Contains(t, kinds, OnBalance)
	seen := func() ZoneView { return b.p.View(b.st, b.now, nil)[0] }
	assert.True(t, seen().NoAnswer, "its water may not have come")
	n := len(b.log)
	b.run(24 * time.Hour)
	for _, o := range b.log[n:] {
		assert.Equal(t, garden.Estimated, o.Kind, "a distrusted probe starts nothing: %s", o.Why)
	}
	// Somebody pushed it firmly into the mix.
	b.lie = nil
	b.mean[0] = float64(b.p.zones[0].LowerLimit)
	b.obs.Asks = append(b.obs.Asks, garden.Ask{Kind: garden.AskWater, Zone: "pot0", Litres: 6})
	b.run(10 * time.Hour)
	kinds = nil
	for _, e := range b.events {
		kinds = append(kinds, e.Kind)
	}
	assert.Contains(t, kinds, ProbeBack)
	assert.Contains(t, kinds, OnProbe)
	assert.False(t, seen().NoAnswer)
}
