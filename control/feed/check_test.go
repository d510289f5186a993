package feed

import (
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/control/garden"
)

func fedGarden() *garden.Garden {
	return &garden.Garden{
		Products: []garden.Product{
			{ID: "soluble", Form: garden.Soluble, Analysis: garden.Analysis{N: 20, P2O5: 10, K2O: 20}, ECPer100PPM: garden.Known(0.6)},
			{ID: "fish", Form: garden.Particulate, Analysis: garden.Analysis{N: 2, P2O5: 4, K2O: 1}, DensityKGL: garden.Known(1.15)},
		},
		Lines: []garden.Line{{ID: "l1", Outlets: []garden.Outlet{{Zone: "pot", Emitters: 4, FlowLPH: 2}}, Injector: garden.Injector{Ratio: 100}}},
		Pots: []garden.Pot{{ID: "pot", VolumeL: 75, Zones: []garden.Zone{{
			ID: "pot", Share: 1, Line: "l1", Plants: []garden.Plant{{Crop: "aubergine", Count: 1}},
			Feed: garden.FeedPlan{Products: []garden.ProductShare{{Product: "soluble", NShare: 1}}},
		}}}},
	}
}

func TestCheckGarden(t *testing.T) {
	assert.Empty(t, Check(fedGarden()))
	zone := func(g *garden.Garden) *garden.Zone { return &g.Pots[0].Zones[0] }
	for _, c := range []struct {
		name string
		set  func(*garden.Garden)
		path string
		what string
		warn bool
	}{
		{"product missing", func(g *garden.Garden) { zone(g).Feed.Products[0].Product = "nothing" }, "pots.pot.zones.pot.feed", "not in the garden file", false},
		{"no plants", func(g *garden.Garden) { zone(g).Plants = nil }, "pots.pot.zones.pot.feed", "no plants", false},
		{"label over 100", func(g *garden.Garden) { g.Products[0].Analysis.K2O = 80 }, "products.soluble.label", "sums to 110", false},
		{"solids through emitters", func(g *garden.Garden) { zone(g).Feed.Products[0].Product = "fish" }, "pots.pot.zones.pot.feed", "clogs", true},
		{"ratio below 1", func(g *garden.Garden) { g.Lines[0].Injector.Ratio = 0.2 }, "lines.l1.injector", "1:0.2", false},
		{"twice", func(g *garden.Garden) { g.Products[1].ID = "soluble" }, "products.soluble", "twice", false},
		{"odd form", func(g *garden.Garden) { g.Products[0].Form = "gas" }, "products.soluble.form", "gas", false},
		{"dose over limit", func(g *garden.Garden) { zone(g).Feed.DoseL = garden.Known(40) }, "pots.pot.zones.pot.feed", "over the limit", false},
		{"interval too short", func(g *garden.Garden) { zone(g).Feed.IntervalDays = garden.Known(1) }, "pots.pot.zones.pot.feed.interval", "expected 4 to 90", false},
		{"strength", func(g *garden.Garden) { zone(g).Feed.NPPM = garden.Known(900) }, "pots.pot.zones.pot.feed", "over the limit", false},
		{"line feeds neighbours", func(g *garden.Garden) {
			g.Lines[0].Outlets = append(g.Lines[0].Outlets, garden.Outlet{Zone: "other", Emitters: 1, FlowLPH: 2})
		}, "pots.pot.zones.pot.feed", "1 more zones", true},
	} {
		t.Run(c.name, func(t *testing.T) {
			g := fedGarden()
			c.set(g)
			var hit bool
			for _, p := range Check(g) {
				if p.Path == c.path && p.Fatal != c.warn && strings.Contains(p.What, c.what) {
					hit = true
				}
			}
			assert.True(t, hit, "%+v", Check(g))
		})
	}
}

