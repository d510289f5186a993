package journal

import (
	"path/filepath"
	"strings"
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// readEverything is what each way of reading samples says.
func readEverything(t *testing.T, j *Journal) []any {
	t.Helper()
	to := start.Add(2*day - time.Millisecond)
	var out []any
	add := func(v any, err error) {
		require.NoError(t, err)
		out = append(out, v)
	}
	add(j.ZoneSeries("chilli", start, to, 96))
	add(j.ProbeSeries("chilli", start, to, 96))
	add(j.ProbesBetween(start, to))
	add(j.ProbeReadings("chilli", start, to, 5000))
	add(j.Week("chilli", []garden.ProbeID{"chilli"}, 0.5, to))
	first, last, ok, err := j.Span()
	require.NoError(t, err)
	return append(out, first, last, ok)
}

// minutes writes a day by batches of ten minutes, as a gateway does.
func minutes(t *testing.T, j *Journal, from, to time.Duration) {
	t.Helper()
	for d := from; d < to; d += 10 * time.Minute {
		var b Batch
		for m := d; m < d+10*time.Minute; m += time.Minute {
			w := 0.3 + float64(m%(7*time.Hour))/float64(70*time.Hour)
			b.Zones = append(b.Zones, ZoneSample{Zone: "chilli", At: at(m), Water: garden.Known(w), Refill: garden.Known(0.35), SD: garden.Known(0.01)})
			b.Readings = append(b.Readings, garden.Reading{Probe: "chilli", At: at(m), Volts: 1.5, Water: garden.WaterFraction(w), TempC: garden.Known(20 + w), Quality: garden.Good})
		}
		require.NoError(t, j.AddSamples(b))
	}
}

// TestRecentSamplesReadAlike: whether samples were sorted in or not, by the
// writer or by a reader beside it, each question has the same answer.
func TestRecentSamplesReadAlike(t *testing.T) {
	path := filepath.Join(t.TempDir(), "j.db")
	j := open(t, path)
	minutes(t, j, 0, day+110*time.Minute)
	require.Positive(t, count(t, j, "SELECT count(*) FROM recent_zones"))
	require.Positive(t, count(t, j, "SELECT count(*) FROM zones"))
	before := readEverything(t, j)
	beside, err := OpenReader(path)
	require.NoError(t, err)
	assert.Equal(t, before, readEverything(t, beside))
	require.NoError(t, beside.Close())
	// Spans begin with the day; their sums may differ in the last digit.
	from := start.Truncate(24 * time.Hour)
	course, err := j.ZoneCourse("chilli", from, from.Add(3*day), 12*3)
	require.NoError(t, err)
	require.NoError(t, j.sortIn())
	require.Zero(t, count(t, j, "SELECT count(*) FROM all_zones")-count(t, j, "SELECT count(*) FROM zones"))
	assert.Equal(t, before, readEverything(t, j))
	sorted, err := j.ZoneCourse("chilli", from, from.Add(3*day), 12*3)
	require.NoError(t, err)
	require.Len(t, sorted, len(course))
	for i := range course {
		assert.InDelta(t, course[i].Mean, sorted[i].Mean, 1e-12)
		course[i].Mean, course[i].Refill.Value, course[i].SD.Value = sorted[i].Mean, sorted[i].Refill.Value, sorted[i].SD.Value
	}
	assert.Equal(t, course, sorted)
}

// TestRecentSamplesAreSortedIn by batches, by rows, and with the first batch of a
// next run.
func TestRecentSamplesAreSortedIn(t *testing.T) {
	path := filepath.Join(t.TempDir(), "j.db")
	j := open(t, path)
	waits := func() int { return count(t, j, "SELECT count(*) FROM recent_zones") }
	minutes(t, j, 0, (sortAfter-1)*10*time.Minute)
	assert.Equal(t, (sortAfter-1)*10, waits())
	minutes(t, j, (sortAfter-1)*10*time.Minute, sortAfter*10*time.Minute)
	assert.Zero(t, waits())
	minutes(t, j, day, day+20*time.Minute)
	require.NoError(t, j.Close())
	j = open(t, path)
	assert.Equal(t, 20, waits(), "a start writes nothing that can wait")
	minutes(t, j, day+20*time.Minute, day+30*time.Minute)
	assert.Zero(t, waits())
	assert.Equal(t, sortAfter*10+30, count(t, j, "SELECT count(*) FROM zones"))
	var big Batch
	for i := range sortRows {
		big.Zones = append(big.Zones, ZoneSample{Zone: "chilli", At: at(2*day + time.Duration(i)*time.Second), Water: garden.Known(0.3)})
	}
	require.NoError(t, j.AddSamples(big))
	assert.Zero(t, waits())
}

// TestTimeThatGoesBack: of two samples of one moment the later wins, whichever of
// them was sorted in.
func TestTimeThatGoesBack(t *testing.T) {
	j := open(t, filepath.Join(t.TempDir(), "j.db"))
	put := func(d time.Duration, w float64) {
		require.NoError(t, j.AddSamples(Batch{Zones: []ZoneSample{{Zone: "chilli", At: at(d), Water: garden.Known(w)}}}))
	}
	put(0, 0.1)
	put(time.Minute, 0.2)
	put(0, 0.3)
	put(2*time.Minute, 0.4)
	put(2*time.Minute, 0.5)
	got, err := j.ZoneSeries("chilli", start, start.Add(time.Hour), 360)
	require.NoError(t, err)
	require.Len(t, got, 3)
	assert.Equal(t, []float64{0.3, 0.2, 0.5}, []float64{got[0].Mean, got[1].Mean, got[2].Mean})

	// Back by two samples: the second of them meets one that was sorted in, too.
	put(time.Minute, 0.6)
	put(2*time.Minute, 0.7)
	got, err = j.ZoneSeries("chilli", start, start.Add(time.Hour), 360)
	require.NoError(t, err)
	require.Len(t, got, 3)
	assert.Equal(t, []float64{0.3, 0.6, 0.7}, []float64{got[0].Mean, got[1].Mean, got[2].Mean})
}

// TestSeriesAreFound by their key, not by reading everybody's samples, nor those of
// other seasons.
func TestSeriesAreFound(t *testing.T) {
	j := open(t, filepath.Join(t.TempDir(), "j.db"))
	plan := func(q string, args ...any) string {
		rows, err := j.read.Query("EXPLAIN QUERY PLAN "+q, args...)
		require.NoError(t, err)
		var plan []string
		for rows.Next() {
			var id, parent, unused int
			var what string
			require.NoError(t, rows.Scan(&id, &parent, &unused, &what))
			plan = append(plan, what)
		}
		require.NoError(t, rows.Close())
		return strings.Join(plan, "\n")
	}
	for view, name := range map[string]string{"all_zones": "zone", "all_samples": "probe"} {
		got := plan(`SELECT min(at_wall), avg(water), count(*) FROM `+view+
			` WHERE `+name+`=(SELECT id FROM names WHERE name=?1) AND at_wall BETWEEN ?2 AND ?3 AND water IS NOT NULL GROUP BY (at_wall-?2)/?4 ORDER BY 1`, "x", 1, 2, 3)
		table := strings.TrimPrefix(view, "all_")
		assert.Contains(t, got, "SEARCH "+table+" USING PRIMARY KEY ("+name+"=? AND at_wall>? AND at_wall<?)")
	}
	got := plan(j.probesQuery(), 1, 2)
	assert.Contains(t, got, "SEARCH samples USING PRIMARY KEY (probe=? AND at_wall>? AND at_wall<?)")
	assert.NotContains(t, got, "SCAN samples")
	assert.NotContains(t, got, "AUTOMATIC")
}

// TestSortedInByParts: however many names there are to a part, and whichever, each
// sample is sorted in once and says what it said before.
func TestSortedInByParts(t *testing.T) {
	for _, names := range []int{1, sortParts - 1, sortParts, sortParts + 1, 3*sortParts + 2} {
		j := open(t, filepath.Join(t.TempDir(), "j.db"))
		var b Batch
		for m := range 20 {
			for i := range names {
				name := strings.Repeat("p", i+1)
				w := 0.2 + float64(m)/1000 + float64(i)/100
				b.Readings = append(b.Readings, garden.Reading{Probe: garden.ProbeID(name), At: at(time.Duration(m) * time.Minute), Volts: 1.5, Water: garden.WaterFraction(w), Quality: garden.Good})
				b.Zones = append(b.Zones, ZoneSample{Zone: garden.ZoneID(name), At: at(time.Duration(m) * time.Minute), Water: garden.Known(w)})
			}
		}
		require.NoError(t, j.AddSamples(b))
		read := func() (all []any) {
			for i := range names {
				name := strings.Repeat("p", i+1)
				probe, err := j.ProbeSeries(garden.ProbeID(name), start, start.Add(time.Hour), 1000)
				require.NoError(t, err)
				zone, err := j.ZoneSeries(garden.ZoneID(name), start, start.Add(time.Hour), 1000)
				require.NoError(t, err)
				course, err := j.ZoneCourse(garden.ZoneID(name), start, start.Add(day), 96)
				require.NoError(t, err)
				require.Len(t, probe, 20)
				all = append(all, probe, zone, course)
			}
			return all
		}
		before := read()
		require.NoError(t, j.sortIn())
		assert.Equal(t, before, read(), "%d names", names)
		assert.Equal(t, [4]int{0, 0, 20 * names, 20 * names}, [4]int{
			count(t, j, "SELECT count(*) FROM recent_samples"), count(t, j, "SELECT count(*) FROM recent_zones"),
			count(t, j, "SELECT count(*) FROM samples"), count(t, j, "SELECT count(*) FROM zones"),
		}, "%d names", names)
		assert.Equal(t, 20*names, count(t, j, "SELECT sum(n) FROM spans WHERE length=900000"))
		require.NoError(t, j.Close())
	}
}
