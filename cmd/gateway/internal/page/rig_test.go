package page

import (
	"context"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"fabricpot/cmd/gateway/internal/config"
	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/cmd/gateway/internal/report"
	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/cmd/gateway/internal/season"
	"fabricpot/control"
	"fabricpot/control/garden"
	"fabricpot/testdata"
)

// rig is the example terrace on the virtual bench with a page on it.
type rig struct {
	garden  *garden.Garden
	desk    *runner.Desk
	journal *journal.Journal
	page    *Page
	// live lets that much time pass on the bench, as fast as it can.
	live func(d time.Duration)
	// with does something to the bench between two of its steps.
	with func(f func(b *season.Bench))
}

// newRig lets the terrace live for a while as fast as it can and then at that
// many times real time until the test ends.
func newRig(t testing.TB, lived time.Duration, speed float64, change func(*Options)) *rig {
	t.Helper()
	g, _, err := config.Load("terrace.yaml", testdata.Terrace)
	require.NoError(t, err)
	start := time.Date(2026, 7, 1, 5, 0, 0, 0, g.Site.Zone)
	j, _, err := journal.Open(filepath.Join(t.TempDir(), "journal.db"))
	require.NoError(t, err)
	keeper := runner.NewKeeper(j)
	b, err := season.NewBench(g, season.Options{
		Seed: 7, Start: start, Weather: season.Climate(7, start, 60), Journal: keeper, JournalPath: "journal.db", Watched: true,
	})
	require.NoError(t, err)
	inbox := runner.NewInbox()
	r := &rig{garden: g, desk: runner.NewDesk(b.Loop, inbox), journal: j}
	ctx, cancel := context.WithCancel(context.Background())
	r.live = func(d time.Duration) {
		_ = inbox.Do(ctx, func(garden.Moment) { b.RunTo(b.Clock.Now() + d) })
	}
	r.with = func(f func(*season.Bench)) { _ = inbox.Do(ctx, func(garden.Moment) { f(b) }) }
	var done sync.WaitGroup
	done.Add(1)
	go func() {
		defer done.Done()
		_, _ = b.Paced(ctx, inbox, speed)
	}()
	r.live(lived)
	o := Options{Garden: g, Gateway: r.desk, History: j, Acknowledge: r.desk.Acknowledge,
		Plants: r.desk, Observer: r.desk, Rounds: r.desk.PageRounds(), Version: "test"}
	plan, _, err := control.NewPlan(g)
	require.NoError(t, err)
	o.Season = func(now time.Time) (*report.Book, error) {
		from, to, err := report.Days(j, time.Time{}, time.Time{}, g.Site.Zone)
		if err != nil {
			return nil, err
		}
		return report.Read(j, g, plan, from, to)
	}
	if change != nil {
		change(&o)
	}
	r.page, err = New(o)
	require.NoError(t, err)
	t.Cleanup(func() {
		cancel()
		done.Wait()
		require.NoError(t, keeper.Close())
	})
	return r
}
