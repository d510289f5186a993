package season

import (
	"testing"
	"time"

	"fabricpot/control/garden"
	"fabricpot/sim/terrace"
	"fabricpot/testdata"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// latched is the example terrace whose first lines have latching valves, one of
// them on a board that energises on low.
func latched(t *testing.T) *garden.Garden {
	g := load(t, "terrace.yaml", testdata.Terrace)
	for i := range 2 {
		g.Lines[i].Valve.Latch = &garden.Latch{ClosePin: 60 + i, Pulse: 50 * time.Millisecond}
	}
	g.Lines[1].Valve.ActiveLow = true
	return g
}

func latchBench(t *testing.T, g *garden.Garden) *Bench {
	start := time.Date(2026, 7, 1, 5, 0, 0, 0, g.Site.Zone)
	o := terrace.DefaultOptions(5, nil)
	o.StartSuctionCM = 18
	b, err := NewBench(g, Options{Seed: 5, Start: start, Weather: Climate(5, start, 20), Terrace: o, Watched: true})
	require.NoError(t, err)
	require.NoError(t, b.Begin())
	return b
}

// TestLatchingValvesWater keeps pots by pulses: each opening is closed, no current
// flows in between, and no two outputs are ever on.
func TestLatchingValvesWater(t *testing.T) {
	g := latched(t)
	b := latchBench(t, g)
	for i := range 2 {
		for _, e := range b.Wires.Pin(g.Lines[i].ID).History() {
			require.False(t, e.Energised, "%s was opened by its start", g.Lines[i].ID)
		}
	}
	b.RunTo(3 * 24 * time.Hour)
	for i := range 2 {
		id := g.Lines[i].ID
		l := b.Wires.LatchOf(id)
		require.NotNil(t, l)
		assert.False(t, l.Shorted(), id)
		assert.False(t, l.OpenPin().Energised() || l.ClosePin().Energised(), "%s: a coil left on", id)
		opened := 0
		for _, e := range l.OpenPin().History() {
			if e.Energised {
				opened++
			}
		}
		assert.Positive(t, opened, "%s was never opened", id)
		var on time.Duration
		for _, e := range append(l.OpenPin().History(), l.ClosePin().History()...) {
			if e.Energised {
				on = e.At
			} else if on > 0 {
				assert.LessOrEqual(t, e.At-on, 60*time.Millisecond, "%s: a pulse", id)
				on = 0
			}
		}
	}
	assert.Positive(t, b.Terrace.MeterLitres(), "water went through")
	rep := b.End()
	assert.Empty(t, rep.Unconfirmed)
	for i := range 2 {
		assert.False(t, b.Wires.Pin(g.Lines[i].ID).Flowing())
	}
}

// TestWornCapacitor: where four of five pulses move nothing the valve is open for
// longer than it was told, and the repeated pulses close it all the same.
func TestWornCapacitor(t *testing.T) {
	g := latched(t)
	b := latchBench(t, g)
	id := g.Lines[0].ID
	pin, l := b.Wires.Pin(id), b.Wires.LatchOf(id)
	for !pin.Flowing() {
		require.Less(t, b.Clock.Now(), 48*time.Hour)
		b.RunTo(b.Clock.Now() + time.Minute)
	}
	l.Weaken(1)
	for {
		open, _ := b.Guard.AllShut()
		if len(open) == 0 {
			break
		}
		b.RunTo(b.Clock.Now() + time.Minute)
	}
	require.True(t, pin.Flowing(), "the close moved nothing, and nobody was told")
	require.Positive(t, l.Missed())
	l.Weaken(0.8)
	told := b.Clock.Now()
	for pin.Flowing() {
		b.RunTo(b.Clock.Now() + time.Minute)
		require.Less(t, b.Clock.Now()-told, 24*time.Hour)
	}
	t.Logf("closed %v later, %d pulses missed", b.Clock.Now()-told, l.Missed())
	l.Weaken(0)
	b.End()
	assert.False(t, pin.Flowing())
}

// TestLatchStaysOpenWithoutPower, which is why it needs another valve before it;
// the next start closes it before anything else.
func TestLatchStaysOpenWithoutPower(t *testing.T) {
	g := latched(t)
	b := latchBench(t, g)
	id := g.Lines[0].ID
	for !b.Wires.Pin(id).Flowing() {
		require.Less(t, b.Clock.Now(), 48*time.Hour)
		b.RunTo(b.Clock.Now() + time.Minute)
	}
	b.Die(true)
	require.True(t, b.Wires.Pin(id).Flowing())
	for _, other := range g.Lines[2:] {
		assert.False(t, b.Wires.Pin(other.ID).Flowing(), other.ID)
	}
	start := time.Date(2026, 7, 1, 5, 0, 0, 0, g.Site.Zone)
	next, err := NewBench(g, Options{Seed: 5, Start: start, Weather: Climate(5, start, 20), World: b})
	require.NoError(t, err)
	require.NoError(t, next.Begin())
	assert.False(t, next.Wires.Pin(id).Flowing(), "closed before anything else")
	next.End()
}
