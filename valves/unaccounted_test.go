package valves

import (
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestUnaccounted: where nobody knows what was given, a line gives its survival dose in
// the day that follows, whoever asks for more and however often the gateway starts, on
// this clock or another; then its cap holds again. What is known counts against the dose.
func TestUnaccounted(t *testing.T) {
	const line = garden.LineID("chilli")
	start := func() *rig {
		return newRig(t, func(g *garden.Garden, _ *Options) { *g = *withCap(line, 10) })
	}
	hours := func(h float64) garden.Moment { return at(time.Duration(h * float64(time.Hour))) }
	status := func(r *rig, h float64) Status {
		lines, _ := r.Guard.Snapshot(hours(h))
		for _, s := range lines {
			if s.Line == line {
				return s
			}
		}
		t.Fatal("no line")
		return Status{}
	}

	r := start()
	dose := status(r, 0).DoseL
	require.Less(t, dose, 10.0)
	r.Guard.Unaccounted(hours(0))
	assert.Equal(t, dose, status(r, 0).CapL)
	kept, err := r.Guard.Limits()
	require.NoError(t, err)

	for _, sameClock := range []bool{true, false} {
		again := start()
		require.NoError(t, again.Guard.Recall(hours(5), kept, sameClock))
		assert.Equal(t, dose, status(again, 5).CapL, "a start later in the day, same clock: %v", sameClock)
		assert.Equal(t, dose, status(again, 23.9).CapL)
		assert.Equal(t, 10.0, status(again, 29).CapL)
	}
	assert.Equal(t, dose, status(r, 23.9).CapL)
	assert.Equal(t, 10.0, status(r, 24).CapL)

	t.Run("another garden file loosens nothing", func(t *testing.T) {
		r := start()
		r.Guard.Unaccounted(hours(0))
		require.NoError(t, r.Guard.Reload(hours(1), withCap(line, 20), Options{PeakNeedL: map[garden.LineID]float64{"chilli": 4, "chard": 4, "both": 8}}))
		assert.Equal(t, dose, status(r, 23).CapL)
	})
	t.Run("what is known counts", func(t *testing.T) {
		r := start()
		r.Guard.CloseAll(hours(0))
		given := garden.Delivery{Order: 1, Line: line, Litres: dose + 1, OpenedAt: hours(-3), ClosedAt: hours(-2)}
		r.Guard.Restore(hours(0), 0, nil, []garden.PastDelivery{{Delivery: given, SameClock: true}})
		r.Guard.Unaccounted(hours(0))
		refused, opened := r.Guard.Request(hours(12), Env{}, garden.Order{ID: 2, Line: line, Litres: 1, MaxOn: time.Hour, Kind: garden.Survival})
		assert.False(t, opened)
		assert.Equal(t, garden.CapReached, refused.Cause)
	})
	t.Run("by hand too", func(t *testing.T) {
		r := start()
		r.Guard.CloseAll(hours(0))
		r.Guard.Unaccounted(hours(0))
		_, opened := r.Guard.Request(hours(1), Env{}, garden.Order{ID: 1, Line: line, Litres: 9, MaxOn: 4 * time.Hour, Kind: garden.ByHand})
		require.True(t, opened)
		var got float64
		for ends, any := r.Guard.NextDeadline(); any; ends, any = r.Guard.NextDeadline() {
			for _, d := range r.Guard.Advance(at(ends)) {
				got += d.Litres
			}
		}
		assert.InDelta(t, dose, got, 1e-6)
		_, opened = r.Guard.Request(hours(8), Env{}, garden.Order{ID: 2, Line: line, Litres: 1, MaxOn: time.Hour, Kind: garden.Survival})
		assert.False(t, opened)
	})
}
