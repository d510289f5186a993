package journal

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// fill writes a sample a minute of one probe and one zone, half a day at a time
// as a write has only so much patience.
func fill(t *testing.T, j *Journal, from, to time.Duration, value func(minute int) float64) {
	t.Helper()
	var b Batch
	for d := from; d < to; d += time.Minute {
		v := value(int(d / time.Minute))
		b.Readings = append(b.Readings, garden.Reading{Probe: "p", At: at(d), Volts: garden.Volts(2 - v), Water: garden.WaterFraction(v), Quality: garden.Good})
		b.Zones = append(b.Zones, ZoneSample{Zone: "chilli", At: at(d), Water: garden.Known(v), Refill: garden.Known(0.3)})
		if len(b.Zones) == 720 {
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

// TestRetainShrinksWithoutStalling gives pages back while intents are written.
func TestRetainShrinksWithoutStalling(t *testing.T) {
	path := filepath.Join(t.TempDir(), "j.db")
	j := open(t, path)
	for d := range 40 {
		fill(t, j, time.Duration(d)*day, time.Duration(d+1)*day, func(m int) float64 { return 0.3 })
	}
	pages := count(t, j, "PRAGMA page_count")
	var worst time.Duration
	id := garden.OrderID(0)
	r := DefaultRetention()
	r.Pause = func(context.Context) error {
		id++
		before := time.Now()
		err := j.Intend(order(id), 2, at(40*day))
		worst = max(worst, time.Since(before))
		return err
	}
	held, last := time.Duration(0), time.Now()
	inner := r.Pause
	r.Pause = func(ctx context.Context) error {
		held = max(held, time.Since(last))
		err := inner(ctx)
		last = time.Now()
		return err
	}
	got, err := j.Retain(context.Background(), at(41*day), r)
	require.NoError(t, err)
	t.Logf("%+v, %d pages before and %d after; longest step %v, slowest intent between steps %v", got, pages, count(t, j, "PRAGMA page_count"), held, worst)
	assert.Positive(t, got.Pages)
	assert.Less(t, count(t, j, "PRAGMA page_count"), pages*2/3)
	assert.Less(t, held, time.Second, "an intent may have to wait for one step")
	require.NoError(t, j.Close())
	st, err := os.Stat(path)
	require.NoError(t, err)
	assert.Less(t, st.Size(), int64(pages)*4096*2/3)
}
