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

// salted is a past whose zone holds so much salt, mS/cm at capacity.
func salted(r *rig, start time.Time, zone garden.ZoneID, ms float64) Past {
	past := tended(start)
	for k := range past.Snapshots {
		s := &past.Snapshots[k]
		i := r.p.Index(s.Zone)
		x := feed.Salts{}
		level := 0.5
		if s.Zone == zone {
			level = ms
		}
		_ = x.Enter(r.p.zones[i].held(), level)
		s.Salts = &x
	}
	// Fed three days ago: the next is due in three.
	for _, z := range []garden.ZoneID{"a", "b", "c", "d"} {
		past.Records = append(past.Records, feed.Record{Kind: feed.HandGiven, Zone: z, Feed: 1, At: start.AddDate(0, 0, -3), Litres: 4, PPM: feed.NPK{N: 112}, Stage: feed.Middle})
	}
	return past
}

// What comes in, what plants take and what drains is all in the account, to the
// last bit; a reading corrects it, and it outlives a restart.
func TestSaltAccount(t *testing.T) {
	start := time.Date(2026, 6, 1, 6, 0, 0, 0, time.UTC)
	r := newRig(t, testGarden(), tended(start))
	r.auto = true
	r.run(2 * time.Hour)
	before := *r.p.View(r.st, 0).SaltMS
	// Ten litres of the supply's 0.5 mS/cm into a pot with room for about nine.
	held := r.p.zones[0].held()
	room := (float64(r.views[0].Capacity) - float64(r.views[0].Water)) * 75
	load := r.st.zones[0].salts.Load
	r.obs.Delivered = append(r.obs.Delivered, garden.Delivery{Order: 99, Line: "la", Kind: garden.Irrigate, Litres: room, End: garden.Complete})
	r.step(time.Minute)
	assert.InDelta(t, load+0.5*room, r.st.zones[0].salts.Load, 1e-9)
	assert.Zero(t, r.st.zones[0].salts.Left)
	r.obs.Delivered = append(r.obs.Delivered, garden.Delivery{Order: 100, Line: "la", Kind: garden.Irrigate, Litres: room + 5, End: garden.Complete})
	r.step(time.Minute)
	r.run(2 * time.Hour)
	assert.Positive(t, r.st.zones[0].salts.Left, "five litres drained")
	for i := range r.st.zones {
		assert.InDelta(t, 0, r.st.zones[i].salts.Imbalance(), 1e-9)
		n := r.st.zones[i].ledger.Imbalance()
		assert.InDelta(t, 0, n.N, 1e-9)
	}
	assert.Greater(t, *r.p.View(r.st, 0).SaltMS, before)
	// A feed brings its own: 0.65 mS/cm per 100 ppm of N, and the water's 0.5.
	var id string
	for _, x := range r.st.Tasks(r.now.Wall) {
		if x.Kind == task.Feed && x.Zone == "d" {
			id = x.ID
		}
	}
	load = r.st.zones[3].salts.Load
	_, err := r.p.Done(r.st, r.now, id, task.Report{At: r.now.Wall, Litres: garden.Known(4)})
	require.NoError(t, err)
	assert.InDelta(t, 4*0.65*r.st.zones[3].ppm.N/100, r.st.zones[3].salts.Load-load, 1e-9)

	r.p.Drained(r.st, Drainage{Zone: "a", At: r.now.Wall, MS: 2.2})
	assert.InDelta(t, 2.2, *r.p.View(r.st, 0).SaltMS, 1e-12)
	assert.InDelta(t, 2.2*held, r.st.zones[0].salts.Load, 1e-9)

	t.Run("kept and taken up again", func(t *testing.T) {
		var snaps []Snapshot
		for len(snaps) == 0 {
			r.step(time.Minute)
			snaps = r.st.Snapshots()
		}
		again, err := r.p.Restore(Past{Snapshots: snaps, Drained: []Drainage{{Zone: "a", At: snaps[0].At.Add(-time.Hour), MS: 9}}})
		require.NoError(t, err)
		assert.Equal(t, r.st.zones[0].salts, again.zones[0].salts, "an older reading is in it already")
	})
	t.Run("no conductivity of the water, no account", func(t *testing.T) {
		g := testGarden()
		g.Supply.ECmS = garden.Measured{}
		r := newRig(t, g, tended(start))
		r.run(2 * time.Hour)
		assert.Nil(t, r.p.View(r.st, 0).SaltMS)
	})
}

