package feeding

import (
	"math"
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

// A feed that comes near puts a planned flush off, for a person as for a line: with
// the probe still away what is on the list stays there.
func TestFlushTaskStaysWhileTheProbeIsAway(t *testing.T) {
	start := time.Date(2026, 6, 1, 6, 0, 0, 0, time.UTC)
	past := salted(newRig(t, testGarden(), Past{}), start, "", 0)
	for k := range past.Snapshots {
		past.Snapshots[k].Salts.Guess = true
	}
	r := flushable(newRig(t, testGarden(), past))
	r.views[0].OnProbe = false
	r.run(7 * time.Hour)
	open := tasksOf(r, task.Flush, "a")
	require.Len(t, open, 1)
	assert.Contains(t, open[0].Why, "planned")
	near := false
	for range 60 {
		r.run(time.Hour)
		near = near || !r.st.zones[0].flushL.Known
		require.Len(t, tasksOf(r, task.Flush, "a"), 1, "%v", r.now.Mono)
	}
	assert.True(t, near, "no feed came near")
	assert.Zero(t, count(r.records, "a", feed.FlushBegun))
	r.views[0].OnProbe = true
	r.run(2 * time.Hour)
	assert.Empty(t, tasksOf(r, task.Flush, "a"), "the line can again")
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
	past.Drained = append(past.Drained, Drainage{Zone: "a", At: start.Add(50 * time.Hour), MS: 6})
	flush(start.Add(68*time.Hour), 20, 0)
	assert.True(t, salty(), "what washed before the reading says nothing of it")
	flush(start.Add(92*time.Hour), 20, 12)
	assert.False(t, salty(), "12 L of 20 since")

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
	yes, _ := dosed(salted(newRig(t, testGarden(), Past{}), start, "", 0), false)
	assert.True(t, yes)
	no, why := dosed(salted(newRig(t, testGarden(), Past{}), start, "", 0), true)
	assert.False(t, no)
	assert.Contains(t, why, "6.0 mS/cm")
	past := salted(newRig(t, testGarden(), Past{}), start, "", 0)
	most, err := feed.WeakCapNG(75)
	require.NoError(t, err)
	past.Records = append(past.Records, feed.Record{Kind: feed.HandGiven, Zone: "c", Feed: 1, At: start.AddDate(0, 0, -3), Litres: most * 1000 / 100, PPM: feed.NPK{N: 100}})
	no, why = dosed(past, false)
	assert.False(t, no, "c has had its nitrogen of the week")
	assert.Contains(t, why, "g of nitrogen")
}

// An account that begins with what plants in an old pot left behind is a guess: the
// calendar's flush comes all the same, and ends the guess, as a reading does. What
// the pool holds came with its salts.
func TestAccountBegunFromAGuess(t *testing.T) {
	start := time.Date(2026, 6, 1, 6, 0, 0, 0, time.UTC)
	run := func(prepare func(*rig)) *rig {
		past := salted(newRig(t, testGarden(), Past{}), start, "", 0)
		for k := range past.Snapshots {
			past.Snapshots[k].Salts = nil
			past.Snapshots[k].Ledger.Pool.N, past.Snapshots[k].Ledger.Fed.N = 1, 1
		}
		r := flushable(newRig(t, testGarden(), past))
		assert.InDelta(t, r.p.zones[0].held()*0.5+6.5, r.st.zones[0].salts.Load, 1e-9, "1 g of N at 0.65 mS/cm per 100 ppm, in water of 0.5")
		prepare(r)
		r.run(20 * time.Hour)
		return r
	}
	r := run(func(*rig) {})
	assert.Equal(t, 1, count(r.records, "a", feed.FlushBegun), "tended for forty days")
	assert.False(t, r.st.zones[0].salts.Guess)
	r = run(func(r *rig) {
		require.NoError(t, r.p.Drained(r.st, Drainage{Zone: "a", At: start.Add(time.Second), MS: 0.8}))
	})
	assert.Zero(t, count(r.records, "a", feed.FlushBegun), "drainage read little")

	t.Run("plants just set into fresh mix are none", func(t *testing.T) {
		g := testGarden()
		g.Pots[0].Zones[0].Plants[0].PlantedOn = start.AddDate(0, 0, -2)
		g.Pots[1].Zones[0].Plants[0].PlantedOn = start.AddDate(0, 0, -30)
		r := newRig(t, g, Past{})
		r.run(2 * time.Hour)
		assert.False(t, r.st.zones[0].salts.Guess)
		assert.True(t, r.st.zones[1].salts.Guess)
	})
	t.Run("a reload that tells the water's conductivity", func(t *testing.T) {
		g := testGarden()
		g.Supply.ECmS = garden.Measured{}
		past := salted(newRig(t, testGarden(), Past{}), start, "", 0)
		for k := range past.Snapshots {
			past.Snapshots[k].Began = start.AddDate(0, 0, -9) // no flush is due
		}
		r := newRig(t, g, past)
		r.run(2 * time.Hour)
		to := newRig(t, testGarden(), Past{})
		apply, err := to.p.Reload(r.p, r.st, nil)
		require.NoError(t, err)
		apply()
		for i := range 4 {
			assert.GreaterOrEqual(t, r.st.zones[i].salts.Load, 0.5*to.p.zones[i].held())
			assert.True(t, r.st.zones[i].salts.Guess)
			assert.InDelta(t, 0, r.st.zones[i].salts.Imbalance(), 1e-9)
		}
	})
}

// 1400 is what a meter set to µS/cm shows of 1.4 mS/cm: taken for 20 it would flush
// a pot that needs nothing.
func TestDrainageOfAnotherUnit(t *testing.T) {
	r := newRig(t, testGarden(), Past{})
	r.run(2 * time.Hour)
	before := r.st.zones[0].salts
	for _, ms := range []float64{1400, 20.1, -1, math.NaN(), math.Inf(1)} {
		assert.ErrorContains(t, r.p.Drained(r.st, Drainage{Zone: "a", At: r.now.Wall, MS: ms}), "expected 0 to 20")
		again, err := r.p.Restore(Past{Drained: []Drainage{{Zone: "a", At: r.now.Wall, MS: ms}}})
		require.NoError(t, err)
		assert.False(t, again.zones[0].drain.Known, "nor from an older journal")
	}
	assert.Equal(t, before, r.st.zones[0].salts)
	assert.False(t, r.st.zones[0].drain.Known)
}

// What drains is one and a half times as rich as a well-mixed pot, whose leachate takes
// 1-exp(-drained/held) of what is dissolved; and a start finds no food that is gone.
func TestDrainageIsRicherThanThePot(t *testing.T) {
	start := time.Date(2026, 6, 1, 6, 0, 0, 0, time.UTC)
	r := newRig(t, testGarden(), tended(start))
	r.run(7 * time.Hour)
	zs := &r.st.zones[0]
	held := float64(r.views[0].Water) * 75
	pool, load := zs.ledger.Pool.N, zs.salts.Load
	require.Positive(t, pool)
	leached, left := zs.ledger.Leached.N, zs.salts.Left
	zs.overL = 5
	var kept []Snapshot
	for range 60 {
		r.step(time.Minute)
		kept = append(kept, r.st.Snapshots()...)
	}
	share := 1 - math.Exp(-1.5*5/held)
	assert.InEpsilon(t, share, (zs.ledger.Leached.N-leached)/pool, 0.01)
	assert.InEpsilon(t, share, (zs.salts.Left-left)/load, 0.01)
	require.Len(t, kept, 1, "out of its turn, and no other zone's")
	assert.Equal(t, zs.ledger, kept[0].Ledger)
}
