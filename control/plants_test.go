package control

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/control/garden"
)

func (b *bench) event(e garden.PlantEvent) {
	b.t.Helper()
	require.NoError(b.t, b.p.CheckPlant(&e))
	b.obs.Asks = append(b.obs.Asks, garden.Ask{Kind: garden.AskPlant, Zone: e.Zone, Plant: e})
	b.tick()
}

// The test plant is one grown aubergine of 0.5 m² and Kc 1.05 (FAO-56 Table 12).
func TestPlantEventsChangeTheNeed(t *testing.T) {
	start := func(t *testing.T) (*bench, *zoneState) {
		b := newBench(t, testGarden(1, 22))
		b.run(3 * time.Hour)
		return b, &b.st.zones[0]
	}
	t.Run("pruned: less canopy, which grows back", func(t *testing.T) {
		b, z := start(t)
		before, canopy := z.lossPerMM, z.canopyM2
		b.event(garden.PlantEvent{Kind: garden.Pruned, Zone: "pot0", Share: 0.4})
		assert.InDelta(t, 0.6*canopy, z.canopyM2, 1e-9)
		assert.Less(t, z.lossPerMM, before)
		b.run(14 * 24 * time.Hour)
		assert.InDelta(t, 0.8*canopy, z.canopyM2, 0.02*canopy, "half of it in a fortnight")
	})
	t.Run("harvested fruit leaves the canopy", func(t *testing.T) {
		b, z := start(t)
		canopy := z.canopyM2
		b.event(garden.PlantEvent{Kind: garden.Harvested, Zone: "pot0"})
		assert.InDelta(t, canopy, z.canopyM2, 1e-9)
	})
	t.Run("planted: small roots, small canopy, a narrower band", func(t *testing.T) {
		b, z := start(t)
		canopy, band := z.canopyM2, z.band
		b.event(garden.PlantEvent{Kind: garden.Planted, Zone: "pot0", Crop: "aubergine"})
		assert.InDelta(t, 0.04*canopy, z.canopyM2, 0.01*canopy)
		assert.InDelta(t, 0.15, z.root, 0.02)
		assert.Less(t, z.band, band)
		b.run(20 * 24 * time.Hour)
		assert.Greater(t, z.root, 0.25)
	})
	t.Run("pulled: no water of its own, planted again: water again", func(t *testing.T) {
		b, z := start(t)
		b.event(garden.PlantEvent{Kind: garden.Pulled, Zone: "pot0"})
		assert.Zero(t, z.canopyM2)
		b.mean[0] = 0.2
		b.log = nil
		b.run(48 * time.Hour)
		assert.Empty(t, b.log)
		b.event(garden.PlantEvent{Kind: garden.Planted, Zone: "pot0"})
		b.run(12 * time.Hour)
		assert.NotEmpty(t, b.log)
	})
	t.Run("pulled while it is watered: the pulse stops, none follows, the marks stay", func(t *testing.T) {
		for _, soaking := range []bool{false, true} {
			b, z := start(t)
			refill := b.p.View(b.st, b.now, nil)[0].Refill
			b.dry(0, 1.5)
			_, at := b.until(20)
			require.GreaterOrEqual(t, at, 0)
			for soaking && b.st.lines[0].phase != garden.Soaking {
				b.tick()
			}
			require.Positive(t, b.st.lines[0].owed)
			b.event(garden.PlantEvent{Kind: garden.Pulled, Zone: "pot0"})
			assert.Len(t, b.st.Stops(), map[bool]int{false: 1}[soaking])
			b.run(24 * time.Hour)
			assert.Len(t, b.log, 1)
			v := b.p.View(b.st, b.now, nil)[0]
			assert.True(t, v.Empty)
			assert.Equal(t, refill, v.Refill)
			assert.EqualValues(t, mostHours, v.HoursToRefill)
			assert.Positive(t, z.lossPerMM, "bare mix dries too")
		}
	})
	t.Run("pulled beside another on its line: the other is refilled whole", func(t *testing.T) {
		given := func(pull bool) (litres float64) {
			b := still(t, shared(2, 2))
			b.dry(0, 1.1)
			if pull {
				b.event(garden.PlantEvent{Kind: garden.Pulled, Zone: "pot1"})
			}
			b.run(90 * time.Minute)
			for _, o := range b.log {
				litres += o.Litres
			}
			return litres
		}
		assert.Greater(t, given(true), 1.5*given(false), "nobody drowns in an empty pot")
	})
	t.Run("mulched: only the surface evaporates less", func(t *testing.T) {
		b, z := start(t)
		zp := &b.p.zones[0]
		use := 1.05 * 0.5
		assert.InDelta(t, use+zp.bareMM(0.5, 0), z.lossPerMM, 1e-9)
		b.event(garden.PlantEvent{Kind: garden.Mulched, Zone: "pot0", Share: 1})
		assert.InDelta(t, use+zp.bareMM(0.5, 1), z.lossPerMM, 1e-9)
		assert.Less(t, zp.bareMM(0.5, 1), zp.bareMM(0.5, 0))
		b.event(garden.PlantEvent{Kind: garden.Mulched, Zone: "pot0"})
		assert.InDelta(t, use+zp.bareMM(0.5, 0), z.lossPerMM, 1e-9)
	})
	t.Run("moved: the place's factor, and doubt about the demand", func(t *testing.T) {
		b, z := start(t)
		before := z.lossPerMM
		z.water.Factor, z.water.VarFactor = 1.4, 0.05*0.05
		b.event(garden.PlantEvent{Kind: garden.Moved, Zone: "pot0", Exposure: garden.WindyPaved})
		assert.InDelta(t, 1.4*before, z.lossPerMM, 1e-9)
		assert.InDelta(t, 1.2, z.water.Factor, 0.01)
		assert.Greater(t, z.water.VarFactor, 0.14*0.14)
	})
	t.Run("topped up: doubt about the water", func(t *testing.T) {
		b, z := start(t)
		z.water.VarMean = 0.01 * 0.01
		mean := z.water.Mean
		b.p.plant(b.st, b.now, &garden.PlantEvent{Kind: garden.ToppedUp, Zone: "pot0", Litres: 15})
		// A fifth of the pot, at 0.35 ± 0.15.
		assert.InDelta(t, mean+0.2*(0.35-mean), z.water.Mean, 1e-9)
		assert.InDelta(t, 0.0316, z.water.SD(), 1e-3)
	})
	t.Run("seen fruiting: mid-season's coefficient from that day", func(t *testing.T) {
		b, z := start(t)
		b.event(garden.PlantEvent{Kind: garden.Planted, Zone: "pot0"})
		small := z.lossPerMM
		b.event(garden.PlantEvent{Kind: garden.SeenAt, Zone: "pot0", Stage: "fruiting"})
		assert.InDelta(t, 0.5, z.canopyM2, 1e-9)
		assert.InDelta(t, 75, z.plants[0].shift, 0.2, "initial 30 and development 45 days (FAO-56 Table 11, from memory)")
		assert.Greater(t, z.lossPerMM, 2*small)
		b.run(24 * time.Hour)
		assert.InDelta(t, 0.5, z.canopyM2, 1e-9)
	})
}

