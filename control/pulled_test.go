package control

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/control/garden"
)

// TestPulledThenPlantedInTheFile: what was pulled is what stood there on that day. Plants
// that the garden file has from a later day stand, after a reload as after a start; of
// plants without a day nobody knows.
func TestPulledThenPlantedInTheFile(t *testing.T) {
	for name, c := range map[string]struct {
		pulled, next string // crops, "" all
		planted      int    // days after the pull, by the file
		undated      bool
		before       []garden.PlantEventKind // ten days before the pull
		empty        bool
	}{
		"the same crop":                      {next: "aubergine", planted: 4},
		"the same crop, pulled by name":      {pulled: "aubergine", next: "aubergine", planted: 4},
		"another crop":                       {next: "chilli", planted: 4},
		"another crop, pulled by name":       {pulled: "aubergine", next: "chilli", planted: 4},
		"on the day of the pull":             {next: "chilli"},
		"what was pulled was entered too":    {next: "aubergine", planted: 4, before: []garden.PlantEventKind{garden.Planted, garden.Pruned}},
		"planted by the file before":         {next: "aubergine", planted: -1, empty: true},
		"no day in the file":                 {next: "aubergine", undated: true, empty: true},
		"no day in the file, another":        {next: "chilli", undated: true, empty: true},
		"no day in the file, pulled by name": {pulled: "aubergine", next: "chilli", undated: true},
	} {
		t.Run(name, func(t *testing.T) {
			b := newBench(t, testGarden(1, 22))
			b.run(time.Hour)
			var events []garden.PlantEvent
			for _, k := range c.before {
				e := garden.PlantEvent{Kind: k, Zone: "pot0", On: b.now.Wall.AddDate(0, 0, -10)}
				if k == garden.Pruned {
					e.Share = 0.5
				}
				events = append(events, e)
			}
			events = append(events, garden.PlantEvent{Kind: garden.Pulled, Zone: "pot0", Crop: c.pulled, On: b.now.Wall})
			for _, e := range events {
				b.event(e)
			}
			require.True(t, b.st.zones[0].empty())
			y, m, d := b.now.Wall.Date()
			on := time.Date(y, m, d+c.planted, 0, 0, 0, 0, b.now.Wall.Location())
			b.run(5 * 24 * time.Hour)

			g := testGarden(1, 22)
			pl := &g.Pots[0].Zones[0].Plants[0]
			if pl.Crop = c.next; !c.undated {
				pl.PlantedOn = on
			}
			require.NoError(t, b.reloadInto(g, nothingChanged, events...))
			fresh := b.p.NewState()
			b.p.Recall(fresh, b.now, Memory{}, events)
			for how, st := range map[string]*State{"reload": b.st, "start": fresh} {
				z := &st.zones[0]
				assert.Equal(t, c.empty, z.empty(), how)
				if !c.empty && !c.undated {
					assert.True(t, z.plants[0].plantedOn.Equal(on), "%s: planted on %v, want %v", how, z.plants[0].plantedOn, on)
					assert.EqualValues(t, 1, z.plants[0].leaf, "%s: others were pruned", how)
				}
			}
		})
	}
}

// Of two in one pot only what stood there is pulled, and a pot that stood empty for a
// winter has new salts from the day the file says.
func TestPulledBesideOnePlantedLater(t *testing.T) {
	now := garden.Moment{Mono: time.Hour, Wall: time.Date(2014, 8, 1, 12, 0, 0, 0, time.UTC), Synced: true}
	ago := func(days int) time.Time { return now.Wall.AddDate(0, 0, -days) }
	g := testGarden(1, 22)
	z0 := &g.Pots[0].Zones[0]
	z0.Plants = append(z0.Plants, z0.Plants[0])
	z0.Plants[0].PlantedOn, z0.Plants[1].PlantedOn = ago(300), ago(7)
	p, problems, err := NewPlan(g)
	require.NoError(t, err, "%v", problems)
	st := p.NewState()
	p.Recall(st, now, Memory{}, []garden.PlantEvent{{Kind: garden.Pulled, Zone: "pot0", On: ago(200)}})
	z := &st.zones[0]
	assert.True(t, z.plants[0].gone)
	assert.False(t, z.plants[1].gone)
	assert.False(t, z.empty())
	assert.True(t, z.place.emptyFrom.IsZero())
	assert.Equal(t, ago(7).Format(time.DateOnly), z.place.stoodFrom.Format(time.DateOnly))
}