// A pot that is too salty by the account is flushed between two feeds, through its
// line with plain water or as a task, and the feed comes after it.
func TestFlushByAccount(t *testing.T) {
	start := time.Date(2026, 6, 1, 6, 0, 0, 0, time.UTC)
	flushes := func(t *testing.T, zone garden.ZoneID, past Past) *rig {
		r := newRig(t, testGarden(), past)
		for i := range r.views {
			r.views[i].CapL, r.views[i].ToRefillL, r.views[i].Water = 60, 2, r.views[i].Capacity
		}
		r.run(20 * time.Hour)
		return r
	}
	probe := newRig(t, testGarden(), Past{})
	t.Run("by the line", func(t *testing.T) {
		r := flushes(t, "a", salted(probe, start, "a", 4.9))
		require.Equal(t, 1, count(r.records, "a", feed.FlushBegun))
		assert.Equal(t, 1, count(r.records, "a", feed.FlushEnded))
		assert.Zero(t, count(r.records, "a", feed.Begun))
		assert.Zero(t, count(r.records, "b", feed.FlushBegun))
		var litres float64
		for _, x := range r.records {
			if x.Kind == feed.FlushSettled {
				litres += x.Litres
			}
		}
		assert.Greater(t, litres, 10.0)
		assert.NotNil(t, r.p.View(r.st, 0).Flushed)
		assert.InDelta(t, litres, r.p.View(r.st, 0).FlushedL, 1e-9)
		assert.InDelta(t, r.st.zones[0].halfWay(), *r.p.View(r.st, 0).SaltMS, 0.1, "so much drained as brings it there, and no more food goes along")
	})
	t.Run("by hand", func(t *testing.T) {
		r := flushes(t, "d", salted(probe, start, "d", 4.9))
		var id string
		for _, x := range r.st.Tasks(r.now.Wall) {
			if x.Kind == task.Flush {
				require.Empty(t, id)
				id = x.ID
				assert.Contains(t, x.Why, "account of salts")
			}
		}
		require.NotEmpty(t, id)
	})
	t.Run("not low in salts, and not before its day", func(t *testing.T) {
		r := flushes(t, "a", salted(probe, start, "a", 1.2))
		assert.Zero(t, count(r.records, "a", feed.FlushBegun))
	})
	t.Run("the planned one only from half way to the limit", func(t *testing.T) {
		r := flushes(t, "a", salted(probe, start, "a", 1.2))
		ms := r.p.View(r.st, 0).FeedMS
		require.NotNil(t, ms)
		for over, want := range map[float64]int{0.5: 0, 1.0: 1} {
			r := flushes(t, "a", salted(probe, start, "a", *ms+over))
			assert.Equal(t, want, count(r.records, "a", feed.FlushBegun), "%v mS/cm over the feed", over)
		}
	})
	t.Run("none is planned where as much drains as salts ask for", func(t *testing.T) {
		for ms, want := range map[float64]int{2.5: 0, 4.9: 1} {
			past := salted(probe, start, "a", ms)
			g := testGarden()
			r := newRig(t, g, past)
			require.False(t, r.p.zones[0].byNeed)
			g.Pots[0].Zones[0].LeachByNeed = true
			n := newRig(t, g, past)
			require.True(t, n.p.zones[0].byNeed)
			for _, x := range []*rig{r, n} {
				for i := range x.views {
					x.views[i].CapL, x.views[i].ToRefillL, x.views[i].Water = 60, 2, x.views[i].Capacity
				}
				x.run(20 * time.Hour)
			}
			assert.Equal(t, 1, count(r.records, "a", feed.FlushBegun), "%v mS/cm", ms)
			assert.Equal(t, want, count(n.records, "a", feed.FlushBegun), "%v mS/cm: by the limit alone", ms)
		}
	})
	t.Run("by the calendar where nothing is known", func(t *testing.T) {
		g := testGarden()
		g.Supply.ECmS = garden.Measured{}
		past := salted(probe, start, "", 0)
		r := newRig(t, g, past)
		for i := range r.views {
			r.views[i].CapL, r.views[i].ToRefillL = 60, 2
		}
		r.run(20 * time.Hour)
		assert.Equal(t, 1, count(r.records, "a", feed.FlushBegun), "tended for forty days")
		again := newRig(t, g, Past{Records: r.records, Snapshots: past.Snapshots})
		again.now = r.now
		again.run(2 * time.Hour)
		assert.Zero(t, count(again.records, "a", feed.FlushBegun), "and not again after a restart")
	})
}

// A salty reading takes a feed that is on the list back, asks for the flush first,
// and after the flush the feed comes again.
func TestSaltyReadingTakesTheFeedBack(t *testing.T) {
	start := time.Date(2026, 6, 1, 6, 0, 0, 0, time.UTC)
	r := newRig(t, testGarden(), tended(start))
	r.run(3 * time.Hour)
	open := func(k task.Kind) (out []string) {
		for _, x := range r.st.Tasks(r.now.Wall) {
			if x.Kind == k && x.Zone == "d" {
				out = append(out, x.ID)
			}
		}
		return out
	}
	first := open(task.Feed)
	require.Len(t, first, 1)
	r.p.Drained(r.st, Drainage{Zone: "d", At: r.now.Wall, MS: 6})
	r.run(2 * time.Hour)
	assert.Empty(t, open(task.Feed))
	require.Len(t, open(task.Flush), 1)
	assert.Equal(t, 1, count(r.records, "d", feed.HandWithdrawn))
	_, err := r.p.Done(r.st, r.now, open(task.Flush)[0], task.Report{At: r.now.Wall})
	require.NoError(t, err)
	r.run(2 * time.Hour)
	again := open(task.Feed)
	require.Len(t, again, 1)
	assert.NotEqual(t, first, again)
}

