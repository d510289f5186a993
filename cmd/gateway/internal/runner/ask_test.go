package runner_test

import (
	"bytes"
	"testing"
	"time"

	"fabricpot/cmd/gateway/internal/config"
	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/cmd/gateway/internal/season"
	"fabricpot/control/garden"
	"fabricpot/sim/terrace"
	"fabricpot/testdata"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestRequestsThatOpenNothingAreLogged: who reads the log sees why a line stays closed.
// Our own case.
func TestRequestsThatOpenNothingAreLogged(t *testing.T) {
	g, _, err := config.Load("terrace.yaml", testdata.Terrace)
	require.NoError(t, err)
	start := time.Date(2026, 7, 1, 0, 0, 0, 0, g.Site.Zone)
	var log bytes.Buffer
	b, err := season.NewBench(g, season.Options{Seed: 5, Start: start, Weather: season.Climate(5, start, 2), Terrace: terrace.DefaultOptions(5, nil), Tell: runner.NewPrinter(&log)})
	require.NoError(t, err)
	require.NoError(t, b.Begin())
	b.RunTo(30 * time.Minute)
	for _, c := range []struct {
		ask  garden.Ask
		says string
	}{
		{garden.Ask{Kind: garden.AskShut, Zone: "chilli", Until: b.Moment().Add(26 * time.Hour)}, "2026-07-01 00:30:00  chilli           to be kept shut until 2 July 02:30\n"},
		{garden.Ask{Kind: garden.AskRelease}, "2026-07-01 00:30:00  everywhere       to be kept shut no longer\n"},
		{garden.Ask{Kind: garden.AskAutoOff}, "2026-07-01 00:30:00  everywhere       automatic control is turned off\n"},
		{garden.Ask{Kind: garden.AskAutoOn}, "2026-07-01 00:30:00  everywhere       automatic control is turned on\n"},
	} {
		log.Reset()
		b.Loop.Ask(b.Moment(), c.ask)
		assert.Equal(t, c.says, log.String())
	}
	b.End()
}
