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
	r.p.Lent(r.st, func(id garden.LineID, _ bool) { is = is || id == line })
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

// Work by hand is on the list by noon of its day.
func TestHandFeedIsListedAhead(t *testing.T) {
	start := time.Date(2026, 6, 1, 6, 0, 0, 0, time.UTC)
	r := newRig(t, testGarden(), fedDaysAgo(start, 5.6)) // due at 15:36
	r.run(90 * time.Minute)
	assert.Equal(t, 1, count(r.records, "d", feed.HandOpened))
	assert.Zero(t, count(r.records, "a", feed.Begun), "a line has no evening to wait for")
}
