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

// fedDaysAgo is a past in which every pot was fed so many days before start.
func fedDaysAgo(start time.Time, days float64) Past {
	past := tended(start)
	for k := range past.Snapshots {
		// Enough nitrogen that the interval decides.
		_ = past.Snapshots[k].Ledger.Feed(feed.NPK{N: 8})
	}
	for _, z := range []garden.ZoneID{"a", "b", "c", "d"} {
		past.Records = append(past.Records, feed.Record{Kind: feed.HandGiven, Zone: z, Feed: 1,
			At: start.Add(-time.Duration(days * float64(day))), Litres: 4, PPM: feed.NPK{N: 112}, Stage: feed.Middle})
	}
	return past
}

func lent(r *rig, line garden.LineID) (is bool) {
	r.p.Lent(r.st, func(id garden.LineID, _, _ bool) { is = is || id == line })
	return is
}

// full has every pot full and far from its refill point.
func full(r *rig) {
	for i := range r.views {
		v := &r.views[i]
		v.Water, v.ToRefillL, v.HoursToLimit = v.Capacity-0.004, 9, 100
	}
}

// A pot that is full the day before its feed gets no more plain water until then,
// unless a pot of its line wants some.
func TestRoomIsMadeForAFeed(t *testing.T) {
	start := time.Date(2026, 6, 1, 6, 0, 0, 0, time.UTC)
	r := newRig(t, testGarden(), fedDaysAgo(start, 2))
	full(r)
	r.run(2 * time.Hour)
	assert.False(t, lent(r, "la"), "four days before")
	r = newRig(t, testGarden(), fedDaysAgo(start, 5))
	full(r)
	r.run(2 * time.Hour)
	assert.True(t, lent(r, "la"), "a day before: it loses 3 L a day and needs 4 L of room")
	assert.Zero(t, count(r.records, "a", feed.Begun))
	r.views[0].ToRefillL = -0.1
	r.run(2 * time.Hour)
	assert.False(t, lent(r, "la"), "a pot that wants water gets it")
}

// A feed that finds too little room half a day past its day takes what there is,
// and a pot that has none at all holds it, which the view tells apart from delay.
func TestSmallerFeedInALittleRoom(t *testing.T) {
	start := time.Date(2026, 6, 1, 6, 0, 0, 0, time.UTC)
	r := newRig(t, testGarden(), fedDaysAgo(start, 6))
	for i := range r.views {
		v := &r.views[i]
		v.ToRefillL, v.HoursToLimit = 9, 100
		v.Water = v.Capacity - 2.0/75
	}
	r.run(8 * time.Hour)
	assert.Zero(t, count(r.records, "a", feed.Begun))
	r.run(8 * time.Hour)
	require.Equal(t, 1, count(r.records, "a", feed.Begun))
	for _, x := range r.records {
		if x.Zone == "a" && x.Kind == feed.Begun {
			assert.InDelta(t, 1.9, x.Litres, 1e-6)
		}
	}
	for _, x := range r.st.Tasks(r.now.Wall) {
		if x.Kind == task.Feed {
			assert.InDelta(t, 1.9, x.Litres, 1e-6, "and so does the can")
		}
	}

	r = newRig(t, testGarden(), fedDaysAgo(start, 6))
	full(r)
	r.run(36 * time.Hour)
	assert.Zero(t, count(r.records, "a", feed.Begun))
	v := r.p.View(r.st, 0)
	assert.InDelta(t, 1.5, v.Due.OverdueDays, 0.1)
	assert.InDelta(t, 1.5, v.WaitedDays, 0.1)
}

// keepsWash is whether feeding has a zone's wash wait.
func keepsWash(r *rig, z garden.ZoneID) (is bool) {
	r.p.Washes(r.st, func(id garden.ZoneID) { is = is || id == z })
	return is
}

