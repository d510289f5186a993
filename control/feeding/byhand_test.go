package feeding

import (
	"math"
	"testing"
	"time"

	"fabricpot/control"
	"fabricpot/control/feed"
	"fabricpot/control/garden"
	"fabricpot/control/task"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// water is the open watering task of a zone.
func (r *rig) water(z garden.ZoneID) *task.Listed {
	list := r.st.Tasks(r.now.Wall)
	for i := range list {
		if list[i].Kind == task.Water && list[i].Zone == z {
			return &list[i]
		}
	}
	return nil
}

// pours ticks the zone's task as a person does who gave so many litres, and tells
// the step of the water as the loop does.
func (r *rig) pours(z garden.ZoneID, litres float64) {
	r.t.Helper()
	t := r.water(z)
	require.NotNil(r.t, t)
	in, err := r.p.Done(r.st, r.now, t.ID, task.Report{At: r.now.Wall, Litres: garden.Known(litres)})
	require.NoError(r.t, err)
	require.Len(r.t, in.Poured, 1)
	for _, w := range in.Poured {
		r.obs.Asks = append(r.obs.Asks, garden.Ask{Kind: garden.GardenerWatered, Zone: w.Zone, Litres: w.Litres})
	}
}

// cans are the zones for which somebody may pour a can.
func (r *rig) cans() (zones []garden.ZoneID) {
	r.p.Cans(r.st, func(z garden.ZoneID) { zones = append(zones, z) })
	return zones
}

// TestCanWhereTheLineBringsNothing: nothing in pot b answered to its line's water,
// so nothing measures it. A person brings what it lost since, whatever the line is
// said to give, and no more of it once a can ran out below.
func TestCanWhereTheLineBringsNothing(t *testing.T) {
	r := newRig(t, testGarden(), tended(time.Date(2026, 6, 1, 5, 0, 0, 0, time.UTC)))
	v := &r.views[1]
	zp := &r.p.zones[1]
	band, room := zp.bandL(v), zp.roomL(v)
	require.Positive(t, band)
	v.Factor, v.LastL = 1, 4
	r.run(2 * time.Hour)
	require.Nil(t, r.water("b"), "its line waters it")

	v.NoAnswer, v.OnProbe = true, false
	r.run(2 * time.Hour)
	require.NotNil(t, r.water("b"))
	// None of the last water came, of which the account believes half.
	assert.InDelta(t, room+2, r.water("b").Litres, 0.06)
	assert.Contains(t, r.water("b").Why, "no probe moved")
	require.Nil(t, r.water("a"), "of this pot alone")
	assert.Equal(t, []garden.ZoneID{"b"}, r.cans())

	v.BookL += 0.4 * band
	r.run(2 * time.Hour)
	assert.InDelta(t, room+2+0.4*band, r.water("b").Litres, 0.06, "and what it lost since")

	// It ran out below before all was in: it is full.
	r.pours("b", 3)
	r.run(2 * time.Hour)
	assert.Nil(t, r.water("b"))
	assert.Empty(t, r.cans())
	v.BookL += 0.4 * band
	r.run(2 * time.Hour)
	assert.Nil(t, r.water("b"), "too little for a can")
	v.BookL += 0.4 * band
	r.run(2 * time.Hour)
	require.NotNil(t, r.water("b"), "on the same day too")
	assert.InDelta(t, 0.8*band, r.water("b").Litres, 0.06)

	// Water that a person tells of without the list counts as well.
	r.obs.Asks = append(r.obs.Asks, garden.Ask{Kind: garden.GardenerWatered, Zone: "b", Litres: 0.2 * band})
	r.run(2 * time.Hour)
	assert.InDelta(t, 0.6*band, r.water("b").Litres, 0.06)

	// Its emitters are free and a probe moves again.
	v.NoAnswer, v.OnProbe, v.ToRefillL = false, true, 0.5*band
	r.run(2 * time.Hour)
	assert.Nil(t, r.water("b"))
}

// TestMoreThanAPotTakes: litres that nobody can have meant are refused before anything
// is entered, a second report's too. That a can over the pot's own volume is a slip
// and a flush may be three times it: common practice, no source.
func TestMoreThanAPotTakes(t *testing.T) {
	r := newRig(t, testGarden(), tended(time.Date(2026, 6, 1, 5, 0, 0, 0, time.UTC)))
	v, zp := &r.views[1], &r.p.zones[1]
	v.NoAnswer, v.OnProbe = true, false
	r.run(2 * time.Hour)
	can := r.water("b")
	require.NotNil(t, can)
	report := func(litres float64, again bool) error {
		_, err := r.p.Done(r.st, r.now, can.ID, task.Report{At: r.now.Wall, Litres: garden.Known(litres), Again: again})
		return err
	}
	for _, litres := range []float64{1.01 * zp.volumeL, 400} {
		require.ErrorIs(t, report(litres, false), ErrLitres)
	}
	require.NotNil(t, r.water("b"), "it stays open")
	require.NoError(t, report(zp.volumeL, false))
	require.ErrorIs(t, report(400, true), ErrLitres)
	require.NoError(t, report(1, true))

	flush := task.Task{ID: "f", Kind: task.Flush, Zone: "b", Litres: 1}
	require.NoError(t, r.p.mayPour(&flush, garden.Known(3*zp.volumeL)))
	require.ErrorIs(t, r.p.mayPour(&flush, garden.Known(3.1*zp.volumeL)), ErrLitres)
}

// TestCanWhereAPotStaysDry: a pot that its probe says is far under its refill point
// for two looks in a row is watered by a person; one that its line soon refills is not.
func TestCanWhereAPotStaysDry(t *testing.T) {
	r := newRig(t, testGarden(), tended(time.Date(2026, 6, 1, 5, 0, 0, 0, time.UTC)))
	v, zp := &r.views[0], &r.p.zones[0]
	r.run(time.Hour)
	full := v.Water
	v.Water = garden.WaterFraction(0.4*float64(v.Refill) + 0.6*zp.lower)
	v.ToRefillL = -(float64(v.Refill) - float64(v.Water)) * zp.volumeL
	r.run(time.Hour)
	require.Nil(t, r.water("a"), "one look")
	v.Water, v.ToRefillL = full, 1
	r.run(time.Hour)
	v.Water = garden.WaterFraction(0.4*float64(v.Refill) + 0.6*zp.lower)
	v.ToRefillL = -(float64(v.Refill) - float64(v.Water)) * zp.volumeL
	r.run(2 * time.Hour)
	require.NotNil(t, r.water("a"))
	assert.Equal(t, []garden.ZoneID{"a"}, r.cans())
	assert.InDelta(t, zp.roomL(v), r.water("a").Litres, 0.06, "up to its capacity")
	assert.Contains(t, r.water("a").Why, "far under its refill point")

	v.Water, v.ToRefillL = v.Refill, 0.1*zp.bandL(v)
	r.run(2 * time.Hour)
	require.NotNil(t, r.water("a"), "it stays until the pot has got some")
	v.ToRefillL = 0.5 * zp.bandL(v)
	r.run(time.Hour)
	assert.Nil(t, r.water("a"))
}

// TestARestartOwesTheSameCan: what a person was to bring is asked for after a restart
// too, but for a can that was ticked since it was kept, and a memory that makes no sense
// is none.
func TestARestartOwesTheSameCan(t *testing.T) {
	at := func(litres float64) *float64 { return &litres }
	for name, c := range map[string]struct {
		change func(*control.ZoneMemory)
		ticked bool
		off    time.Duration
		want   func(owed, room, band float64) float64
	}{
		"as it was":                {func(*control.ZoneMemory) {}, false, 0, func(owed, _, band float64) float64 { return owed + 0.6*band }},
		"a can was ticked since":   {func(*control.ZoneMemory) {}, true, 0, func(_, _, band float64) float64 { return 0.6 * band }},
		"of an older version":      {func(m *control.ZoneMemory) { m.OwedL = nil }, false, 0, func(_, room, band float64) float64 { return room + 0.6*band }},
		"less than nothing":        {func(m *control.ZoneMemory) { m.OwedL = at(-3) }, false, 0, func(_, room, band float64) float64 { return room + 0.6*band }},
		"no number":                {func(m *control.ZoneMemory) { m.OwedL = at(math.NaN()) }, false, 0, func(_, room, band float64) float64 { return room + 0.6*band }},
		"of a pot that is no more": {func(m *control.ZoneMemory) { m.Zone = "gone" }, false, 0, func(_, room, band float64) float64 { return room + 0.6*band }},
		"two days off":             {func(*control.ZoneMemory) {}, false, 47 * time.Hour, func(owed, _, band float64) float64 { return owed + 0.6*band }},
		"three days off":           {func(*control.ZoneMemory) {}, false, 72 * time.Hour, func(_, room, band float64) float64 { return room + 0.6*band }},
	} {
		t.Run(name, func(t *testing.T) {
			r := newRig(t, testGarden(), tended(time.Date(2026, 6, 1, 5, 0, 0, 0, time.UTC)))
			v, zp := &r.views[1], &r.p.zones[1]
			band, room := zp.bandL(v), zp.roomL(v)
			v.Factor, v.BookL, v.NoAnswer, v.OnProbe = 1, 9, true, false
			r.run(2 * time.Hour)
			v.BookL += 0.4 * band
			r.run(2 * time.Hour)
			require.NotNil(t, r.water("b"))
			v.BookL += 0.1 * band // since the last look
			m := control.Memory{At: r.now.Wall, Zones: []control.ZoneMemory{{Zone: "a"}, {Zone: "b", NoAnswer: true}}}
			r.p.Remember(r.st, r.views, &m)
			require.Nil(t, m.Zones[0].OwedL, "its line waters it")
			require.NotNil(t, m.Zones[1].OwedL)
			assert.InDelta(t, room+0.5*band, *m.Zones[1].OwedL, 1e-9)
			events := r.events
			if c.ticked {
				r.now = r.now.Add(time.Minute)
				in, err := r.p.Done(r.st, r.now, r.water("b").ID, task.Report{At: r.now.Wall, Litres: garden.Known(2)})
				require.NoError(t, err)
				events = append(events, in.Events...)
			}
			c.change(&m.Zones[1])

			past := tended(time.Date(2026, 6, 1, 5, 0, 0, 0, time.UTC))
			past.Events = events
			st, err := r.p.Restore(past)
			require.NoError(t, err)
			r.now.Wall = r.now.Wall.Add(c.off)
			r.p.Recall(st, r.now, &m)
			r.st, r.now.Mono, v.BookL, v.LastL = st, 0, 0, 0
			r.run(2 * time.Hour)
			v.BookL = 0.6 * band
			r.run(2 * time.Hour)
			require.NotNil(t, r.water("b"))
			assert.InDelta(t, c.want(room+0.5*band, room, band), r.st.zones[1].hand.owedL, 1e-9)
		})
	}
}

// TestNobodyWatersAnEmptyPot: once its plants are pulled its can is taken back, of a pot
// without a line as of one whose line brings nothing, and no other is asked for.
func TestNobodyWatersAnEmptyPot(t *testing.T) {
	g := testGarden()
	r := newRig(t, g, tended(time.Date(2026, 6, 1, 5, 0, 0, 0, time.UTC)))
	byHand := -1
	for i := range r.views {
		if r.views[i].Line == "" {
			byHand = i
		}
		r.views[i].ToRefillL = -1
	}
	require.GreaterOrEqual(t, byHand, 0)
	v, w := &r.views[byHand], &r.views[1]
	w.Factor, w.LastL, w.NoAnswer, w.OnProbe = 1, 4, true, false
	r.run(2 * time.Hour)
	require.NotNil(t, r.water(v.Zone))
	require.NotNil(t, r.water(w.Zone))
	v.Empty, w.Empty = true, true
	r.run(30 * time.Hour)
	assert.Nil(t, r.water(v.Zone))
	assert.Nil(t, r.water(w.Zone))
}

// TestTheHoseIsMeasuredOnce: the task ends with the figure in the garden file.
func TestTheHoseIsMeasuredOnce(t *testing.T) {
	r := newRig(t, testGarden(), tended(time.Date(2026, 6, 1, 5, 0, 0, 0, time.UTC)))
	measure := func() bool {
		r.run(2 * time.Hour)
		list := r.st.Tasks(r.now.Wall)
		return find(list, task.Measure, "") != nil
	}
	require.True(t, measure())
	r.p.g.HoseLPM = garden.Known(12)
	assert.False(t, measure())
}

// TestNobodyFeedsAnEmptyPot: neither by its line nor by hand.
func TestNobodyFeedsAnEmptyPot(t *testing.T) {
	for _, empty := range []bool{false, true} {
		r := newRig(t, testGarden(), tended(time.Date(2026, 6, 1, 5, 0, 0, 0, time.UTC)))
		r.run(20 * 24 * time.Hour)
		for i := range r.views {
			r.views[i].Empty = empty
		}
		r.run(2 * time.Hour) // what runs may end
		records := len(r.records)
		r.run(20 * 24 * time.Hour)
		open := 0
		for _, l := range r.st.Tasks(r.now.Wall) {
			if l.Kind == task.Feed {
				open++
			}
		}
		given := 0
		for _, x := range r.records[records:] {
			if x.Gives() && x.Litres > 0 {
				given++
			}
		}
		assert.Equal(t, empty, open == 0, "%d tasks", open)
		assert.Equal(t, empty, given == 0, "%d given", given)
	}
}

// One pot of a line whose plants were pulled is nobody's reason to starve or to wash the
// other, whichever of them leads the line.
func TestAnEmptyPotLeavesItsNeighbourItsFood(t *testing.T) {
	start := time.Date(2026, 6, 1, 5, 0, 0, 0, time.UTC)
	fed := func(empty garden.ZoneID) (b, c float64, dry int, words string) {
		r := newRig(t, testGarden(), tended(start))
		r.run(20 * 24 * time.Hour)
		if empty != "" {
			r.views[r.p.Index(empty)].Empty = true
		}
		r.run(2 * time.Hour)
		n := len(r.records)
		for range 20 * 24 {
			r.run(time.Hour)
			if lent(r, "lb") {
				dry++
			}
		}
		for _, x := range r.records[n:] {
			switch {
			case !x.Gives():
			case x.Zone == "b":
				b += x.Litres
			case x.Zone == "c":
				c += x.Litres
			}
		}
		if empty != "" {
			words = r.p.View(r.st, r.p.Index(empty)).Words
		}
		return b, c, dry, words
	}
	_, want, dry, _ := fed("")
	require.Positive(t, want)
	for _, empty := range []garden.ZoneID{"b", "c"} {
		_, c, kept, _ := fed(empty)
		assert.InDelta(t, want, c, 0.3*want, "%s is empty: what c gets", empty)
		assert.LessOrEqual(t, kept, dry+12, "%s is empty: hours the line is lent or kept dry", empty)
	}
	for _, empty := range []garden.ZoneID{"b", "c"} {
		for _, reads := range []garden.ZoneID{"b", "c"} {
			r := flushable(newRig(t, testGarden(), salted(newRig(t, testGarden(), Past{}), start.Add(time.Hour), "", 0)))
			r.views[r.p.Index(empty)].Empty = true
			r.p.Drained(r.st, Drainage{Zone: reads, At: r.now.Wall, MS: 6})
			r.run(30 * time.Hour)
			flushed := count(r.records, "b", feed.FlushBegun)+len(tasksOf(r, task.Flush, "b"))+len(tasksOf(r, task.Flush, "c")) > 0
			assert.Equal(t, reads != empty, flushed, "%s is empty, %s drains salty", empty, reads)
		}
	}
}
