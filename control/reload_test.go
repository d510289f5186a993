package control

import (
	"fmt"
	"math"
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func nothingChanged(garden.ProbeID) bool { return false }

// reloadInto carries the bench's state on in another version of its garden.
func (b *bench) reloadInto(g *garden.Garden, changed func(garden.ProbeID) bool, events ...garden.PlantEvent) error {
	p, problems, err := NewPlan(g)
	require.NoError(b.t, err, "%v", problems)
	if err := p.Reload(b.p, b.st, b.now, changed, events); err != nil {
		return err
	}
	b.p = p
	return nil
}

// TestReloadOfTheSameGarden: days later not an order differs, to the last bit.
func TestReloadOfTheSameGarden(t *testing.T) {
	run := func(reload bool) (string, *State) {
		b := newBench(t, testGarden(3, 20))
		for i := range 4 * 24 * 60 {
			if reload && i%397 == 0 && len(b.open) == 0 {
				require.NoError(t, b.reloadInto(testGarden(3, 20), nothingChanged))
			}
			b.tick()
		}
		return fmt.Sprintf("%#v", b.log), b.st
	}
	plain, st := run(false)
	again, re := run(true)
	require.NotEmpty(t, plain)
	assert.Equal(t, plain, again)
	st.events, re.events = nil, nil
	assert.Equal(t, st, re)
}

// TestReloadKeepsWhatIsKnown: a zone whose plants, mix or size changed keeps its
// water in litres, its factor and what was given.
func TestReloadKeepsWhatIsKnown(t *testing.T) {
	start := func() *bench {
		b := newBench(t, testGarden(2, 20))
		b.demand = 1.4
		for range 10 * 24 * 60 {
			b.tick()
		}
		return b
	}
	t.Run("a bigger pot", func(t *testing.T) {
		b := start()
		before := b.st.Clone()
		litres := before.zones[0].water.Mean * 75
		g := testGarden(2, 20)
		g.Pots[0].VolumeL, g.Pots[0].Shape.HeightCM = 80, 48
		require.NoError(t, b.reloadInto(g, nothingChanged))
		z := &b.st.zones[0]
		assert.InDelta(t, litres, z.water.Mean*80, 1e-9)
		assert.Equal(t, before.zones[0].water.Factor, z.water.Factor)
		assert.Greater(t, z.water.VarMean, before.zones[0].water.VarMean)
		assert.Equal(t, before.lines[0].given, b.st.lines[0].given)
		assert.Equal(t, before.zones[1], b.st.zones[1], "the other pot knows nothing of it")
	})
	t.Run("what a larger pot misses", func(t *testing.T) {
		b := start()
		g := testGarden(2, 20)
		g.Pots[0].Zones[0].LeachingFraction = 0.1
		require.NoError(t, b.reloadInto(g, nothingChanged))
		assert.False(t, b.st.zones[0].depth.begun, "a balance that was not kept begins anew")
		b.run(3 * time.Hour)
		was, z := b.p.zones[0], &b.st.zones[0]
		z.short, z.depth = 3, depth{short: 2, wash: 4, begun: true}
		g = testGarden(2, 20)
		g.Pots[0].Zones[0].LeachingFraction = 0.1
		g.Pots[0].VolumeL, g.Pots[0].Shape.HeightCM = 80, 48
		require.NoError(t, b.reloadInto(g, nothingChanged))
		more := float64(b.p.zones[0].Capacity)*80 - float64(was.Capacity)*75
		require.Greater(t, more, 0.5)
		assert.InDelta(t, 3+more, z.short, 1e-9, "the litres are the same")
		assert.InDelta(t, 2+more, z.depth.short, 1e-9)
		assert.Equal(t, 4.0, z.depth.wash)
		require.NoError(t, b.reloadInto(testGarden(2, 20), nothingChanged))
		assert.Zero(t, z.depth, "no leaching, no balance")
	})
	t.Run("other plants", func(t *testing.T) {
		b := start()
		before := b.st.zones[0].water
		g := testGarden(2, 20)
		g.Pots[0].Zones[0].Plants = []garden.Plant{{Crop: "chilli", Count: 2}}
		require.NoError(t, b.reloadInto(g, nothingChanged))
		z := &b.st.zones[0]
		assert.Equal(t, before.Mean, z.water.Mean)
		assert.InDelta(t, 1+(before.Factor-1)/2, z.water.Factor, 1e-9, "half of what was learnt of another plant stands")
		assert.Equal(t, 2.0, z.plants[0].count)
	})
	t.Run("what was done to the plants is done to the new ones", func(t *testing.T) {
		b := start()
		mulch := garden.PlantEvent{Zone: "pot0", Kind: garden.Mulched, Share: 0.8, On: b.now.Wall.Add(-48 * time.Hour)}
		g := testGarden(2, 20)
		g.Pots[0].Zones[0].Plants = []garden.Plant{{Crop: "chilli", Count: 2}}
		require.NoError(t, b.reloadInto(g, nothingChanged, mulch))
		assert.Equal(t, 0.8, b.st.zones[0].place.mulch)
		assert.Zero(t, b.st.zones[1].place.mulch)
	})
	t.Run("a probe that means something else", func(t *testing.T) {
		b := start()
		before := b.st.Clone()
		require.NoError(t, b.reloadInto(testGarden(2, 20), func(id garden.ProbeID) bool { return id == "pot0-probe" }))
		assert.False(t, b.st.probes[0].has)
		assert.Equal(t, before.probes[1], b.st.probes[1])
		assert.Equal(t, before.zones[0].water.Factor, b.st.zones[0].water.Factor)
	})
	t.Run("another zone, line or probe is refused and changes nothing", func(t *testing.T) {
		for name, change := range map[string]func(*garden.Garden){
			"zone":  func(g *garden.Garden) { g.Pots[0].Zones[0].ID = "other"; g.Lines[0].Outlets[0].Zone = "other" },
			"order": func(g *garden.Garden) { g.Pots[0], g.Pots[1] = g.Pots[1], g.Pots[0] },
			"probe": func(g *garden.Garden) { g.Pots[0].Zones[0].Probes = nil },
			"flow":  func(g *garden.Garden) { g.Lines[0].Outlets[0].FlowLPH = 8 },
		} {
			b := start()
			before := b.st.Clone()
			g := testGarden(2, 20)
			change(g)
			require.Error(t, b.reloadInto(g, nothingChanged), name)
			assert.Equal(t, before, b.st, name)
		}
	})
}

// edit is a valid change of a garden that a running gateway may take over.
func edit(t *rapid.T, g *garden.Garden) {
	g.Limits.DailyFactor = rapid.Float64Range(2, 10).Draw(t, "factor")
	g.Limits.MinRest = time.Duration(rapid.Int64Range(0, int64(time.Hour)).Draw(t, "rest"))
	g.StagesByHeat = rapid.Bool().Draw(t, "heat")
	g.Supply.ECmS = garden.Measured{Value: rapid.Float64Range(0, 5).Draw(t, "conductivity"), Known: rapid.Bool().Draw(t, "known")}
	for i := range g.Pots {
		p := &g.Pots[i]
		z := &p.Zones[0]
		if rapid.Bool().Draw(t, "size") {
			h := rapid.Float64Range(20, 60).Draw(t, "height")
			p.VolumeL, p.Shape.HeightCM = 75*h/45, h
			z.Probes[0].DepthCM = h / 2
		}
		z.Exposure = rapid.SampledFrom([]garden.Exposure{garden.Sheltered, garden.OpenAir, garden.WindyPaved}).Draw(t, "exposure")
		z.Plants = nil
		for range rapid.IntRange(0, 3).Draw(t, "plants") {
			z.Plants = append(z.Plants, garden.Plant{Crop: rapid.SampledFrom([]string{"aubergine", "chilli", "strawberry"}).Draw(t, "crop"), Count: rapid.IntRange(1, 4).Draw(t, "count")})
		}
		z.LeachingFraction = rapid.Float64Range(0, 0.4).Draw(t, "leaching")
		z.LeachByNeed = rapid.Bool().Draw(t, "by need")
		if rapid.Bool().Draw(t, "cap") {
			g.Lines[i].DailyCapL = garden.Known(rapid.Float64Range(0.1, 200).Draw(t, "litres"))
		}
		g.Lines[i].DU = rapid.Float64Range(0.3, 1).Draw(t, "uniformity")
	}
}

// TestReloadGivesNoMore: after any valid edit the controller's own budgets are no
// bigger for a day from the edit that changed them, and the file's after it, the
// state is sane, and nothing is ordered by the reload itself.
func TestReloadGivesNoMore(t *testing.T) {
	type bound struct {
		capL, guessedL float64
		until          garden.Moment
	}
	rapid.Check(t, func(rt *rapid.T) {
		b := newBench(t, testGarden(2, 20))
		var held [2]bound
		for range rapid.IntRange(1, 6).Draw(rt, "reloads") {
			for range rapid.IntRange(1, 30*60).Draw(rt, "minutes") {
				b.tick()
			}
			g := testGarden(2, 20)
			edit(rt, g)
			p, _, err := NewPlan(g)
			if err != nil {
				rt.Skip("not a valid edit")
			}
			capL, guessedL := make([]float64, 2), make([]float64, 2)
			for i := range capL {
				capL[i], guessedL[i] = b.p.budgets(b.st, i, b.now)
			}
			given := [2]ledger{b.st.lines[0].given, b.st.lines[1].given}
			if err := p.Reload(b.p, b.st, b.now, func(garden.ProbeID) bool { return rapid.Bool().Draw(rt, "recalibrated") }, nil); err != nil {
				rt.Fatal(err)
			}
			for i := range capL {
				c, e := p.budgets(b.st, i, b.now)
				if c > capL[i] || e > guessedL[i] {
					rt.Fatalf("line %d: %v and %v L after %v and %v", i, c, e, capL[i], guessedL[i])
				}
				was, to := &b.p.lines[i], &p.lines[i]
				if was.CapL != to.CapL || was.EstimatedL != to.EstimatedL {
					held[i] = bound{capL[i], guessedL[i], b.now.Add(24 * time.Hour)}
				}
				until := held[i].until
				if until.Mono <= b.now.Mono {
					continue
				}
				if c, e := p.budgets(b.st, i, until.Add(-time.Second)); c > held[i].capL || e > held[i].guessedL {
					rt.Fatalf("line %d: %v and %v L a second before the day is over, %+v", i, c, e, held[i])
				}
				if c, e := p.budgets(b.st, i, until); c != to.CapL || e != to.EstimatedL {
					rt.Fatalf("line %d: %v and %v L a day after the edit, the file says %v and %v", i, c, e, to.CapL, to.EstimatedL)
				}
			}
			for i := range given {
				if given[i] != b.st.lines[i].given {
					rt.Fatalf("line %d forgot what was given", i)
				}
			}
			b.p = p
			for i := range b.st.zones {
				z := &b.st.zones[i]
				for _, v := range []float64{z.water.Mean, z.water.VarMean, z.water.Factor, z.lossPerMM, z.short, z.band, z.root} {
					if !garden.Finite(v) || v < 0 {
						rt.Fatalf("zone %d: %+v", i, z)
					}
				}
				if z.water.Mean > float64(p.zones[i].Porosity) || math.IsNaN(z.spent) {
					rt.Fatalf("zone %d holds %v", i, z.water.Mean)
				}
			}
		}
		for range 100 {
			b.tick()
		}
	})
}
