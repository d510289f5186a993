package valves

import (
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestStubbornValve(t *testing.T) {
	t.Run("a close that fails is repeated until confirmed", func(t *testing.T) {
		r := newRig(t, nil)
		v := r.valves["chilli"]
		_, ok := r.Request(at(2*time.Hour), Env{}, r.order("chilli", 2, time.Hour))
		require.True(t, ok)
		v.failCloses = 7
		now := 2*time.Hour + 15*time.Minute
		assert.Empty(t, r.Advance(at(now)))
		st, _ := r.Snapshot(at(now))
		assert.False(t, st[0].Confirmed)
		assert.Equal(t, 1, st[0].Attempts)
		require.Error(t, st[0].Err)
		assert.Equal(t, []garden.LineID{"chilli"}, r.Unconfirmed())
		ref, ok := r.Request(at(now), Env{}, r.order("chilli", 2, time.Hour))
		assert.False(t, ok)
		assert.Equal(t, garden.NotConfirmed, ref.Cause)

		var got []garden.Delivery
		for i := 0; len(got) == 0; i++ {
			require.Less(t, i, 50)
			next, any := r.NextDeadline()
			require.True(t, any)
			require.Greater(t, next, now, "the event clock must get on")
			now = next
			got = r.Advance(at(now))
		}
		assert.Equal(t, garden.Faulted, got[0].End)
		assert.Greater(t, got[0].Litres, 2.0, "what ran until it was confirmed counts")
		assert.Empty(t, r.Unconfirmed())
		assert.False(t, v.open)
		st, _ = r.Snapshot(at(now))
		assert.Equal(t, 7, st[0].Failures)
		assert.NoError(t, st[0].Err)
	})
	t.Run("taken but not confirmed", func(t *testing.T) {
		r := newRig(t, nil)
		_, ok := r.Request(at(2*time.Hour), Env{}, r.order("chilli", 2, time.Hour))
		require.True(t, ok)
		v := r.valves["chilli"]
		v.deaf = 1
		now := 2*time.Hour + 15*time.Minute
		assert.Empty(t, r.Advance(at(now)))
		// It confirms by itself, before the close is repeated.
		v.known = true
		closes := v.closes
		got := r.Advance(at(now + time.Millisecond))
		require.Len(t, got, 1)
		assert.Equal(t, closes, v.closes)
		assert.Equal(t, garden.Complete, got[0].End)
	})
	t.Run("a driver that panics", func(t *testing.T) {
		r := newRig(t, nil)
		_, ok := r.Request(at(2*time.Hour), Env{}, r.order("chilli", 2, time.Hour))
		require.True(t, ok)
		r.valves["chilli"].panics = 1
		now := 2*time.Hour + 15*time.Minute
		assert.Empty(t, r.Advance(at(now)))
		assert.Len(t, r.Advance(at(now+time.Second)), 1)
	})
	t.Run("an open that fails is closed at once", func(t *testing.T) {
		r := newRig(t, nil)
		v := r.valves["chilli"]
		v.failOpens = 1
		ref, ok := r.Request(at(2*time.Hour), Env{}, r.order("chilli", 2, time.Hour))
		assert.False(t, ok)
		assert.Equal(t, garden.DeviceFault, ref.Cause)
		assert.False(t, v.open)
		assert.Equal(t, garden.Faulted, r.ledger.settled[1].End, "its intent is settled")
	})
	t.Run("what may still run counts against the supply", func(t *testing.T) {
		r := newRig(t, func(g *garden.Garden, _ *Options) { g.Supply.FlowLPH = 8 })
		_, ok := r.Request(at(2*time.Hour), Env{}, r.order("chilli", 2, time.Hour))
		require.True(t, ok)
		r.valves["chilli"].failCloses = 100
		r.Advance(at(3 * time.Hour))
		ref, ok := r.Request(at(3*time.Hour), Env{}, r.order("chard", 2, time.Hour))
		assert.False(t, ok)
		assert.Equal(t, garden.SupplyBusy, ref.Cause)
	})
}

func TestCutOff(t *testing.T) {
	t.Run("CloseEverything needs no lock and refuses until CloseAll", func(t *testing.T) {
		r := newRig(t, nil)
		_, ok := r.Request(at(2*time.Hour), Env{}, r.order("chilli", 2, time.Hour))
		require.True(t, ok)
		r.mu.Lock() // as a goroutine that panicked might have left it
		require.NoError(t, r.CloseEverything())
		r.mu.Unlock()
		assert.False(t, r.valves["chilli"].open)
		ref, ok := r.Request(at(2*time.Hour+time.Minute), Env{}, r.order("chard", 2, time.Hour))
		assert.False(t, ok)
		assert.Equal(t, garden.NotConfirmed, ref.Cause)
		got := r.CloseAll(at(2*time.Hour + 2*time.Minute))
		require.Len(t, got, 1)
		assert.Equal(t, garden.Faulted, got[0].End)
		_, ok = r.Request(at(2*time.Hour+3*time.Minute), Env{}, r.order("chard", 2, time.Hour))
		assert.True(t, ok)
	})
	t.Run("one line that fails keeps none of the others open", func(t *testing.T) {
		r := newRig(t, nil)
		for _, l := range []garden.LineID{"chilli", "chard"} {
			_, ok := r.Request(at(2*time.Hour), Env{}, r.order(l, 2, time.Hour))
			require.True(t, ok)
		}
		r.valves["chilli"].panics = 1
		require.Error(t, r.CloseEverything())
		assert.False(t, r.valves["chard"].open)
	})
	t.Run("CloseEverything in the middle of an intent", func(t *testing.T) {
		r := newRig(t, nil)
		r.ledger.during = func() { _ = r.CloseEverything() }
		_, ok := r.Request(at(2*time.Hour), Env{}, r.order("chilli", 2, time.Hour))
		assert.False(t, ok)
		assert.False(t, r.valves["chilli"].open)
	})
	for name, during := range map[string]func(*rig){
		"Stop":     func(r *rig) { r.Stop(at(2*time.Hour), "chilli") },
		"KeepShut": func(r *rig) { r.KeepShut(at(2*time.Hour), "chilli", 5*time.Hour) },
		"CloseAll": func(r *rig) { r.closeAll(at(2 * time.Hour)) },
	} {
		t.Run(name+" in the middle of an intent", func(t *testing.T) {
			r := newRig(t, nil)
			r.ledger.during = func() { during(r) }
			_, ok := r.Request(at(2*time.Hour), Env{}, r.order("chilli", 2, time.Hour))
			assert.False(t, ok)
			assert.NotContains(t, *r.log, "open chilli")
			assert.Zero(t, r.ledger.settled[1].Litres)
			assert.Contains(t, r.ledger.settled, garden.OrderID(1), "the intent does not stay unfinished")
		})
	}
	t.Run("Advance goes on while the card writes", func(t *testing.T) {
		r := newRig(t, nil)
		_, ok := r.Request(at(2*time.Hour), Env{}, r.order("chilli", 2, time.Hour))
		require.True(t, ok)
		r.ledger.during = func() {
			assert.Len(t, r.Advance(at(2*time.Hour+15*time.Minute)), 1)
		}
		_, ok = r.Request(at(2*time.Hour+14*time.Minute), Env{}, r.order("chard", 2, time.Hour))
		require.True(t, ok)
	})
	t.Run("a sealed guard opens nothing any more", func(t *testing.T) {
		r := newRig(t, nil)
		_, ok := r.Request(at(2*time.Hour), Env{}, r.order("chilli", 2, time.Hour))
		require.True(t, ok)
		got := r.Seal(at(2*time.Hour + 3*time.Minute))
		require.Len(t, got, 1)
		assert.Equal(t, garden.Stopped, got[0].End)
		assert.Contains(t, r.ledger.settled, garden.OrderID(1))
		r.CloseAll(at(3 * time.Hour))
		_, ok = r.Request(at(4*time.Hour), Env{}, r.order("chilli", 2, time.Hour))
		assert.False(t, ok)
	})
	t.Run("stop and keep shut", func(t *testing.T) {
		r := newRig(t, nil)
		_, ok := r.Request(at(2*time.Hour), Env{}, r.order("chilli", 2, time.Hour))
		require.True(t, ok)
		d, ok := r.KeepShut(at(2*time.Hour+6*time.Minute), "chilli", 5*time.Hour)
		require.True(t, ok)
		assert.Equal(t, garden.Stopped, d.End)
		assert.InDelta(t, 0.8, d.Litres, 1e-9)
		assert.Empty(t, r.Advance(at(3*time.Hour)), "a delivery is told once")
		ref, _ := r.Request(at(3*time.Hour), Env{}, r.order("chilli", 2, time.Hour))
		assert.Equal(t, garden.HeldShut, ref.Cause)
		r.Release("chilli")
		_, ok = r.Request(at(3*time.Hour), Env{}, r.order("chilli", 2, time.Hour))
		assert.True(t, ok)
	})
}