// What was pulled before the plants came that stand now, and is told late, is done to none
// of these, as after a start: there events go by their days.
func TestPulledToldLate(t *testing.T) {
	b := newBench(t, testGarden(1, 22))
	b.run(time.Hour)
	ago := func(days int) time.Time { return b.now.Wall.AddDate(0, 0, -days) }
	for _, e := range []garden.PlantEvent{
		{Kind: garden.Planted, Zone: "pot0", On: ago(10)},
		{Kind: garden.Pruned, Zone: "pot0", On: ago(5), Share: 0.5},
		{Kind: garden.Pulled, Zone: "pot0", On: ago(30)},
	} {
		b.event(e)
	}
	z := &b.st.zones[0]
	assert.False(t, z.empty())
	assert.Equal(t, ago(10).Format(time.DateOnly), z.plants[0].plantedOn.Format(time.DateOnly))
	assert.Less(t, z.plants[0].leaf, 0.6)
	stands := func(kind garden.PlantEventKind, days int) bool {
		return b.p.Outlives(b.st, &garden.PlantEvent{Kind: kind, Zone: "pot0", On: ago(days)})
	}
	assert.True(t, stands(garden.Pulled, 30), "whoever told it hears that")
	assert.True(t, stands(garden.Pulled, 11))
	assert.False(t, stands(garden.Pulled, 10))
	assert.False(t, stands(garden.Pruned, 30))
	b.event(garden.PlantEvent{Kind: garden.Pulled, Zone: "pot0", On: ago(10)})
	assert.True(t, z.empty(), "on the day on which they were planted by a person")
	assert.False(t, stands(garden.Pulled, 30))
}

// TestAPlantThatWasSeenMayHaveComeBefore: on which day somebody looked says nothing of when
// it came, so that a pull of an earlier day takes it out.
func TestAPlantThatWasSeenMayHaveComeBefore(t *testing.T) {
	b := newBench(t, testGarden(1, 10))
	b.run(time.Hour)
	require.Zero(t, b.p.zones[0].plants[0].plantedOn)
	ago := func(days int) time.Time { return b.now.Wall.AddDate(0, 0, -days) }
	b.event(garden.PlantEvent{Kind: garden.SeenAt, Zone: "pot0", On: ago(3), Stage: "flowering"})
	pull := garden.PlantEvent{Kind: garden.Pulled, Zone: "pot0", On: ago(5)}
	assert.False(t, b.p.Outlives(b.st, &pull))
	b.event(pull)
	assert.True(t, b.st.zones[0].empty())
}

// TestBareMixTeachesNothing: how fast an empty pot's mix dries is no plant's thirst, nor
// odd for one; its water is followed all the same.
func TestBareMixTeachesNothing(t *testing.T) {
	for name, depth := range map[string]float64{"a probe at the floor": 22, "near the top": 8} {
		for _, pull := range []bool{true, false} {
			b := newBench(t, testGarden(1, depth))
			b.run(3 * 24 * time.Hour)
			if pull {
				b.event(garden.PlantEvent{Kind: garden.Pulled, Zone: "pot0"})
			}
			z := &b.st.zones[0]
			factor := z.water.Factor
			b.events = nil
			b.demand = 4
			b.run(10 * 24 * time.Hour)
			if !pull { // else this test could not fail
				assert.Greater(t, z.water.Factor, 1.2*factor, name)
				continue
			}
			assert.Equal(t, factor, z.water.Factor, name)
			assert.Zero(t, b.toldOf(DrinksMore)+b.toldOf(DrinksLess), name)
			assert.InDelta(t, b.mean[0], z.water.Mean, 0.05, "%s: its water is followed", name)
		}
	}
}
