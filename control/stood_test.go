package control

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/control/garden"
)

// A start without a memory asks the journal too for how long plants have stood in the mix:
// salts are those of the mix, whoever grows in it.
func TestJournalTellsHowLongPlantsStood(t *testing.T) {
	now := garden.Moment{Mono: time.Hour, Wall: time.Date(2014, 8, 1, 12, 0, 0, 0, time.UTC), Synced: true}
	ago := func(days int) time.Time { return now.Wall.AddDate(0, 0, -days) }
	event := func(kind garden.PlantEventKind, days int) garden.PlantEvent {
		e := garden.PlantEvent{Kind: kind, Zone: "pot0", On: ago(days)}
		switch kind {
		case garden.ToppedUp:
			e.Litres = 75
		case garden.SeenAt:
			e.Stage = "fruiting"
		case garden.Moved:
			e.Exposure = garden.Sheltered
		}
		return e
	}
	third := event(garden.ToppedUp, 5)
	third.Litres = 25
	for name, c := range map[string]struct {
		file   int // days ago, 0 none
		events []garden.PlantEvent
		long   bool
	}{
		"nothing is known":             {},
		"by the file":                  {file: 40, long: true},
		"planted lately by the file":   {file: 10},
		"planted":                      {events: []garden.PlantEvent{event(garden.Planted, 20)}, long: true},
		"planted lately":               {events: []garden.PlantEvent{event(garden.Planted, 10)}},
		"seen":                         {events: []garden.PlantEvent{event(garden.SeenAt, 20)}, long: true},
		"pulled":                       {file: 40, events: []garden.PlantEvent{event(garden.Pulled, 5)}, long: true},
		"others in the same mix":       {file: 40, events: []garden.PlantEvent{event(garden.Pulled, 8), event(garden.Planted, 7)}, long: true},
		"others, nobody said pulled":   {file: 40, events: []garden.PlantEvent{event(garden.Planted, 7)}, long: true},
		"after a winter":               {file: 300, events: []garden.PlantEvent{event(garden.Pulled, 200), event(garden.Planted, 7)}},
		"the winter before the last":   {file: 300, events: []garden.PlantEvent{event(garden.Pulled, 200), event(garden.Planted, 30)}, long: true},
		"all mix is new":               {file: 40, events: []garden.PlantEvent{event(garden.ToppedUp, 5)}},
		"all was new long ago":         {file: 40, events: []garden.PlantEvent{event(garden.ToppedUp, 20)}, long: true},
		"pulled, new mix, and planted": {file: 40, events: []garden.PlantEvent{event(garden.Pulled, 8), event(garden.ToppedUp, 8), event(garden.Planted, 7)}},
		"some mix is new":              {file: 40, events: []garden.PlantEvent{third}, long: true},
		"moved":                        {file: 40, events: []garden.PlantEvent{event(garden.Moved, 5)}, long: true},
	} {
		t.Run(name, func(t *testing.T) {
			g := saltyGarden(0.5)
			if c.file > 0 {
				g.Pots[0].Zones[0].Plants[0].PlantedOn = ago(c.file)
			}
			b := newBench(t, g)
			b.now = now
			b.p.Recall(b.st, b.now, Memory{}, c.events)
			b.tick()
			z, w := &b.st.zones[0], &b.p.zones[0].washing
			if c.long {
				assert.InDelta(t, w.bears, z.salts.load, 1e-6)
			} else {
				assert.InDelta(t, 0.5*z.water.Mean*75, z.salts.load, 0.1)
			}
		})
	}
}

// What is said of the plants while the gateway runs counts for the account that it began
// without knowing it; later it does not.
func TestDayOfPlantsComesLater(t *testing.T) {
	b := newBench(t, saltyGarden(0.5))
	b.run(3 * 24 * time.Hour)
	z, w := &b.st.zones[0], &b.p.zones[0].washing
	require.Less(t, z.salts.load, 0.9*w.bears)
	planted := garden.PlantEvent{Kind: garden.Planted, Zone: "pot0", On: b.now.Wall.AddDate(0, 0, -15)}
	other := b.st.Clone()
	b.event(planted)
	assert.Less(t, z.salts.load, 0.9*w.bears, "12 days before the account began")

	b.st = other
	z = &b.st.zones[0]
	planted.On = b.now.Wall.AddDate(0, 0, -18)
	b.event(planted)
	assert.InDelta(t, w.bears, z.salts.load, 0.01*w.bears)
	z.salts.load = 0.5 * w.bears
	planted.On = b.now.Wall.AddDate(0, 0, -40)
	b.event(planted)
	assert.InDelta(t, 0.5*w.bears, z.salts.load, 0.01*w.bears, "asked once")
}

// Plants that are pulled or set take no salts out of the mix, and neither does mix on top of
// it. Where all of the mix is new they are gone, with what was to be washed out.
func TestOnlyNewMixTakesSaltsAway(t *testing.T) {
	b := newBench(t, saltyGarden(0.5))
	b.run(2 * time.Hour)
	z, zp := &b.st.zones[0], &b.p.zones[0]
	z.salts.enter(zp.washing.at/0.5, zp)
	was := z.salts
	require.Positive(t, was.needL)
	for _, e := range []garden.PlantEvent{
		{Kind: garden.Pulled}, {Kind: garden.ToppedUp, Litres: 25}, {Kind: garden.Planted}, {Kind: garden.Moved, Exposure: garden.Sheltered},
	} {
		e.Zone = "pot0"
		b.p.plant(b.st, b.now, &e)
		assert.Equal(t, was, z.salts, "%s", e.String())
	}
	memory := b.p.Remember(b.st, b.now)
	b.now = b.now.Add(time.Minute)
	renewed := garden.PlantEvent{Kind: garden.ToppedUp, Zone: "pot0", Litres: 75, On: b.now.Wall}
	b.event(renewed)
	assert.InDelta(t, 0.5*z.water.Mean*75, z.salts.load, 0.5, "begun anew")
	assert.Zero(t, z.salts.needL)
	assert.Zero(t, b.p.View(b.st, b.now, nil)[0].Salts.WashL)

	start := func(e garden.PlantEvent) *zoneState {
		st := b.p.NewState()
		b.p.Recall(st, b.now, memory, []garden.PlantEvent{e})
		return &st.zones[0]
	}
	assert.False(t, start(renewed).salts.begun, "the memory is of the mix before")
	renewed.On = memory.At.Add(-time.Minute)
	assert.InDelta(t, was.load, start(renewed).salts.load, 1e-9, "and this of the one since")
}
