package runner_test

import (
	"context"
	"path/filepath"
	"testing"
	"time"

	"fabricpot/cmd/gateway/internal/config"
	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/cmd/gateway/internal/season"
	"fabricpot/control"
	"fabricpot/control/garden"
	"fabricpot/sim/terrace"
	"fabricpot/testdata"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Two runs on one journal: the second knows what the first learnt and what was
// done to the plants.
func TestTheJournalCarriesWhatWasLearntOverARestart(t *testing.T) {
	g, _, err := config.Load("terrace.yaml", testdata.Terrace)
	require.NoError(t, err)
	file := filepath.Join(t.TempDir(), "journal.db")
	start := time.Date(2026, 7, 1, 0, 0, 0, 0, g.Site.Zone)
	run := func(from time.Time, days int, during func(b *season.Bench, in *runner.Inbox)) *season.Bench {
		j, _, err := journal.Open(file)
		require.NoError(t, err)
		keeper := runner.NewKeeper(j)
		defer func() { require.NoError(t, keeper.Close()) }()
		b, err := season.NewBench(g, season.Options{Seed: 5, Start: from, Weather: season.Climate(5, from, days+4),
			Terrace: terrace.DefaultOptions(5, nil), Journal: keeper, History: j})
		require.NoError(t, err)
		require.NoError(t, b.Begin())
		during(b, runner.NewInbox())
		b.RunTo(time.Duration(days) * 24 * time.Hour)
		b.End()
		return b
	}
	plant := func(b *season.Bench, e garden.PlantEvent) error {
		in := runner.NewInbox()
		done := make(chan error, 1)
		go func() {
			_, err := runner.NewDesk(b.Loop, in).Plant(context.Background(), e, "test")
			done <- err
		}()
		in.Serve(<-in.Next(), b.Moment())
		return <-done
	}
	first := run(start, 9, func(b *season.Bench, _ *runner.Inbox) {
		require.Error(t, plant(b, garden.PlantEvent{Kind: garden.Pruned, Zone: "chilli", Crop: "leek", Share: 0.5}))
		require.Error(t, plant(b, garden.PlantEvent{Kind: garden.Pulled, Zone: "chilli", On: start.AddDate(1, 0, 0)}))
		require.NoError(t, plant(b, garden.PlantEvent{Kind: garden.Moved, Zone: "chilli", Exposure: garden.WindyPaved}))
	})
	then := first.Plan.View(first.State, first.Moment(), nil)

	run(start.AddDate(0, 0, 9).Add(time.Hour), 1, func(b *season.Bench, _ *runner.Inbox) {
		b.RunTo(10 * time.Minute)
		now := b.Plan.View(b.State, b.Moment(), nil)
		for i, v := range now {
			assert.InDelta(t, then[i].Factor, v.Factor, 0.02, "%s: factor", v.Zone)
			assert.NotEqual(t, 1.0, v.Factor, "%s", v.Zone)
		}
		// Against another pot the day's weather drops out; unmoved, the chilli would
		// lose 1.4 times less.
		book := func(vs []control.ZoneView, zone garden.ZoneID) float64 {
			for _, v := range vs {
				if v.Zone == zone {
					return v.LossTodayL / v.Factor
				}
			}
			return 0
		}
		assert.InEpsilon(t, book(then, "chilli")/book(then, "aubergine"), book(now, "chilli")/book(now, "aubergine"), 0.02, "the move is remembered")
	})
}
