package control

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fabricpot/control/garden"
)

// Capacities of the peat-perlite-like illustrative mix (θr .10, θs .88, α .15/cm,
// n 1.6) by independent quadrature and by the closed form ₂F₁ of the averaged van
// Genuchten (1980) curve; θ(100 cm) = 0.2529. Computed independently.
func TestPlanHoldsWhatTheMixHolds(t *testing.T) {
	for _, c := range []struct {
		name               string
		heightCM, capacity float64
	}{{"10 cm", 10, .752434}, {"20 cm", 20, .647392}, {"30 cm", 30, .578203}, {"40 cm", 40, .529133}, {"60 cm", 60, .463027}} {
		t.Run(c.name, func(t *testing.T) {
			g := testGarden(1, 5)
			g.Pots[0].Shape.HeightCM = c.heightCM
			p, _, err := NewPlan(g)
			require.NoError(t, err)
			z := p.Zones()[0]
			assert.InDelta(t, c.capacity, float64(z.Capacity), 2e-6)
			assert.InDelta(t, .88-c.capacity, z.AirSpace, 2e-6)
			assert.InDelta(t, .2529, float64(z.LowerLimit), 5e-5)
			// Aubergine's p is 0.45 (FAO-56 Table 22, READ in two transcriptions).
			assert.InDelta(t, .45*(c.capacity-.2529), float64(z.Capacity-z.Refill), 5e-5, "band = p·(capacity−limit)")
			assert.Less(t, z.Stop, z.Capacity)
			assert.Greater(t, z.Stop, z.Refill)
		})
	}
}

// TestPlanLike: what is taken from an earlier plan is only what is the same in both.
func TestPlanLike(t *testing.T) {
	g := testGarden(2, 10)
	first, _, err := NewPlan(g)
	require.NoError(t, err)
	again, _, err := NewPlanLike(first, g)
	require.NoError(t, err)
	assert.Equal(t, first, again)
	assert.Same(t, first.probes[0].profile, again.probes[0].profile, "not made anew")
	other := testGarden(2, 10)
	other.Pots[0].Shape.HeightCM += 5
	alone, _, err := NewPlan(other)
	require.NoError(t, err)
	like, _, err := NewPlanLike(first, other)
	require.NoError(t, err)
	assert.Equal(t, alone, like)
}

// A perfect probe 10 cm under the surface of a drained 45 cm pot of that mix
// reads 0.381 where the mean is 0.509 (computed independently): the zone is
// full, and a controller that compared the two would water for ever.
func TestReadingAtDepthIsNotTheMean(t *testing.T) {
	p, _, err := NewPlan(testGarden(1, 10))
	require.NoError(t, err)
	pr, z := &p.probes[0], &p.zones[0]
	assert.InDelta(t, 0.381, pr.atCapacity, 0.0005)
	assert.InDelta(t, 0.509, float64(z.Capacity), 0.0005)
	v := pr.judge(z, 1, 0.381)
	assert.InDelta(t, 0.509, v.mid, 0.001)
	assert.Less(t, v.hi-v.lo, 0.002, "at capacity every picture of the pot agrees")

	b := newBench(t, testGarden(1, 10))
	b.demand = 0
	for range 600 {
		b.obs.Today = garden.DayWeather{TMinC: garden.Known(5), TMaxC: garden.Known(5.1)}
		assert.Empty(t, b.tick())
	}
}

func TestJudgeBracketsAndFalls(t *testing.T) {
	for _, depth := range []float64{3, 10, 22, 36, 43} {
		p, _, err := NewPlan(testGarden(1, depth))
		require.NoError(t, err)
		pr, z := &p.probes[0], &p.zones[0]
		last := verdict{lo: -1, mid: -1, hi: -1}
		for r := 0.12; r < 0.87; r += 0.005 {
			v := pr.judge(z, 1, r)
			assert.LessOrEqual(t, v.lo, v.mid+1e-9, "depth %v reading %v", depth, r)
			assert.LessOrEqual(t, v.mid, v.hi+1e-9, "depth %v reading %v", depth, r)
			assert.GreaterOrEqual(t, v.mid, last.mid, "depth %v reading %v: a wetter reading is never a drier pot", depth, r)
			last = v
		}
	}
}

