package season

import (
	"context"
	"path/filepath"
	"testing"
	"time"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/sim/terrace"
	"fabricpot/testdata"

	"github.com/stretchr/testify/require"
)

// BenchmarkSeason runs 1 May to 30 September 2014 for twelve pots at one-minute
// ticks three ways in one run: the bare soil columns, which are the baseline;
// the whole gateway with drivers, guard and controller; and that with the
// journal. Only the ratios mean anything on another machine.
func BenchmarkSeason(b *testing.B) {
	g := load(b, "garden12.yaml", testdata.Garden12)
	rows := days(b, "seattle-weather.csv", g.Site.Zone)
	start := time.Date(2014, 5, 1, 0, 0, 0, 0, g.Site.Zone)
	const span = 153
	end := start.AddDate(0, 0, span).Sub(start)
	opts := func() Options {
		return Options{Seed: 1, Start: start, Weather: rows, Terrace: terrace.DefaultOptions(1, nil)}
	}
	var baseline time.Duration
	b.Run("columns", func(b *testing.B) {
		for b.Loop() {
			o := terrace.DefaultOptions(1, rows)
			t, err := terrace.New(g, start, o)
			require.NoError(b, err)
			for at := g.SampleEvery; at <= end; at += g.SampleEvery {
				t.Advance(at)
			}
		}
		baseline = b.Elapsed() / time.Duration(b.N)
	})
	report := func(b *testing.B) {
		b.ReportMetric(float64(b.Elapsed())/float64(b.N)/float64(baseline), "×columns")
	}
	b.Run("gateway", func(b *testing.B) {
		for b.Loop() {
			bench, err := NewBench(g, opts())
			require.NoError(b, err)
			_, err = bench.Season(context.Background(), span, nil)
			require.NoError(b, err)
		}
		report(b)
	})
	b.Run("gateway+journal", func(b *testing.B) {
		for b.Loop() {
			j, _, err := journal.Open(filepath.Join(b.TempDir(), "journal.db"))
			require.NoError(b, err)
			keeper := runner.NewKeeper(j)
			o := opts()
			o.Journal = keeper
			bench, err := NewBench(g, o)
			require.NoError(b, err)
			_, err = bench.Season(context.Background(), span, nil)
			require.NoError(b, err)
			require.NoError(b, keeper.Close())
		}
		report(b)
	})
}
