package journal

import (
	"context"
	"errors"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// fill writes a sample a minute of one probe and one zone, half an hour at a time: a
// write has only so much patience, also that which sorts thirty batches in, under the
// race detector and on a busy machine.
func fill(t *testing.T, j *Journal, from, to time.Duration, value func(minute int) float64) {
	t.Helper()
	var b Batch
	for d := from; d < to; d += time.Minute {
		v := value(int(d / time.Minute))
		b.Readings = append(b.Readings, garden.Reading{Probe: "p", At: at(d), Volts: garden.Volts(2 - v), Water: garden.WaterFraction(v), Quality: garden.Good})
		b.Zones = append(b.Zones, ZoneSample{Zone: "chilli", At: at(d), Water: garden.Known(v), Refill: garden.Known(0.3)})
		if len(b.Zones) == 30 {
			require.NoError(t, j.AddSamples(b))
			b = Batch{}
		}
	}
	require.NoError(t, j.AddSamples(b))
}

func count(t *testing.T, j *Journal, q string) (n int) {
	t.Helper()
	require.NoError(t, j.read.QueryRow(q).Scan(&n))
	return n
}

const day = 24 * time.Hour

func TestRetain(t *testing.T) {
	ramp := func(m int) float64 { return float64(m%1440) / 10000 }
	t.Run("minutes, quarters, hours, with their means", func(t *testing.T) {
		j := open(t, filepath.Join(t.TempDir(), "j.db"))
		fill(t, j, 0, 12*day, ramp)
		r := Retention{AsSampled: 2 * day, Quarter: 6 * day}
		// All spans end on whole hours here, as 05:00 lies between two.
		now := at(12*day + time.Hour) // 06:00
		got, err := j.Retain(context.Background(), now, r)
		require.NoError(t, err)
		require.Positive(t, got.Before)
		// 0..6 d +1 h hours, to 10 d +1 h quarters, the rest as sampled.
		hours, quarters, minutes := 6*24+1, 4*24*4, (2*24-1)*60
		assert.Equal(t, hours+quarters+minutes, count(t, j, "SELECT count(*) FROM samples"))
		assert.Equal(t, hours+quarters+minutes, count(t, j, "SELECT count(*) FROM zones"))

		points, err := j.ProbeSeries("p", start, start.Add(time.Hour-1), 1)
		require.NoError(t, err)
		require.Len(t, points, 1)
		assert.InDelta(t, (0+59)/2.0/10000, points[0].Mean, 1e-12, "mean of minutes 0 to 59")
		q, err := j.ZoneSeries("chilli", start.Add(8*day), start.Add(8*day+15*time.Minute-1), 1)
		require.NoError(t, err)
		require.Len(t, q, 1)
		assert.InDelta(t, (0+14)/2.0/10000, q[0].Mean, 1e-12, "mean of minutes 0 to 14 of day 8")
		assert.Equal(t, 1, q[0].N)

		before := count(t, j, "SELECT sum(at_wall) FROM samples")
		got, err = j.Retain(context.Background(), now, r)
		require.NoError(t, err)
		assert.Zero(t, got.Before, "again changes nothing")
		assert.Equal(t, before, count(t, j, "SELECT sum(at_wall) FROM samples"))
	})
	t.Run("a bad reading weighs nothing and is never zero", func(t *testing.T) {
		j := open(t, filepath.Join(t.TempDir(), "j.db"))
		var b Batch
		for i := range 30 {
			r := garden.Reading{Probe: "p", At: at(time.Duration(i) * time.Minute), Volts: 3.3, Fault: garden.OpenCircuit}
			switch i {
			case 3:
				r.Quality, r.Fault, r.Volts, r.Water = garden.Good, 0, 1.5, 0.4
			case 5:
				r.Quality, r.Fault, r.Volts, r.Water = garden.Uncertain, garden.Noisy, 1.7, 0.3
			}
			b.Readings = append(b.Readings, r)
		}
		require.NoError(t, j.AddSamples(b))
		_, err := j.Retain(context.Background(), at(30*day), DefaultRetention())
		require.NoError(t, err)
		type row struct {
			volts   float64
			water   *float64
			quality garden.Quality
			fault   garden.ReadingFault
		}
		var got []row
		rows, err := j.read.Query("SELECT volts,water,quality,fault FROM samples ORDER BY at_wall")
		require.NoError(t, err)
		defer rows.Close()
		for rows.Next() {
			var r row
			require.NoError(t, rows.Scan(&r.volts, &r.water, &r.quality, &r.fault))
			got = append(got, r)
		}
		require.Len(t, got, 2)
		require.NotNil(t, got[0].water)
		assert.InDelta(t, 0.35, *got[0].water, 1e-12)
		assert.InDelta(t, 1.6, got[0].volts, 1e-12)
		assert.Equal(t, garden.Uncertain, got[0].quality, "the worst of what went in")
		assert.Equal(t, garden.Noisy, got[0].fault)
		assert.Nil(t, got[1].water)
		assert.Equal(t, garden.Bad, got[1].quality)
		assert.Equal(t, garden.OpenCircuit, got[1].fault)
	})
	t.Run("an unconfirmed clock thins nothing", func(t *testing.T) {
		j := open(t, filepath.Join(t.TempDir(), "j.db"))
		fill(t, j, 0, day, ramp)
		now := at(20 * 365 * day)
		now.Synced = false
		_, err := j.Retain(context.Background(), now, DefaultRetention())
		require.NoError(t, err)
		assert.Equal(t, 1440, count(t, j, "SELECT count(*) FROM all_samples"))
	})
	t.Run("stopped in the middle it goes on later", func(t *testing.T) {
		j := open(t, filepath.Join(t.TempDir(), "j.db"))
		fill(t, j, 0, 4*day, ramp)
		enough, steps := errors.New("enough"), 0
		r := DefaultRetention()
		r.Pause = func(context.Context) error {
			if steps++; steps == 10 {
				return enough
			}
			return nil
		}
		_, err := j.Retain(context.Background(), at(30*day), r)
		require.ErrorIs(t, err, enough)
		half := count(t, j, "SELECT count(*) FROM samples")
		assert.Less(t, half, 4*1440)
		assert.Greater(t, half, 4*96)
		r.Pause = nil
		_, err = j.Retain(context.Background(), at(30*day), r)
		require.NoError(t, err)
		assert.Equal(t, 4*96, count(t, j, "SELECT count(*) FROM samples"))
	})
	t.Run("nonsense ages", func(t *testing.T) {
		j := open(t, filepath.Join(t.TempDir(), "j.db"))
		_, err := j.Retain(context.Background(), at(0), Retention{AsSampled: day, Quarter: time.Hour})
		require.Error(t, err)
	})
}

// step is what Retain did from one pause to the next.
type step struct {
	took time.Duration
	// rows were inserted, changed or deleted, pages given back.
	rows, pages int
}

// steps runs Retain with an intent written between its steps.
func steps(t *testing.T, j *Journal, now garden.Moment, r Retention, id *garden.OrderID) (all []step, slowest time.Duration) {
	t.Helper()
	// The connection that Retain writes on, which is free while it pauses.
	asked := func(q string) (n int) {
		require.NoError(t, j.easy.QueryRow(q).Scan(&n))
		return n
	}
	look := func() (changes, pages int) { return asked("SELECT total_changes()"), asked("PRAGMA page_count") }
	changes, pages := look()
	last := time.Now()
	r.Pause = func(context.Context) error {
		s := step{took: time.Since(last)}
		c, p := look()
		s.rows, s.pages = c-changes, pages-p
		all = append(all, s)
		*id++
		before := time.Now()
		err := j.Intend(order(*id), 2, now)
		slowest = max(slowest, time.Since(before))
		changes, pages = look()
		last = time.Now()
		return err
	}
	_, err := j.Retain(context.Background(), now, r)
	require.NoError(t, err)
	return all, slowest
}

// TestRetainShrinksWithoutStalling gives pages back while intents are written, each of
// which may have to wait for one step. What a step may do at most is counted. How long
// it may take is told by the others of the same run: what makes a step stall does so in
// each of three rounds, a machine that is busy elsewhere for a moment does not.
func TestRetainShrinksWithoutStalling(t *testing.T) {
	// Two hours of a probe and a zone by the minute, eight quarters of each and eight
	// spans in their place, and the mark.
	const rows = 2*120 + 2*8 + 8 + 1
	const pages = 64
	const stall = 10 // times the step in the middle; 2 to 4 on a quiet machine
	path := filepath.Join(t.TempDir(), "j.db")
	j := open(t, path)
	fill(t, j, 0, 15*day-30*time.Minute, func(int) float64 { return 0.3 })
	before, waiting := count(t, j, "PRAGMA page_count"), count(t, j, "SELECT (SELECT count(*) FROM recent_samples)+(SELECT count(*) FROM recent_zones)")
	require.Positive(t, waiting)
	require.LessOrEqual(t, waiting, 9000, "more is sorted in with the batch")
	id, least, given := garden.OrderID(0), math.Inf(1), 0
	for round := range 3 {
		all, slowest := steps(t, j, at(15*day), Retention{AsSampled: time.Duration(12-3*round) * day, Quarter: 200 * day}, &id)
		require.Greater(t, len(all), 3*12, "three days, two hours in a step")
		// First of all it sorts in what waits, as any batch of samples may do: each row
		// goes from one table to the other, and a zone's into its spans.
		first := all[0]
		assert.Less(t, first.rows, 3*waiting+10, "round %d", round)
		all, waiting = all[1:], 0
		var took []time.Duration
		for i, s := range all {
			assert.LessOrEqual(t, s.rows, rows, "round %d, step %d of %d: an intent has to wait for as long", round, i, len(all))
			assert.LessOrEqual(t, s.pages, pages, "round %d, step %d of %d: an intent has to wait for as long", round, i, len(all))
			given += max(0, s.pages)
			took = append(took, s.took)
		}
		slices.Sort(took)
		middle, longest := took[len(took)/2], took[len(took)-1]
		times := float64(longest) / float64(middle)
		least = min(least, times)
		t.Logf("round %d: %d rows written to sort in, in %v; then %d steps, %v in the middle and %v at most: × %.1f; slowest intent between them %v",
			round, first.rows, first.took, len(took), middle, longest, times, slowest)
	}
	assert.Less(t, least, float64(stall), "an intent may have to wait for one step, and none stalls")
	after := count(t, j, "PRAGMA page_count")
	t.Logf("%d pages before and %d after", before, after)
	assert.Positive(t, given)
	assert.Less(t, after, before*2/3)
	require.NoError(t, j.Close())
	st, err := os.Stat(path)
	require.NoError(t, err)
	assert.Less(t, st.Size(), int64(before)*4096*2/3)
}