func TestBandNeverUnderSixPercent(t *testing.T) {
	g := testGarden(1, 10)
	g.Pots[0].Zones[0].Plants[0].Crop = "strawberry" // p 0.20
	p, _, err := NewPlan(g)
	require.NoError(t, err)
	z := p.Zones()[0]
	assert.InDelta(t, 0.06, float64(z.Capacity-z.Refill), 1e-9)
}

func TestYoungRootsAreWateredSoonerAndLess(t *testing.T) {
	p, _, err := NewPlan(testGarden(1, 10))
	require.NoError(t, err)
	z := &p.zones[0]
	last := 0.0
	for r := 0.1; r <= 1.0001; r += 0.05 {
		b := z.band(r)
		assert.Greater(t, b, last)
		assert.LessOrEqual(t, b, z.band(1)*r+1e-9, "roots in the dry top reach less than their share")
		last = b
	}
}

func TestWhatTheGardenerMeasuredWins(t *testing.T) {
	g := testGarden(1, 10)
	z := &g.Pots[0].Zones[0]
	z.Capacity, z.LowerLimit = garden.Known(0.60), garden.Known(0.30)
	z.RefillPoint, z.StopPoint = garden.Known(0.45), garden.Known(0.58)
	p, _, err := NewPlan(g)
	require.NoError(t, err)
	zp := p.Zones()[0]
	assert.True(t, zp.CapacityMeasured)
	assert.InDelta(t, 0.60, float64(zp.Capacity), 1e-12)
	assert.InDelta(t, 0.30, float64(zp.LowerLimit), 1e-12)
	assert.InDelta(t, 0.45, float64(zp.Refill), 1e-12)
	assert.InDelta(t, 0.58, float64(zp.Stop), 1e-12)
	assert.InDelta(t, (0.58-0.45)*75, zp.RefillL, 1e-9)
	v := p.probes[0].judge(&p.zones[0], 1, p.probes[0].atCapacity)
	assert.InDelta(t, 0.60, v.mid, 0.002, "the reading of the drained pot means the measured capacity")
}

// 6 L as three pulses of 2 L at 20 L/h are 6 minutes each; 4 L through two
// emitters of 2 L/h are 60 minutes (computed).
func TestPulseTime(t *testing.T) {
	assert.Equal(t, 6*time.Minute, hours(2.0/20).Round(time.Second))
	assert.Equal(t, time.Hour, hours(4.0/(2*2)).Round(time.Second))
	p, _, err := NewPlan(testGarden(1, 10))
	require.NoError(t, err)
	z := p.Zones()[0]
	assert.InDelta(t, z.PulseL/8, z.PulseTime.Hours(), 1e-6)
	assert.InDelta(t, z.RefillL, z.PulseL*float64(z.Pulses), 1e-9)
	// Two to four pulses, 20 to 60 minutes apart (from memory, trade practice).
	assert.GreaterOrEqual(t, z.Pulses, 2)
	assert.LessOrEqual(t, z.Pulses, 4)
	assert.GreaterOrEqual(t, z.Soak, 20*time.Minute)
	assert.LessOrEqual(t, z.Soak, time.Hour)
}

// Litres a day = Kc·ETo·canopy: 1.05 · 8 mm · 0.8 m² = 6.72 L for the plant
// alone (FAO-56 Table 12 gives aubergine Kc mid 1.05, READ).
func TestPeakNeedUsesCanopyNotPot(t *testing.T) {
	g := testGarden(1, 10)
	g.Pots[0].Zones[0].Plants[0].CanopyM2 = garden.Known(0.8)
	p, _, err := NewPlan(g)
	require.NoError(t, err)
	peak := p.Zones()[0].PeakDailyL
	assert.Greater(t, peak, 6.72)
	assert.Less(t, peak, 6.72*1.25)
	assert.GreaterOrEqual(t, p.Lines()[0].CapL, 2*peak)
}

