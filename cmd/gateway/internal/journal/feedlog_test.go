package journal

import (
	"database/sql"
	"math"
	"path/filepath"
	"testing"
	"time"

	"fabricpot/control/feed"
	"fabricpot/control/feeding"
	"fabricpot/control/garden"
	"fabricpot/control/task"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestFeedsAndTasksComeBack: what keeps a feed from being repeated survives a
// reopening as it was written.
func TestFeedsAndTasksComeBack(t *testing.T) {
	path := filepath.Join(t.TempDir(), "j.db")
	j, _, err := Open(path)
	require.NoError(t, err)
	day := start.UTC()
	records := []feed.Record{
		{Kind: feed.Begun, Zone: "chilli", Feed: 3, At: day, Litres: 2.5, ClosingL: .5, RoomL: 4, PPM: feed.NPK{N: 100, P: 20, K: 80}, Stage: feed.Middle, Why: feed.ByLedger},
		{Kind: feed.PulseIntended, Zone: "chilli", Feed: 3, At: day.Add(time.Second), Pulse: 1, Litres: 1.25, PPM: feed.NPK{N: 100}},
		{Kind: feed.PulseSettled, Zone: "chilli", Feed: 3, At: day.Add(time.Minute), Pulse: 1, Litres: 1.2, Uncertain: true},
	}
	require.NoError(t, j.AddFeedSteps(records[:1]))
	require.NoError(t, j.AddFeedSteps(records[1:]))
	require.NoError(t, j.AddFeedSteps(nil))
	require.Error(t, j.AddFeedSteps([]feed.Record{records[0], {Kind: feed.Begun, Zone: "chilli", Litres: math.NaN()}}), "none of it is written")
	led, err := feed.NewLedger(feed.NPK{N: 8, P: 2, K: 6}, 0)
	require.NoError(t, err)
	for _, fed := range []float64{1, 2} {
		led.Fed.N = fed
		require.NoError(t, j.KeepLedgers([]feeding.Snapshot{{Zone: "chilli", At: day, Began: day.AddDate(0, 0, -9), Ledger: led}}))
	}
	open := task.Event{Kind: task.Opened, At: day, Task: task.Task{ID: "feed-chilli-3", Kind: task.Feed, Zone: "chilli", Title: "Feed", Steps: []string{"pour"}, Litres: 2.5, Opened: day, Due: day, Until: day.Add(time.Hour)}}
	old := open
	old.At, old.Task.ID = day.AddDate(-1, 0, 0), "look-chilli"
	done := task.Event{Kind: task.Done, At: day.Add(time.Hour), Task: task.Task{ID: "feed-chilli-3", Kind: task.Feed, Zone: "chilli"}, Litres: garden.Known(2), Note: "slowly"}
	require.NoError(t, j.AddTaskEvents([]task.Event{old, open, done}))
	require.NoError(t, j.AddNote(Note{At: garden.Moment{Wall: day, Synced: true}, Zone: "chilli", Kind: DrainageKind, Value: garden.Known(3.2)}))
	require.NoError(t, j.Close())

	j, aside, err := Open(path)
	require.NoError(t, err)
	require.Empty(t, aside)
	defer j.Close()
	p, err := j.Fed(day.Add(24 * time.Hour))
	require.NoError(t, err)
	assert.Equal(t, records, p.Records)
	require.Len(t, p.Snapshots, 1, "the latest of each zone")
	assert.Equal(t, led, p.Snapshots[0].Ledger)
	require.Len(t, p.Events, 3, "an open task is never too old")
	assert.Equal(t, []task.Event{old, open, done}, p.Events)
	assert.Equal(t, []feeding.Drainage{{Zone: "chilli", At: day, MS: 3.2}}, p.Drained)
	b := task.NewBook(p.Events)
	require.Len(t, b.List(day), 1)
	assert.True(t, b.Closed("feed-chilli-3"))
}

// TestOlderJournalIsBroughtForward: a file of the first schema keeps what is in
// it and learns the rest.
func TestOlderJournalIsBroughtForward(t *testing.T) {
	path := filepath.Join(t.TempDir(), "j.db")
	db, err := sql.Open("sqlite", path)
	require.NoError(t, err)
	_, err = db.Exec(schema1 + `PRAGMA application_id=1179676532; PRAGMA user_version=1;
		INSERT INTO notes(at_wall,at_synced,zone,kind,text,who) VALUES(1000,1,'chilli','seen','pale','me');`)
	require.NoError(t, err)
	require.NoError(t, db.Close())
	require.Equal(t, 1179676532, applicationID)

	j, aside, err := Open(path)
	require.NoError(t, err)
	defer j.Close()
	require.Empty(t, aside)
	v, err := j.SchemaVersion()
	require.NoError(t, err)
	assert.Equal(t, len(migrations()), v)
	notes, err := j.Notes(time.Unix(0, 0))
	require.NoError(t, err)
	require.Len(t, notes, 1)
	require.NoError(t, j.AddFeedSteps([]feed.Record{{Kind: feed.Ended, Zone: "chilli", Feed: 1, At: start}}))
}

// TestWeek: dips, full hours and temperatures are counted from the samples.
func TestWeek(t *testing.T) {
	j, _, err := Open(filepath.Join(t.TempDir(), "j.db"))
	require.NoError(t, err)
	defer j.Close()
	now := start.UTC()
	var b Batch
	for h := range 100 {
		m := garden.Moment{Wall: now.Add(-time.Duration(h) * time.Hour), Synced: true}
		water := .45
		switch {
		case h == 10 || h == 11 || h == 50:
			water = .30 // two dips, one of them two hours long
		case h >= 70 && h < 75:
			water = .60
		}
		b.Zones = append(b.Zones, ZoneSample{Zone: "chilli", At: m, Water: garden.Known(water), Refill: garden.Known(.4), Capacity: garden.Known(.55)})
		b.Readings = append(b.Readings, garden.Reading{Probe: "chilli/middle", At: m, Water: .4, Quality: garden.Good, TempC: garden.Known(20 + float64(h%24))})
	}
	require.NoError(t, j.AddSamples(b))
	w, err := j.Week("chilli", []garden.ProbeID{"chilli/middle"}, .55, now)
	require.NoError(t, err)
	assert.InDelta(t, 2, w.Dips.Value, 0)
	assert.InDelta(t, 5, w.SaturatedHours.Value, 1)
	assert.InDelta(t, 20, w.ColdestC.Value, 1e-9)
	assert.InDelta(t, 43, w.HottestC.Value, 1e-9)
	assert.InDelta(t, .45, w.Water.Value, 1e-9)
	w, err = j.Week("unknown", nil, .5, now)
	require.NoError(t, err)
	assert.Equal(t, feeding.Week{}, w)
}
