package feeding

import (
	"testing"
	"time"

	"fabricpot/control/feed"
	"fabricpot/control/garden"
	"fabricpot/control/task"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func tasksOf(r *rig, k task.Kind, z garden.ZoneID) (out []task.Listed) {
	for _, x := range r.st.Tasks(r.now.Wall) {
		if x.Kind == k && x.Zone == z {
			out = append(out, x)
		}
	}
	return out
}

// flushable lets the lines of a rig flush, with a day's limit that holds nothing up.
func flushable(r *rig) *rig {
	for i := range r.views {
		r.views[i].CapL, r.views[i].ToRefillL, r.views[i].Water = 300, 2, r.views[i].Capacity
	}
	return r
}

// A pot whose line may not flush it, because no probe tells how wet it is, is
// flushed by a person; when the probe is back the line does it.
func TestSaltyPotWithoutAProbe(t *testing.T) {
	start := time.Date(2026, 6, 1, 6, 0, 0, 0, time.UTC)
	r := flushable(newRig(t, testGarden(), salted(newRig(t, testGarden(), Past{}), start, "", 0)))
	r.views[0].OnProbe = false
	r.p.Drained(r.st, Drainage{Zone: "a", At: r.now.Wall, MS: 6})
	r.run(4 * time.Hour)
	assert.Empty(t, tasksOf(r, task.Flush, "a"), "a probe may be away for a while")
	r.run(5 * time.Hour)
	assert.Zero(t, count(r.records, "a", feed.FlushBegun))
	open := tasksOf(r, task.Flush, "a")
	require.Len(t, open, 1)
	assert.Contains(t, open[0].Why, "6.0 mS/cm")
	assert.Greater(t, open[0].Litres, 10.0)

	t.Run("the probe comes back", func(t *testing.T) {
		r.views[0].OnProbe = true
		r.run(2 * time.Hour)
		assert.Empty(t, tasksOf(r, task.Flush, "a"))
		assert.Equal(t, 1, count(r.records, "a", feed.FlushBegun))
	})
	t.Run("a person does it", func(t *testing.T) {
		r := flushable(newRig(t, testGarden(), salted(r, start, "", 0)))
		r.views[0].OnProbe = false
		r.p.Drained(r.st, Drainage{Zone: "a", At: r.now.Wall, MS: 6})
		r.run(9 * time.Hour)
		id := tasksOf(r, task.Flush, "a")[0].ID
		little, err := r.p.Done(r.st, r.now, id, task.Report{At: r.now.Wall, Litres: garden.Known(2)})
		require.NoError(t, err)
		assert.Len(t, little.Poured, 1)
		assert.True(t, r.st.zones[0].drain.Known, "two litres wash nothing out")
		r.run(24 * time.Hour)
		id = tasksOf(r, task.Flush, "a")[0].ID
		_, err = r.p.Done(r.st, r.now, id, task.Report{At: r.now.Wall})
		require.NoError(t, err)
		assert.False(t, r.st.zones[0].drain.Known)
		// And a restart knows both.
		events := append(append([]task.Event(nil), r.events...), little.Events...)
		again, err := r.p.Restore(Past{Events: events, Drained: []Drainage{{Zone: "a", At: start, MS: 6}}})
		require.NoError(t, err)
		assert.True(t, again.zones[0].drain.Known, "of the first alone")
	})
}

// A flush that was cut short is no flush: what the reading said stands, today and
// after a restart, and it is tried again; what several days give adds up.
func TestFlushThatGaveLittle(t *testing.T) {
	start := time.Date(2026, 6, 1, 6, 0, 0, 0, time.UTC)
	r := newRig(t, testGarden(), Past{})
	past := salted(r, start, "", 0)
	past.Drained = []Drainage{{Zone: "a", At: start.Add(-5 * time.Hour), MS: 6}}
	flush := func(at time.Time, whole, gave float64) {
		for _, x := range []feed.Record{
			{Kind: feed.FlushBegun, Litres: 12, RoomL: whole}, {Kind: feed.FlushIntended, Pulse: 1, Litres: 12},
			{Kind: feed.FlushSettled, Pulse: 1, Litres: gave}, {Kind: feed.FlushEnded, Litres: gave}} {
			x.Zone, x.Feed, x.At = "a", 1, at
			past.Records = append(past.Records, x)
		}
	}
	salty := func() bool {
		st, err := r.p.Restore(past)
		require.NoError(t, err)
		return st.zones[0].drain.Known
	}
	flush(start.Add(-4*time.Hour), 20, 2)
	assert.True(t, salty(), "2 L of 20")
	flush(start.Add(20*time.Hour), 20, 7)
	assert.True(t, salty(), "9 L of 20")
	flush(start.Add(44*time.Hour), 20, 5)
	assert.False(t, salty(), "14 L of 20")

	t.Run("in a run", func(t *testing.T) {
		past := salted(r, start, "", 0)
		r := flushable(newRig(t, testGarden(), past))
		r.p.Drained(r.st, Drainage{Zone: "a", At: r.now.Wall, MS: 6})
		for n := 0; n < 60*60 && count(r.records, "a", feed.FlushEnded) < 2; n++ {
			r.step(time.Minute)
			for k := range r.obs.Delivered {
				// Hardly anything comes, the first time.
				if count(r.records, "a", feed.FlushEnded) == 0 {
					r.obs.Delivered[k].Litres = 0.01
				}
			}
			if count(r.records, "a", feed.FlushEnded) == 1 {
				assert.True(t, r.st.zones[0].drain.Known || count(r.records, "a", feed.FlushBegun) == 2)
			}
		}
		assert.Equal(t, 2, count(r.records, "a", feed.FlushEnded))
		assert.False(t, r.st.zones[0].drain.Known)
	})
}

// Two fed pots on one line are flushed by the same water.
func TestFlushOnASharedLine(t *testing.T) {
	start := time.Date(2026, 6, 1, 6, 0, 0, 0, time.UTC)
	for _, injector := range []bool{true, false} {
		g := testGarden()
		if !injector {
			g.Lines[1].Injector = garden.Injector{}
		}
		r := flushable(newRig(t, g, salted(newRig(t, testGarden(), Past{}), start, "", 0)))
		for _, z := range []garden.ZoneID{"b", "c"} {
			r.p.Drained(r.st, Drainage{Zone: z, At: r.now.Wall, MS: 6})
		}
		r.run(30 * time.Hour)
		assert.Equal(t, 1, count(r.records, "b", feed.FlushBegun)+count(r.records, "c", feed.FlushBegun), "injector %v", injector)
		for _, i := range []int{1, 2} {
			assert.False(t, r.st.zones[i].drain.Known, "zone %d, injector %v", i, injector)
			assert.NotNil(t, r.p.View(r.st, i).Flushed)
		}
		past := Past{Records: r.records, Drained: []Drainage{{Zone: "b", At: start, MS: 6}, {Zone: "c", At: start, MS: 6}}}
		again, err := r.p.Restore(past)
		require.NoError(t, err)
		assert.False(t, again.zones[1].drain.Known || again.zones[2].drain.Known, "a restart knows it of both")
	}
	t.Run("the pot that is fed along is salty alone", func(t *testing.T) {
		r := flushable(newRig(t, testGarden(), salted(newRig(t, testGarden(), Past{}), start, "", 0)))
		r.p.Drained(r.st, Drainage{Zone: "c", At: r.now.Wall, MS: 6})
		r.run(30 * time.Hour)
		assert.Equal(t, 1, count(r.records, "b", feed.FlushBegun))
		assert.False(t, r.st.zones[2].drain.Known)
	})
}

// What one pot of a line can't take keeps weak feed out of all of them.
func TestDoseAsksEveryZoneOfTheLine(t *testing.T) {
	start := time.Date(2026, 6, 1, 6, 0, 0, 0, time.UTC)
	g := testGarden()
	for _, i := range []int{1, 2} {
		g.Pots[i].Zones[0].Feed.EveryWatering = garden.Known(50)
	}
	dosed := func(past Past, salty bool) (bool, string) {
		r := newRig(t, g, past)
		r.run(2 * time.Hour)
		if salty {
			r.p.Drained(r.st, Drainage{Zone: "c", At: r.now.Wall, MS: 6})
		}
		orders := []garden.Order{{ID: 1001, Line: "lb", Zone: "b", Litres: 3, MaxOn: time.Hour, Kind: garden.Irrigate}}
		var out Output
		r.p.Dose(r.st, r.now, &Seen{Obs: &r.obs, Zones: r.views}, orders, &out)
		return orders[0].Dosed, r.p.View(r.st, 1).Words
	}
	yes, _ := dosed(tended(start), false)
	assert.True(t, yes)
	no, why := dosed(tended(start), true)
	assert.False(t, no)
	assert.Contains(t, why, "6.0 mS/cm")
	past := tended(start)
	most, err := feed.WeakCapNG(75)
	require.NoError(t, err)
	past.Records = append(past.Records, feed.Record{Kind: feed.HandGiven, Zone: "c", Feed: 1, At: start.AddDate(0, 0, -3), Litres: most * 1000 / 100, PPM: feed.NPK{N: 100}})
	no, why = dosed(past, false)
	assert.False(t, no, "c has had its nitrogen of the week")
	assert.Contains(t, why, "g of nitrogen")
}
