package season

import (
	"context"
	"testing"
	"time"

	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/garden"
	"fabricpot/sim/terrace"
	"fabricpot/testdata"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestPacedIsInterrupted: what is asked for while hours of the bench are being
// caught up is done after the reading under way, not after the hours.
func TestPacedIsInterrupted(t *testing.T) {
	g := load(t, "terrace.yaml", testdata.Terrace)
	b, err := NewBench(g, Options{Seed: 1, Start: time.Date(2014, 7, 1, 0, 0, 0, 0, g.Site.Zone),
		Weather: days(t, "seattle-weather.csv", g.Site.Zone), Terrace: terrace.DefaultOptions(1, nil)})
	require.NoError(t, err)
	ctx, stop := context.WithTimeout(t.Context(), time.Minute)
	defer stop()
	inbox := runner.NewInbox()
	const asked = 10 * time.Minute
	served, answered := make(chan time.Duration, 1), make(chan struct{})
	b.Clock.At(asked, func() {
		go func() {
			defer close(answered)
			assert.NoError(t, inbox.Do(ctx, func(now garden.Moment) { served <- now.Mono }))
		}()
		time.Sleep(100 * time.Millisecond) // until it waits in the inbox
	})
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		_, err := b.Paced(ctx, inbox, 1e6) // 20 ms are over five hours
		assert.NoError(t, err)
	}()
	select {
	case at := <-served:
		assert.LessOrEqual(t, at, asked+2*g.SampleEvery)
	case <-ctx.Done():
		t.Error("never served")
	}
	<-answered
	stop()
	<-ended
}