// From two days before a feed until it is given the wash waits, for the fed pots on
// its line too, and where salt presses nobody has it wait.
func TestWashWaitsForTheFeed(t *testing.T) {
	start := time.Date(2026, 6, 1, 6, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		name  string
		days  float64 // since the last feed, of which one is due every six
		waits bool
	}{
		{"just fed", 1, false},
		{"time to dry is left", 3.5, false},
		{"near", 5, true},
		{"due", 6.2, true},
		{"so late that it keeps nothing back", 9.5, false},
	} {
		r := newRig(t, testGarden(), fedDaysAgo(start, c.days))
		full(r)
		for i := range r.views {
			// No room at all, so that nothing is given.
			r.views[i].Water = r.views[i].Capacity + 0.03
		}
		r.run(2 * time.Hour)
		for _, z := range []garden.ZoneID{"a", "b", "c"} {
			assert.Equal(t, c.waits, keepsWash(r, z), "%s: %s", c.name, z)
		}
		for _, z := range []garden.ZoneID{"d", "e"} {
			assert.False(t, keepsWash(r, z), "%s: %s has no line", c.name, z)
		}
	}
	t.Run("asked for, long before its day", func(t *testing.T) {
		g := testGarden()
		g.Pots[0].Zones[0].Feed.IntervalDays = garden.Known(10)
		r := newRig(t, g, fedDaysAgo(start, 5))
		full(r)
		r.run(time.Hour)
		assert.False(t, keepsWash(r, "a"))
		r.st.zones[0].asks = []window{{start, start.Add(2 * day)}}
		r.run(2 * time.Hour)
		assert.True(t, keepsWash(r, "a"))
	})
	r := newRig(t, testGarden(), fedDaysAgo(start, 6.2))
	full(r)
	require.NoError(t, r.p.Drained(r.st, Drainage{Zone: "a", At: start, MS: 6}))
	r.run(2 * time.Hour)
	assert.False(t, keepsWash(r, "a"), "salt presses")
	held := r.p.zones[0].held()
	r.st.zones[0].salts.Load, r.st.zones[0].drain = 6*held, garden.Measured{}
	r.run(2 * time.Hour)
	assert.False(t, keepsWash(r, "a"), "and so does the account")
	r.st.zones[0].salts.Load = 1 * held
	r.run(2 * time.Hour)
	assert.True(t, keepsWash(r, "a"), "none presses any more")
	r.st.zones[0].drain, r.st.zones[0].drainAt = garden.Known(6), r.now.Wall
	assert.False(t, r.p.keepsWash(r.st, 0, r.now), "what was read counts before the flush begins too")
	t.Run("of a pot that is not fed nothing is said", func(t *testing.T) {
		g := testGarden()
		g.Pots[2].Zones[0].Feed = garden.FeedPlan{}
		r := newRig(t, g, fedDaysAgo(start, 5))
		full(r)
		r.run(2 * time.Hour)
		assert.True(t, keepsWash(r, "b"))
		assert.False(t, keepsWash(r, "c"))
	})
	t.Run("the pot of a line whose feed is due decides", func(t *testing.T) {
		r := newRig(t, testGarden(), fedDaysAgo(start, 3.5))
		full(r)
		r.run(2 * time.Hour)
		r.st.zones[2].washLater = true
		for _, z := range []garden.ZoneID{"b", "c"} {
			assert.True(t, keepsWash(r, z), z)
		}
	})
}

// A pot that wants water while its can of feed is on the list for this evening waits
// for the can, as long as its salts are low. Any other pot of the line does not.
func TestTheCanIsTheWatering(t *testing.T) {
	start := time.Date(2026, 6, 1, 6, 0, 0, 0, time.UTC)
	listed := func(wait time.Duration, change func(r *rig)) *rig {
		g := testGarden()
		for i := range g.Lines {
			g.Lines[i].Injector = garden.Injector{}
		}
		g.Pots[2].Zones[0].Feed = garden.FeedPlan{}
		r := newRig(t, g, fedDaysAgo(start, 5.6)) // due at 15:36
		for i := range r.views {
			r.views[i].ToRefillL = 1
		}
		r.run(90 * time.Minute)
		require.Equal(t, 1, count(r.records, "a", feed.HandOpened))
		require.Equal(t, 1, count(r.records, "b", feed.HandOpened))
		change(r)
		r.run(wait)
		return r
	}
	const soon = 2 * time.Hour
	assert.True(t, lent(listed(soon, func(*rig) {}), "la"))
	assert.True(t, lent(listed(soon, func(r *rig) { r.views[0].ToRefillL = -1 }), "la"), "the can will do")
	assert.False(t, lent(listed(soon, func(r *rig) { r.views[0].ToRefillL, r.views[0].HoursToLimit = -1, 20 }), "la"), "it can't wait")
	salty := func(over float64) func(*rig) {
		return func(r *rig) {
			zs := &r.st.zones[0]
			zs.salts.Load = (zs.halfWay() + over) * r.p.zones[0].held()
			r.views[0].ToRefillL = -1
		}
	}
	assert.True(t, lent(listed(soon, salty(-0.1)), "la"), "running through would wash food alone")
	assert.False(t, lent(listed(soon, salty(0.1)), "la"), "running through is a gain")
	assert.False(t, lent(listed(soon, func(r *rig) { r.views[0].ToRefillL, r.p.g.Supply.ECmS = -1, garden.Measured{} }), "la"), "nobody knows its salts")
	assert.False(t, lent(listed(36*time.Hour, func(r *rig) { r.views[0].ToRefillL = -1 }), "la"), "nobody came")
	assert.False(t, lent(listed(soon, func(r *rig) { r.views[0].ToRefillL, r.now.Synced = -1, false }), "la"), "nobody knows when it is evening")
	assert.True(t, lent(listed(soon, func(r *rig) { r.now.Synced = false }), "la"))
	t.Run("asked for long before its day it waits no longer", func(t *testing.T) {
		g := testGarden()
		for i := range g.Lines {
			g.Lines[i].Injector = garden.Injector{}
		}
		g.Pots[0].Zones[0].Feed.IntervalDays = garden.Known(14)
		r := newRig(t, g, fedDaysAgo(start, 5))
		r.st.zones[0].asks = []window{{start, start.Add(2 * day)}}
		r.run(90 * time.Minute)
		require.Equal(t, 1, count(r.records, "a", feed.HandOpened))
		r.views[0].ToRefillL = -1
		r.run(12 * time.Hour)
		assert.True(t, lent(r, "la"))
		r.run(26 * time.Hour)
		assert.False(t, lent(r, "la"))
	})
	assert.True(t, lent(listed(soon, func(r *rig) { r.views[1].ToRefillL = -1 }), "lb"))
	assert.False(t, lent(listed(soon, func(r *rig) { r.views[2].ToRefillL = -1 }), "lb"), "the pot beside it is thirsty and gets no can")
}

