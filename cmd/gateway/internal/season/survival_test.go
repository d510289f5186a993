package season

import (
	"testing"
	"time"

	"fabricpot/control/alarm"
	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestSurvivalDosesReachNoLimit: with automatic control off a pot gets its dose day by
// day; none is asked for before the last has left the guard's day, and nobody is told of
// a line's limit that holds water back.
func TestSurvivalDosesReachNoLimit(t *testing.T) {
	g := load(t, "crash.yaml", []byte(crashGarden))
	e := newEars()
	start := time.Date(2026, 7, 1, 5, 0, 0, 0, g.Site.Zone)
	b, err := NewBench(g, Options{Seed: 5, Start: start, Weather: Climate(3, start, 9), Tell: e})
	require.NoError(t, err)
	require.NoError(t, b.Begin())
	b.Loop.Ask(b.Moment(), garden.Ask{Kind: garden.AskAutoOff, Who: "test"})
	b.RunTo(8 * 24 * time.Hour)
	b.End()
	doses := 0
	for _, d := range e.ended {
		if d.Line == "plain" {
			doses++
			assert.Equal(t, garden.Survival, d.Kind)
		}
	}
	assert.GreaterOrEqual(t, doses, 4)
	assert.Empty(t, e.raised(alarm.CapReached))
}
