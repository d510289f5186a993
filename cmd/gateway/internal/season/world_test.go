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

// TestAWorldBeginsClosed: before a gateway is put into it every output of a world
// was driven closed, once a latch has had its pulse, and none was ever on.
func TestAWorldBeginsClosed(t *testing.T) {
	g := latched(t)
	g.Supply.Pump = garden.Pump{Fitted: true, Pin: 26, MaxRun: time.Hour}
	g.Lines[2].Valve = garden.Valve{Kind: garden.RemoteValve, Node: "far"}
	start := time.Date(2026, 7, 1, 5, 0, 0, 0, g.Site.Zone)
	for _, played := range []bool{true, false} {
		w, rep, err := NewWorld(g, played, Options{Seed: 5, Start: start, Weather: Climate(5, start, 20), Terrace: terrace.DefaultOptions(5, nil)})
		require.NoError(t, err)
		want := len(g.Lines)
		if !played {
			want-- // the broker's
		}
		assert.Equal(t, want, rep.Lines)
		assert.Equal(t, want, rep.Closed)
		assert.Empty(t, rep.Unconfirmed)
		b := w.Bench
		assert.Nil(t, b.Loop)
		assert.Nil(t, b.Plan)
		for i := range g.Lines {
			id := g.Lines[i].ID
			if g.Lines[i].Valve.Kind == garden.RemoteValve && !played {
				continue
			}
			pin := b.Wires.Pin(id)
			assert.NotEmpty(t, pin.History(), "%s was never driven", id)
			for _, e := range pin.History() {
				assert.False(t, e.Energised, "%s was opened", id)
			}
			if l := b.Wires.LatchOf(id); l != nil {
				pulsed := false
				for _, e := range l.ClosePin().History() {
					pulsed = pulsed || e.Energised
				}
				assert.True(t, pulsed, "%s had no closing pulse", id)
				assert.False(t, l.ClosePin().Energised(), "%s: its coil was left on", id)
			}
			if dose := b.Wires.InjectorPin(id); dose != nil {
				assert.NotEmpty(t, dose.History(), "the injector of %s was never driven", id)
				assert.False(t, dose.Energised())
			}
		}
		assert.NotEmpty(t, b.Wires.PumpPin().History(), "the pump was never driven")
		assert.False(t, b.Wires.PumpPin().Energised())
	}
}

// TestAWorldFirstIsTheSameBench: what a bench does is the same whether its world was
// made before its gateway or with it.
func TestAWorldFirstIsTheSameBench(t *testing.T) {
	g := load(t, "terrace.yaml", testdata.Terrace)
	start := time.Date(2026, 7, 1, 5, 0, 0, 0, g.Site.Zone)
	o := terrace.DefaultOptions(5, nil)
	o.StartSuctionCM = 18
	options := Options{Seed: 5, Start: start, Weather: Climate(5, start, 20), Terrace: o}
	given := func(world *Bench) Result {
		options := options
		options.World = world
		b, err := NewBench(g, options)
		require.NoError(t, err)
		require.NoError(t, b.Begin())
		b.RunTo(3 * 24 * time.Hour)
		require.Empty(t, b.End().Unconfirmed)
		return b.Result(3)
	}
	w, _, err := NewWorld(g, true, options)
	require.NoError(t, err)
	with := given(nil)
	pulses := 0
	for _, z := range with.Zones {
		pulses += z.Pulses
	}
	require.Positive(t, pulses)
	assert.Equal(t, with, given(w.Bench))
}