// Whatever plant stands in whatever pot, a line may fill the pot from its lower
// limit in a day, and never gives more than twice and a half what its plants
// drink or, where that is more, than its pots hold at capacity and drink.
func TestCapFillsADryPotAndNoMore(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		g := testGarden(2, 10)
		shared := rapid.Bool().Draw(rt, "a shared line")
		if shared {
			g.Pots[1].Zones[0].Line = g.Lines[0].ID
			g.Lines[0].Outlets = append(g.Lines[0].Outlets, garden.Outlet{Zone: "pot1", Emitters: rapid.IntRange(1, 8).Draw(rt, "emitters"), FlowLPH: 4})
			g.Lines = g.Lines[:1]
			g.Lines[0].DU = rapid.Float64Range(0.3, 1).Draw(rt, "uniformity")
			g.Supply.FlowLPH = 1000
		}
		for i := range g.Pots {
			g.Pots[i].VolumeL = rapid.Float64Range(20, 400).Draw(rt, "volume")
			g.Pots[i].Zones[0].Plants[0].CanopyM2 = garden.Known(rapid.Float64Range(0.02, 2).Draw(rt, "canopy"))
			g.Pots[i].Zones[0].LeachingFraction = rapid.Float64Range(0, 0.4).Draw(rt, "leaching")
		}
		p, _, err := NewPlan(g)
		require.NoError(rt, err)
		for i := range p.lines {
			l := &p.lines[i]
			du := 1.0
			if len(l.zones) > 1 {
				du = l.DU
			}
			holds := 0.0
			for _, zi := range l.zones {
				z := &p.zones[zi]
				dry := float64(z.Capacity-z.LowerLimit) * z.VolumeL / z.share
				require.GreaterOrEqual(rt, l.CapL, dry, "%s stays dry", z.ID)
				holds = max(holds, float64(z.Capacity)*z.VolumeL/z.share/(1-z.LeachingFraction)/du)
			}
			require.LessOrEqual(rt, l.CapL, max(2.5*l.PeakDailyL, holds+l.PeakDailyL)*(1+1e-9))
		}
	})
}

