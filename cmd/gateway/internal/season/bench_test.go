package season

import (
	"context"
	"path/filepath"
	"testing"
	"time"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/garden"
	"fabricpot/sim/terrace"
	"fabricpot/sim/terrace/column"
	"fabricpot/testdata"

	"github.com/stretchr/testify/require"
)

// bareColumns is the baseline: the same twelve soil columns over the same time in
// the same steps, with sinks renewed every ten minutes and a little water a day,
// and nothing around them.
func bareColumns(b *testing.B, g *garden.Garden, minutes int) {
	var cols []*column.Column
	g.EachZone(func(p *garden.Pot, _ *garden.Zone) {
		mix, ok := g.Mix(p.Mix)
		require.True(b, ok)
		soil, err := column.NewSoil(mix.Retention)
		require.NoError(b, err)
		c, err := column.New(column.Config{Soil: soil, HeightCM: p.Shape.HeightCM, MaxPondCM: 3, Solutes: []column.Solute{column.RainTag()}})
		require.NoError(b, err)
		cols = append(cols, c)
	})
	for m := range minutes {
		hour, sun, water := m/60%24, 0.0, 0.0
		if hour >= 6 && hour < 20 {
			sun = 1
		}
		if hour == 6 && m%60 < 10 {
			water = 12.6
		}
		for _, c := range cols {
			if m%10 == 0 {
				c.SetDemand(column.Demand{Transpiration: .12 * sun, Surface: .01 * sun, Wall: .02 * sun, ForHours: 1. / 6})
			}
			c.Step(1./60, 0, water, 0)
		}
	}
}

// BenchmarkSeason runs 1 May to 30 September 2014 for twelve pots at one-minute
// ticks, several ways in one run: the bare soil columns, which are the baseline;
// the terrace with its weather and plants; the whole gateway on it with drivers,
// guard and controller; and that with the journal. Only the ratios mean anything
// on another machine.
func BenchmarkSeason(b *testing.B) {
	g := load(b, "garden12.yaml", testdata.Garden12)
	rows := days(b, "seattle-weather.csv", g.Site.Zone)
	start := time.Date(2014, 5, 1, 0, 0, 0, 0, g.Site.Zone)
	const span = 153
	end := start.AddDate(0, 0, span).Sub(start)
	opts := func() Options {
		return Options{Seed: 1, Start: start, Weather: rows, Terrace: terrace.DefaultOptions(1, nil)}
	}
	var baseline float64
	report := func(b *testing.B) {
		took := float64(b.Elapsed()) / float64(b.N)
		if baseline == 0 {
			baseline = took
		}
		b.ReportMetric(took/baseline, "×columns")
	}
	b.Run("columns", func(b *testing.B) {
		for b.Loop() {
			bareColumns(b, g, int(end/time.Minute))
		}
		report(b)
	})
	b.Run("terrace", func(b *testing.B) {
		for b.Loop() {
			t, err := terrace.New(g, start, terrace.DefaultOptions(1, rows))
			require.NoError(b, err)
			for at := g.SampleEvery; at <= end; at += g.SampleEvery {
				t.Advance(at)
			}
		}
		report(b)
	})
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
