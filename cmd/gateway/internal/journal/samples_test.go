package journal

import (
	"math"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestSamples(t *testing.T) {
	j := open(t, filepath.Join(t.TempDir(), "j.db"))
	var b Batch
	for i := range 600 {
		m := at(time.Duration(i) * time.Minute)
		b.Zones = append(b.Zones, ZoneSample{Zone: "chilli", At: m, Water: garden.Known(float64(i) / 1000), Refill: garden.Known(0.35)})
		b.Readings = append(b.Readings,
			garden.Reading{Probe: "p1", At: m, Volts: 1.5, Water: garden.WaterFraction(float64(i) / 1000), Quality: garden.Good},
			garden.Reading{Probe: "p2", At: m, Volts: 3.3, Water: 0, Quality: garden.Bad, Fault: garden.OpenCircuit},
			garden.Reading{Probe: "p3", At: m, Volts: garden.Volts(math.NaN()), Water: garden.WaterFraction(math.NaN()), Quality: garden.Uncertain})
	}
	require.NoError(t, j.AddSamples(b))
	require.NoError(t, j.AddSamples(b), "the same samples again change nothing")

	t.Run("downsampled to spans with mean and extremes", func(t *testing.T) {
		got, err := j.ZoneSeries("chilli", start, start.Add(599*time.Minute), 60)
		require.NoError(t, err)
		require.LessOrEqual(t, len(got), 60)
		n := 0
		for i, p := range got {
			n += p.N
			assert.LessOrEqual(t, p.Min, p.Mean)
			assert.LessOrEqual(t, p.Mean, p.Max)
			assert.Equal(t, garden.Known(0.35), p.Refill)
			if i > 0 {
				assert.True(t, p.At.After(got[i-1].At))
			}
		}
		assert.Equal(t, 600, n)
		// The first span is minutes 0 to 9: mean of 0..9 thousandths.
		assert.InDelta(t, 0.0045, got[0].Mean, 1e-12)
		assert.Equal(t, 0.009, got[0].Max)
	})
	t.Run("a bad reading is absent, never zero", func(t *testing.T) {
		for p, want := range map[garden.ProbeID]int{"p1": 600, "p2": 0, "p3": 0, "no-such": 0} {
			got, err := j.ProbeSeries(p, start, start.Add(24*time.Hour), 10)
			require.NoError(t, err)
			n := 0
			for _, x := range got {
				n += x.N
			}
			assert.Equal(t, want, n, p)
		}
	})
	t.Run("nonsense spans are empty", func(t *testing.T) {
		for _, points := range []int{0, -1, 5} {
			got, err := j.ZoneSeries("chilli", start.Add(time.Hour), start, points)
			require.NoError(t, err)
			assert.Empty(t, got)
		}
	})
}

func TestReadWhileWriting(t *testing.T) {
	j := open(t, filepath.Join(t.TempDir(), "j.db"))
	var wg sync.WaitGroup
	fail := make(chan error, 4)
	for w := range 2 {
		wg.Go(func() {
			for i := range 50 {
				id := garden.OrderID(w*1000 + i + 1)
				if err := j.Intend(order(id), 2, at(0)); err != nil {
					fail <- err
					return
				}
				if err := j.Settle(delivery(id, 0)); err != nil {
					fail <- err
					return
				}
				if err := j.AddSamples(Batch{Zones: []ZoneSample{{Zone: "chilli", At: at(time.Duration(i) * time.Second), Water: garden.Known(0.4)}}}); err != nil {
					fail <- err
					return
				}
			}
		})
		wg.Go(func() {
			for range 50 {
				if _, err := j.ZoneSeries("chilli", start, start.Add(time.Hour), 10); err != nil {
					fail <- err
					return
				}
				if _, err := j.Unfinished(); err != nil {
					fail <- err
					return
				}
			}
		})
	}
	wg.Wait()
	close(fail)
	for err := range fail {
		require.NoError(t, err)
	}
	past, err := j.DeliveriesSince(start)
	require.NoError(t, err)
	assert.Len(t, past, 100)
	u, err := j.Unfinished()
	require.NoError(t, err)
	assert.Empty(t, u)
}

func BenchmarkSamples(b *testing.B) {
	j, _, err := Open(filepath.Join(b.TempDir(), "j.db"))
	require.NoError(b, err)
	defer j.Close()
	batch := Batch{}
	for range 16 {
		batch.Readings = append(batch.Readings, garden.Reading{Probe: "p", Quality: garden.Good, Water: 0.4})
	}
	i := 0
	for b.Loop() {
		i++
		for k := range batch.Readings {
			batch.Readings[k].At = at(time.Duration(i*16+k) * time.Second)
		}
		if err := j.AddSamples(batch); err != nil {
			b.Fatal(err)
		}
	}
}