func TestResolve(t *testing.T) {
	g := fedGarden()
	p, err := Resolve(g, &g.Pots[0], &g.Pots[0].Zones[0], 0.6, 0.52, 0.36, 1.5)
	require.NoError(t, err)
	assert.Equal(t, garden.LineID("l1"), p.Line)
	assert.InDelta(t, 8, p.CapL, 1e-9)
	g.Lines[0].Injector = garden.Injector{}
	p, err = Resolve(g, &g.Pots[0], &g.Pots[0].Zones[0], 0.6, 0.52, 0.36, 1.5)
	require.NoError(t, err)
	assert.Empty(t, p.Line, "no injector: the gardener feeds")
	g.Pots[0].Zones[0].Plants = nil
	_, err = Resolve(g, &g.Pots[0], &g.Pots[0].Zones[0], 0.6, 0.52, 0.36, 1.5)
	require.ErrorContains(t, err, "no plants")
	g.Pots[0].Zones[0].Feed.Products[0].Product = "nothing"
	_, err = Resolve(g, &g.Pots[0], &g.Pots[0].Zones[0], 0.6, 0.52, 0.36, 1.5)
	require.ErrorContains(t, err, "not in the garden file")
	_, err = Resolve(g, &g.Pots[0], &garden.Zone{}, 0.6, 0.52, 0.36, 1.5)
	require.ErrorContains(t, err, "no feed plan")
}

func TestZoneHunger(t *testing.T) {
	z := &garden.Zone{Plants: []garden.Plant{{Crop: "basil", Count: 2}, {Crop: "tomato", Count: 1}}}
	h := ZoneHunger(z)
	assert.Equal(t, Fruiting, h.Habit)
	// 2 × 0.3 kg of basil at 3.5 and 4 kg of tomatoes at 2.75 g/kg.
	assert.InDelta(t, 0.6*3.5+4*2.75, h.PerTonne.N*h.YieldKG*3, 1e-9)
	_, known := HungerOf("quinoa")
	assert.False(t, known)
	assert.True(t, garden.Finite(ZoneHunger(&garden.Zone{}).PerTonne.N))
	assert.Equal(t, NPK{}, DailyUptake(h, math.NaN(), Middle, [4]int{}, garden.Measured{}))
}

// A tomato's season on the ledger, with the portions and rules as they are: the
// root zone must not run out of nitrogen for long, and what was fed must be of
// the size of what the plant takes up. Figures are printed with -v.
func TestSeasonOnTheLedger(t *testing.T) {
	lengths := [4]int{30, 40, 45, 30}
	h, _ := HungerOf("tomato")
	for _, full := range []bool{false, true} {
		l, err := NewLedger(StarterCharge(&garden.Mix{StarterNmgL: 60, StarterPmgL: 30, StarterKmgL: 80}, 75), 0)
		require.NoError(t, err)
		sit := Situation{Since: d0, Today: d0, Starter: true, Habit: h.Habit}
		var feeds, hungry int
		for i := range 145 {
			sit.Today = d0.Add(day * time.Duration(i))
			sit.Stage, _ = StageAt(float64(i), lengths)
			need := DailyUptake(h, 4, sit.Stage, lengths, garden.Measured{})
			sit.NDaysLeft = garden.Known(l.DaysOfN(need.N, 0.01))
			if d := Assess(sit); d.Now {
				por, err := PortionFor(garden.FeedPlan{FullStrength: full}, 75, h, sit.Stage)
				require.NoError(t, err)
				el := Elements(garden.Analysis{N: 20, P2O5: 10, K2O: 20})
				require.NoError(t, l.Feed(el.Times(por.NPPM/el.N*por.Litres/1000)))
				sit.Last, sit.LastStage = sit.Today, sit.Stage
				feeds++
			}
			took, err := l.Pass(1, need)
			require.NoError(t, err)
			if took.N < 0.9*need.N {
				hungry++
			}
			_, err = l.Leach(0.3, 35)
			require.NoError(t, err)
		}
		t.Logf("full %v: %d feeds, %d hungry days, N fed %.1f g, taken %.1f, leached %.1f, left %.1f",
			full, feeds, hungry, l.Fed.N, l.Taken.N, l.Leached.N, l.Pool.N)
		if full {
			assert.LessOrEqual(t, hungry, 7, "full strength keeps a 4 kg tomato fed")
			assert.Less(t, l.Leached.N, 0.25*(l.Fed.N+l.Starter.N))
		} else {
			assert.LessOrEqual(t, hungry, 14, "the weak default leaves it short for days, not weeks")
		}
	}
}
