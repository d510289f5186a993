package main

import (
	"testing"
	"time"

	"fabricpot/control/garden"
	"fabricpot/valves"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// stalled is an output whose driver never comes back.
type stalled struct{ free chan struct{} }

func (s stalled) Open(valves.Grant) error      { <-s.free; return nil }
func (s stalled) Close() error                 { <-s.free; return nil }
func (s stalled) Closed() (closed, known bool) { return false, false }

// TestEveryOutputHasItsOwner: no output of a board, of a valve, a latch, an injector
// or the pump, is called without a bound on the wait; and one that hangs is told to
// who feeds the watchdog.
func TestEveryOutputHasItsOwner(t *testing.T) {
	g := &garden.Garden{Hardware: garden.Hardware{Kind: garden.Board, GPIOChip: "no such chip"}, Lines: []garden.Line{
		{ID: "coil", Valve: garden.Valve{Kind: garden.PinValve, Pin: 5}},
		{ID: "latch", Valve: garden.Valve{Kind: garden.PinValve, Pin: 6, Latch: &garden.Latch{ClosePin: 7, Pulse: 50 * time.Millisecond}}},
		{ID: "feed", Valve: garden.Valve{Kind: garden.PinValve, Pin: 8}, Injector: garden.Injector{Switched: true, Ratio: 100, Pin: 9}},
		{ID: "far", Valve: garden.Valve{Kind: garden.RemoteValve, Node: "n"}},
	}, Supply: garden.Supply{Pump: garden.Pump{Fitted: true, Pin: 10, MaxRun: time.Minute}}}
	b, err := openLines(g)
	require.NoError(t, err)
	defer b.Close()
	assert.Len(t, b.owned, 5)
	assert.False(t, b.hangs())

	s := stalled{make(chan struct{})}
	a := b.own(s, time.Millisecond)
	require.ErrorIs(t, a.Close(), valves.ErrHangs)
	assert.True(t, b.hangs())
	close(s.free)
	assert.Eventually(t, func() bool { return !b.hangs() }, 5*time.Second, time.Millisecond)
}