func TestProblems(t *testing.T) {
	for _, c := range []struct {
		name, path, what string
		fatal            bool
		change           func(g *garden.Garden)
	}{
		{"refill over capacity", "pots.pot0.zones.main.refill", "container capacity", true, func(g *garden.Garden) { g.Pots[0].Zones[0].RefillPoint = garden.Known(0.7) }},
		{"stop under refill", "pots.pot0.zones.main.stop", "not over the refill point", true, func(g *garden.Garden) { g.Pots[0].Zones[0].StopPoint = garden.Known(0.2) }},
		{"unknown crop", "pots.pot0.zones.main.plants", "triffid", true, func(g *garden.Garden) { g.Pots[0].Zones[0].Plants[0].Crop = "triffid" }},
		{"unknown mix", "pots.pot0.mix", "not defined", true, func(g *garden.Garden) { g.Pots[0].Mix = "mud" }},
		{"bad curve", "mixes.mix.retention", "", true, func(g *garden.Garden) { g.Mixes[0].Retention.N = 0.9 }},
		{"probe under the floor", "pots.pot0.zones.main.probes.pot0-probe.depth", "probe", true, func(g *garden.Garden) { g.Pots[0].Zones[0].Probes[0].DepthCM = 50 }},
		{"line over the supply", "lines.line-pot0", "supply", true, func(g *garden.Garden) { g.Supply.FlowLPH = 5 }},
		{"no line of that name", "pots.pot0.zones.main.line", "not defined", true, func(g *garden.Garden) { g.Pots[0].Zones[0].Line = "nowhere" }},
		{"little air", "pots.pot0.zones.main", "air", false, func(g *garden.Garden) { g.Pots[0].Shape.HeightCM = 6; g.Pots[0].Zones[0].Probes[0].DepthCM = 3 }},
		{"too few hours", "lines.line-pot0", "emitters", false, func(g *garden.Garden) { g.Supply.Hours = []garden.DayWindow{{From: 0, To: 10 * time.Minute}} }},
		{"empties in a day", "pots.pot0.zones.main", "dry within a day", false, func(g *garden.Garden) { g.Pots[0].VolumeL = 12; g.Pots[0].Zones[0].Plants[0].Count = 4 }},
		{"no probe", "pots.pot0.zones.main", "balance alone", false, func(g *garden.Garden) { g.Pots[0].Zones[0].Probes = nil }},
		{"cap under the need", "lines.line-pot0.daily-cap", "hot day", false, func(g *garden.Garden) { g.Lines[0].DailyCapL = garden.Known(0.5) }},
		{"supply too small for all", "supply", "all lines together", false, func(g *garden.Garden) {
			g.Supply = garden.Supply{FlowLPH: 8, Hours: []garden.DayWindow{{From: 5 * time.Hour, To: 6 * time.Hour}}}
		}},
		{"unlike zones on a line", "lines.line-pot0", "line of its own", false, func(g *garden.Garden) {
			g.Pots[1].Zones[0].Line = g.Lines[0].ID
			g.Lines[0].Outlets = append(g.Lines[0].Outlets, garden.Outlet{Zone: "pot1", Emitters: 2, FlowLPH: 4})
			g.Pots[1].Zones[0].Plants[0].Count = 3
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			g := testGarden(2, 10)
			c.change(g)
			_, problems, err := NewPlan(g)
			assert.Equal(t, c.fatal, err != nil, "%v", err)
			found := false
			for _, p := range problems {
				if p.Path == c.path && p.Fatal == c.fatal && assert.Contains(t, p.What, c.what) {
					found = true
					break
				}
			}
			assert.True(t, found, "%+v", problems)
		})
	}
	t.Run("nothing given", func(t *testing.T) {
		_, _, err := NewPlan(nil)
		assert.Error(t, err)
	})
	t.Run("a sound garden has none", func(t *testing.T) {
		_, problems, err := NewPlan(testGarden(2, 10))
		require.NoError(t, err)
		assert.Empty(t, problems)
	})
}

func TestProbesSideBySideAreOne(t *testing.T) {
	depth, reading := []float64{10, 10, 11, 30, 40, 41}, []float64{.1, .2, .3, .4, .5, .7}
	n := asOne(depth, reading, 1.5)
	require.Equal(t, 3, n)
	assert.InDeltaSlice(t, []float64{31. / 3, 30, 40.5}, depth[:n], 1e-12)
	assert.InDeltaSlice(t, []float64{.2, .4, .6}, reading[:n], 1e-12)
}

// A probe put in beside another one, both in mix that is as dry as any probe can
// tell, leaves the pot watered.
func TestProbesAtOneDepthKeepAPotWatered(t *testing.T) {
	g := testGarden(1, 12)
	z := &g.Pots[0].Zones[0]
	z.Probes = append(z.Probes,
		garden.Probe{ID: "beside", Zone: z.ID, DepthCM: 12},
		garden.Probe{ID: "deep", Zone: z.ID, DepthCM: 36})
	b := newBench(t, g)
	b.lie = func(i int, _ float64) float64 { return []float64{.12, .13, .40}[i] }
	b.run(10 * time.Hour)
	assert.True(t, garden.Finite(b.st.zones[0].water.Mean), "%v", b.st.zones[0].water.Mean)
	assert.NotEmpty(t, b.log, "it is dry")
}