// While the starter charge feeds the plants a feed is smaller, down to a fifth, with a
// margin for what may have left beside what the ledger says. Once as much has left the pot
// as the charge brought, or where the gardener wrote the dose or asked for a feed, it is
// whole.
func TestFeedIsSmallerWhileTheMixFeeds(t *testing.T) {
	start := time.Date(2026, 6, 1, 6, 0, 0, 0, time.UTC)
	share := func(poolDays, takenG, leachedG float64, change func(*garden.Garden), asked bool) float64 {
		g := testGarden()
		change(g)
		past := fedDaysAgo(start, 5)
		r := newRig(t, g, past)
		need := r.p.zones[0].need(feed.Middle, garden.Measured{}).N
		for k := range past.Snapshots {
			past.Snapshots[k].Ledger = feed.Ledger{Starter: feed.NPK{N: 7}, Pool: feed.NPK{N: poolDays * need},
				Taken: feed.NPK{N: takenG}, Leached: feed.NPK{N: leachedG}, ReleaseDays: feed.StarterDays}
		}
		r = newRig(t, g, past)
		if asked {
			r.st.zones[0].asks = []window{{start, start.Add(day)}}
		}
		for i := range r.views {
			r.views[i].Water = r.views[i].Capacity
		}
		r.run(time.Minute)
		r.p.judge(r.st, 0, r.now) // judged again, it is the same
		return r.st.zones[0].portio.Litres / r.p.zones[0].portionAt[feed.Middle].Litres
	}
	t.Run("a pot that is fed along and needs it whole gets it whole", func(t *testing.T) {
		past := fedDaysAgo(start, 5)
		r := newRig(t, testGarden(), past)
		lead, led := r.p.Index("b"), r.p.Index("c")
		require.True(t, r.p.zones[led].led)
		spared := func(ofLed float64) float64 {
			for _, i := range []int{lead, led} {
				days := 30.0
				if i == led {
					days = ofLed
				}
				r.st.zones[i].due, r.st.zones[i].sureDays = feed.Due{NDaysLeft: garden.Known(days), IntervalDays: 6}, days
				r.st.zones[i].ledger.Starter.N = 100
			}
			return r.p.spared(r.st, lead)
		}
		assert.InDelta(t, leastFed, spared(30), 1e-9)
		assert.InDelta(t, 1, spared(3), 1e-9)
		assert.InDelta(t, 0.9, spared(6.6), 1e-9)
	})
	same := func(*garden.Garden) {}
	assert.InDelta(t, 1, share(5, 0, 0, same, false), 1e-9, "it lasts to the next feed and no longer")
	assert.InDelta(t, 0.9, share(6.6, 0, 0, same, false), 0.02)
	assert.InDelta(t, 0.67, share(8, 0, 0, same, false), 0.02)
	assert.InDelta(t, leastFed, share(11, 0, 0, same, false), 1e-9)
	assert.InDelta(t, leastFed, share(30, 0, 0, same, false), 1e-9)
	assert.InDelta(t, leastFed, share(160, 6.9, 0, same, false), 1e-9)
	// Where 4 g have left, 2.8 more may have: as many days' need.
	need := newRig(t, testGarden(), Past{}).p.zones[0].need(feed.Middle, garden.Measured{}).N
	require.Positive(t, need)
	assert.InDelta(t, 0.67, share(8+2.8/need, 2, 2, same, false), 0.02)
	assert.InDelta(t, 1, share(5+2.8/need, 2, 2, same, false), 1e-9)
	assert.Less(t, share(8, 0, 0, same, false), share(8, 2, 2, same, false))
	assert.InDelta(t, 1, share(30, 7, 0, same, false), 1e-9, "the charge is spent")
	assert.InDelta(t, 1, share(30, 4, 3, same, false), 1e-9, "part of it washed out")
	assert.InDelta(t, 1, share(30, 0, 0, same, true), 1e-9, "asked for")
	assert.InDelta(t, 1, share(30, 0, 0, func(g *garden.Garden) { g.Pots[0].Zones[0].Feed.DoseL = garden.Known(4) }, false), 1e-9, "the gardener's own")
}