func TestPlantEventsThatCantBe(t *testing.T) {
	p, _, err := NewPlan(testGarden(1, 22))
	require.NoError(t, err)
	for name, e := range map[string]garden.PlantEvent{
		"no zone":       {Kind: garden.Pruned, Share: 0.2},
		"another zone":  {Kind: garden.Pruned, Zone: "pot9"},
		"another crop":  {Kind: garden.Planted, Zone: "pot0", Crop: "leek"},
		"a stage":       {Kind: garden.SeenAt, Zone: "pot0", Stage: "dancing"},
		"no stage":      {Kind: garden.SeenAt, Zone: "pot0"},
		"over all":      {Kind: garden.Pruned, Zone: "pot0", Share: 1.2},
		"no mix":        {Kind: garden.ToppedUp, Zone: "pot0"},
		"too much mix":  {Kind: garden.ToppedUp, Zone: "pot0", Litres: 500},
		"a place":       {Kind: garden.Moved, Zone: "pot0", Exposure: "moon"},
		"unknown":       {Kind: 99, Zone: "pot0"},
		"minus a count": {Kind: garden.Planted, Zone: "pot0", Count: -1},
	} {
		t.Run(name, func(t *testing.T) {
			assert.Error(t, p.CheckPlant(&e))
			st := p.NewState()
			before := st.Clone()
			p.plant(st, garden.Moment{}, &e)
			assert.Equal(t, before.zones, st.zones, "and changes nothing")
		})
	}
}

// Warm days bring a crop forward, cool ones hold it back, where the garden asks.
func TestStagesByHeat(t *testing.T) {
	age := func(byHeat bool, lo, hi float64) float64 {
		g := testGarden(1, 22)
		g.StagesByHeat = byHeat
		g.Pots[0].Zones[0].Plants[0].PlantedOn = time.Date(2014, 7, 1, 0, 0, 0, 0, time.UTC)
		b := newBench(t, g)
		b.obs.Today = garden.DayWeather{TMinC: garden.Known(lo), TMaxC: garden.Known(hi)}
		b.run(20*24*time.Hour + time.Hour)
		return 20 + b.st.zones[0].plants[0].shift
	}
	assert.InDelta(t, 20, age(false, 12, 20), 1e-9)
	// Aubergine: base 11, upper 32, reference 23 °C. (12+20)/2 − 11 = 5 of 12.
	assert.InDelta(t, 20*5.0/12, age(true, 12, 20), 0.7)
	// (22+34→32)/2 − 11 = 16 of 12.
	assert.InDelta(t, 20*16.0/12, age(true, 22, 34), 0.7)
}
