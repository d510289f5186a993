package main

import (
	"io"
	"strings"
	"testing"
	"time"

	"fabricpot/control/garden"
	"fabricpot/valves"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/gpio/gpiotest"
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
	assert.Eventually(t, func() bool { return !b.hangs() }, 20*time.Second, time.Millisecond)
}

// TestAHungDriverStarvesTheWatchdog: rounds go on beside it, and none of them says so
// until it answers.
func TestAHungDriverStarvesTheWatchdog(t *testing.T) {
	told := 0
	m := newManager(io.Discard, time.Minute)
	m.send = func(string) (bool, error) { told++; return true, nil }
	b := &board{}
	s := stalled{make(chan struct{})}
	a := b.own(s, time.Millisecond)
	b.roundDone(m)
	require.Equal(t, 2, told, "ready, and a round")
	require.ErrorIs(t, a.Close(), valves.ErrHangs)
	b.roundDone(m)
	b.roundDone(m)
	assert.Equal(t, 2, told, "fed while a driver hung")
	close(s.free)
	require.Eventually(t, func() bool { return !b.hangs() }, 20*time.Second, time.Millisecond)
	b.roundDone(m)
	assert.Equal(t, 3, told, "and again when it answers")
}

// TestAHungOutputKeepsNoOtherFromClosing: an output that is never let go of, since
// its driver did not come back, keeps neither the rest of its board nor the next
// garden's lines from being closed, nor anybody from hearing of it.
func TestAHungOutputKeepsNoOtherFromClosing(t *testing.T) {
	never := make(chan struct{})
	defer close(never)
	line := func(id garden.LineID) *garden.Garden {
		return &garden.Garden{Lines: []garden.Line{{ID: id, Valve: garden.Valve{Kind: garden.PinValve}}}}
	}
	hung, sound := line("hung"), line("sound")
	pin := &gpiotest.Pin{N: "sound", L: gpio.High}
	letGo := false
	boards := map[*garden.Garden]*board{
		hung:  {closers: []func() error{func() error { <-never; return nil }, func() error { letGo = true; return nil }}},
		sound: {},
	}
	boards[hung].actuators = map[garden.LineID]valves.Actuator{"hung": boards[hung].own(stalled{never}, time.Millisecond)}
	boards[sound].actuators = map[garden.LineID]valves.Actuator{"sound": valves.NewCoil(pin, false)}
	done := make(chan struct{})
	go func() {
		defer close(done)
		var told strings.Builder
		rep, err := closeBoards([]*garden.Garden{hung, sound}, &told, func(g *garden.Garden) (*board, error) { return boards[g], nil })
		assert.NoError(t, err)
		assert.Equal(t, 2, rep.Lines)
		assert.Equal(t, 1, rep.Closed)
		assert.Equal(t, []garden.LineID{"hung"}, rep.Unconfirmed)
		assert.True(t, letGo, "the board's other outputs")
		assert.Equal(t, gpio.Low, pin.L, "the second garden's line")
		assert.ErrorIs(t, boards[hung].Close(), valves.ErrHangs)
	}()
	select {
	case <-done:
	case <-time.After(20 * time.Second):
		require.Fail(t, "the second garden is never come to")
	}
}