// Heavy rain holds no feed that fits into the pot beside it, and half a day late a
// feed takes what room the rain leaves.
func TestFeedBeforeRain(t *testing.T) {
	start := time.Date(2026, 6, 1, 6, 0, 0, 0, time.UTC)
	const spareL = 6.2
	run := func(days, halfDayMM float64, wait time.Duration) float64 {
		r := newRig(t, testGarden(), fedDaysAgo(start, days))
		full(r)
		for i := range r.views {
			r.views[i].Water = r.views[i].Capacity - spareL/75
		}
		r.obs.Today.RainMM = garden.Known(2 * halfDayMM)
		r.obs.Ahead = []garden.DayWeather{r.obs.Today}
		r.run(wait)
		for _, x := range r.records {
			if x.Zone == "a" && x.Kind == feed.Begun {
				return x.Litres
			}
		}
		return 0
	}
	area := newRig(t, testGarden(), Past{}).p.zones[0].areaM2
	portion := newRig(t, testGarden(), Past{}).p.zones[0].portionAt[feed.Middle].Litres
	require.Less(t, portion+12*area, spareL)
	const soon, long = 2 * time.Hour, 15 * time.Hour
	assert.InDelta(t, portion, run(6.1, 12, soon), 1e-9, "both fit")
	const much = 20.0
	require.Greater(t, portion+much*area, spareL)
	assert.Zero(t, run(6.1, much, soon), "they don't, and there is time")
	assert.Zero(t, run(6.6, much, soon), "late, but not for the rain's sake")
	assert.InDelta(t, intoRoom*(spareL-much*area), run(6.1, much, long), 0.02, "half a day late: what the rain leaves")
	assert.Zero(t, run(6.1, 60, long), "rain fills it all")
}

// A pot that stays full gets a small feed a day and a half late, as long as what
// stands over capacity is no more than its plants drink before it drains.
func TestLateFeedIntoAFullPot(t *testing.T) {
	start := time.Date(2026, 6, 1, 6, 0, 0, 0, time.UTC)
	given := func(wait time.Duration, days, over float64, z garden.ZoneID, kind feed.RecordKind) float64 {
		r := newRig(t, testGarden(), fedDaysAgo(start, days))
		full(r)
		for i := range r.views {
			r.views[i].Water = r.views[i].Capacity + garden.WaterFraction(over)
		}
		r.run(wait)
		for _, x := range r.records {
			if x.Zone == z && x.Kind == kind {
				return x.Litres
			}
		}
		return 0
	}
	const most = intoRoom * standShare * 75
	assert.Zero(t, given(22*time.Hour, 6.5, 0, "a", feed.Begun))
	assert.InDelta(t, most, given(26*time.Hour, 6.5, 0, "a", feed.Begun), 0.02)
	assert.InDelta(t, most, given(26*time.Hour, 6.5, 0, "d", feed.HandOpened), 0.02, "by hand as well")
	assert.Zero(t, given(26*time.Hour, 6.5, 0.015, "a", feed.Begun), "it would drain")
	assert.Zero(t, given(6*time.Hour, 8, 0, "a", feed.Begun), "late, but the pot kept nothing back until now")
}

// Work by hand is on the list by noon of its day.
func TestHandFeedIsListedAhead(t *testing.T) {
	start := time.Date(2026, 6, 1, 6, 0, 0, 0, time.UTC)
	r := newRig(t, testGarden(), fedDaysAgo(start, 5.6)) // due at 15:36
	r.run(90 * time.Minute)
	assert.Equal(t, 1, count(r.records, "d", feed.HandOpened))
	assert.Zero(t, count(r.records, "a", feed.Begun), "a line has no evening to wait for")
}
