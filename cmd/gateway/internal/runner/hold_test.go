package runner

import (
	"testing"
	"time"

	"fabricpot/control/feeding"
	"fabricpot/control/garden"
	"fabricpot/valves"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestWaitingReloadHoldsForTwoHours: a reload that is tried again and again holds
// waterings back for two hours from its first try and no longer, and so do several
// that are asked for one after the other; after as long without it begins anew.
func TestWaitingReloadHoldsForTwoHours(t *testing.T) {
	p := newSlowParts(t)
	l := p.loop
	at := func(d time.Duration) garden.Moment {
		return garden.Moment{Mono: d, Wall: time.Date(2031, 6, 1, 0, 0, 0, 0, time.UTC).Add(d), Synced: true}
	}
	require.NoError(t, l.Begin(at(0)))
	line := l.p.Garden.Lines[0]
	_, opened := l.p.Guard.Request(at(10*time.Hour), valves.Env{}, garden.Order{ID: 1, Line: line.ID, Zone: line.Outlets[0].Zone, Litres: 1, MaxOn: time.Hour})
	require.True(t, opened)
	feeds, err := feeding.NewPlan(l.p.Garden, l.p.Plan)
	require.NoError(t, err)
	try := func(d time.Duration) {
		var wait NotNow
		require.ErrorAs(t, l.Reload(at(d), Reloaded{Garden: l.p.Garden, Plan: l.p.Plan, Feeding: feeds}), &wait)
		require.Equal(t, []garden.LineID{line.ID}, wait.Open)
	}
	held := func(d time.Duration) bool { return l.heldBack(at(d), garden.Order{Kind: garden.Irrigate}) }

	start := 10 * time.Hour
	assert.False(t, held(start))
	for d := time.Duration(0); d < 5*time.Hour; d += 10 * time.Minute {
		try(start + d)
		assert.Equal(t, d < mostHold, held(start+d), "%v after the first try", d)
	}
	l.LetGo(at(start + 5*time.Hour))

	// Half an hour, given up, asked again: what is left of the two hours.
	start = 20 * time.Hour
	try(start)
	assert.True(t, held(start+29*time.Minute))
	l.LetGo(at(start + 30*time.Minute))
	assert.False(t, held(start+31*time.Minute))
	try(start + 31*time.Minute)
	assert.True(t, held(start+120*time.Minute))
	assert.False(t, held(start+121*time.Minute), "the same two hours")
	l.LetGo(at(start + 130*time.Minute))
	try(start + 131*time.Minute)
	assert.False(t, held(start+131*time.Minute), "used up")
	l.LetGo(at(start + 132*time.Minute))
	try(start + 132*time.Minute + mostHold)
	assert.True(t, held(start+133*time.Minute+mostHold), "after as long without, anew")
	assert.False(t, l.heldBack(at(start+133*time.Minute+mostHold), garden.Order{Kind: garden.ByHand}), "what a person asks for goes on")
}