// Waterings carry feed where the garden file says so: what people ask for, what is
// given blind and what is for survival stays plain, and pots on the same line are
// entered along.
func TestDose(t *testing.T) {
	start := time.Date(2026, 6, 1, 6, 0, 0, 0, time.UTC)
	g := testGarden()
	for _, i := range []int{1, 2} {
		g.Pots[i].Zones[0].Feed.EveryWatering = garden.Known(50)
	}
	require.Empty(t, fatal(Check(g)))
	past := salted(newRig(t, testGarden(), Past{}), start, "", 0)
	past.Records = nil
	r := newRig(t, g, past)
	r.run(2 * time.Hour)
	assert.Zero(t, count(r.records, "b", feed.Begun), "nothing at intervals")
	v := &Seen{Obs: &r.obs, Zones: r.views}
	orders := []garden.Order{
		{ID: 1001, Line: "lb", Zone: "b", Litres: 3, MaxOn: time.Hour, Kind: garden.Irrigate},
		{ID: 1002, Line: "la", Zone: "a", Litres: 3, MaxOn: time.Hour, Kind: garden.Irrigate},
		{ID: 1003, Line: "lb", Zone: "b", Litres: 3, MaxOn: time.Hour, Kind: garden.ByHand},
	}
	var out Output
	r.p.Dose(r.st, r.now, v, orders, &out)
	require.Len(t, out.Records, 1)
	assert.Equal(t, []bool{true, false, false}, []bool{orders[0].Dosed, orders[1].Dosed, orders[2].Dosed})
	assert.InDelta(t, 2, out.Records[0].Litres, 1e-9, "two thirds of the line's flow is b's")
	fedB, fedC := r.st.zones[1].ledger.Fed.N, r.st.zones[2].ledger.Fed.N
	r.obs.Delivered = append(r.obs.Delivered, garden.Delivery{Order: 1001, Line: "lb", Zone: "b", Litres: 3, DosedL: 3, End: garden.Complete})
	r.step(time.Minute)
	assert.InDelta(t, 0.1, r.st.zones[1].ledger.Fed.N-fedB, 1e-9)
	assert.InDelta(t, 0.05, r.st.zones[2].ledger.Fed.N-fedC, 1e-9)
	assert.Contains(t, r.p.View(r.st, 1).Words, "fed with every watering at 50 ppm N")

	r.obs.Now.TempC = garden.Known(39)
	orders[0].ID, orders[0].Dosed = 1004, false
	r.p.Dose(r.st, r.now, v, orders[:1], &out)
	assert.False(t, orders[0].Dosed)
	assert.Contains(t, r.p.View(r.st, 1).Words, "the last one went plain: the mix has 39 °C")

	r.obs.Now.TempC = garden.Known(22)
	r.p.Dose(r.st, r.now, v, orders[:1], &out)
	require.True(t, orders[0].Dosed)
	r.p.Undose(r.st, r.now, orders[:1])
	assert.False(t, orders[0].Dosed)

	r.p.zones[1].byNeed, orders[0].Why.Code = true, garden.RefillAndWash
	r.p.Dose(r.st, r.now, &Seen{Obs: &r.obs}, orders[:1], &out) // also before the first look
	assert.False(t, orders[0].Dosed, "it would leave with the salts")
	assert.Contains(t, r.p.View(r.st, 1).Words, "leach with plain water first")
	r.p.zones[1].byNeed = false
	r.p.Dose(r.st, r.now, v, orders[:1], &out)
	assert.True(t, orders[0].Dosed, "where a share of all water is to drain, feed comes with it")
	r.p.Undose(r.st, r.now, orders[:1])
	assert.False(t, r.st.zones[1].seq.Dosing())

	t.Run("what the check refuses", func(t *testing.T) {
		g := testGarden()
		g.Pots[1].Zones[0].Feed.EveryWatering = garden.Known(50)
		assert.Contains(t, fatal(Check(g)), "which is fed otherwise", "c on the same line")
		g = testGarden()
		g.Pots[3].Zones[0].Feed.EveryWatering = garden.Known(50)
		assert.Contains(t, fatal(Check(g)), "watered with a can")
		g = testGarden()
		g.Pots[0].Zones[0].Feed.EveryWatering = garden.Known(50)
		g.Lines[0].Injector = garden.Injector{}
		assert.Contains(t, fatal(Check(g)), "no injector with a pin")
		g.Lines[0].Injector = garden.Injector{Ratio: 100, Switched: true}
		g.Pots[0].Zones[0].Feed.EveryWatering = garden.Known(150)
		assert.Contains(t, fatal(Check(g)), "expected 20 to 100")
	})
}

func fatal(problems []garden.Problem) (all string) {
	for _, p := range problems {
		if p.Fatal {
			all += p.Path + ": " + p.What + "\n"
		}
	}
	return all
}
