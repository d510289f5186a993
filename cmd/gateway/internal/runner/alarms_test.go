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
	"fabricpot/sim/terrace"
	"fabricpot/testdata"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestAlarmsOutliveARestart: on one journal, what was seen in one run is seen in
// the next, is not raised again there, and what is out of service stays so.
func TestAlarmsOutliveARestart(t *testing.T) {
	g, _, err := config.Load("terrace.yaml", testdata.Terrace)
	require.NoError(t, err)
	file := filepath.Join(t.TempDir(), "journal.db")
	start := time.Date(2026, 7, 1, 0, 0, 0, 0, g.Site.Zone)
	run := func(from time.Time, during func(*season.Bench, func(func(*runner.Desk) error))) {
		j, _, err := journal.Open(file)
		require.NoError(t, err)
		keeper := runner.NewKeeper(j)
		defer func() { require.NoError(t, keeper.Close()) }()
		b, err := season.NewBench(g, season.Options{Seed: 5, Start: from, Weather: season.Climate(5, from, 5), Watched: true,
			Terrace: terrace.DefaultOptions(5, nil), Journal: keeper, History: j})
		require.NoError(t, err)
		require.NoError(t, b.Begin())
		b.RunTo(30 * time.Minute)
		during(b, func(f func(*runner.Desk) error) {
			in, done := runner.NewInbox(), make(chan error, 1)
			go func() { done <- f(runner.NewDesk(b.Loop, in)) }()
			in.Serve(<-in.Next(), b.Moment())
			require.NoError(t, <-done)
		})
		b.RunTo(time.Hour)
		b.End()
	}
	find := func(b *season.Bench, name string) *runner.AlarmLine {
		for _, a := range b.Loop.Status().Alarms {
			if a.Name == name {
				return &a
			}
		}
		return nil
	}
	const off = "automatic control is off"
	var since time.Time
	ctx := context.Background()
	run(start, func(b *season.Bench, desk func(func(*runner.Desk) error)) {
		desk(func(d *runner.Desk) error { return d.Automatic(ctx, false, "test") })
		b.RunTo(50 * time.Minute)
		require.NotNil(t, find(b, off))
		since = find(b, off).Since
		desk(func(d *runner.Desk) error { return d.Acknowledge(ctx, off, "", "test") })
		desk(func(d *runner.Desk) error { return d.Rest(ctx, "tank low", "", 5*time.Hour, "test") })
	})
	run(start.Add(2*time.Hour), func(b *season.Bench, desk func(func(*runner.Desk) error)) {
		a := find(b, off)
		require.NotNil(t, a)
		assert.Equal(t, "acknowledged", a.State)
		assert.True(t, since.Equal(a.Since), "since %v, not %v", since, a.Since)
		out := find(b, "tank low")
		require.NotNil(t, out)
		assert.Equal(t, "out of service", out.State)
		desk(func(d *runner.Desk) error { return d.Rest(ctx, "tank low", "", 0, "test") })
		assert.Nil(t, find(b, "tank low"))
	})
	j, _, err := journal.Open(file)
	require.NoError(t, err)
	defer j.Close()
	events, err := j.Alarms(start, 100)
	require.NoError(t, err)
	raised := 0
	for _, e := range events {
		if e.Kind == off && e.Event == "raised" {
			raised++
		}
		if e.Event == "acknowledged" {
			assert.Equal(t, "test", e.Who)
		}
	}
	assert.Equal(t, 1, raised)
}
