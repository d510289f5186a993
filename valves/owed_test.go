package valves

import (
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestRestoreOfALineThatDoesNotClose: what flows after a start through a line that
// an earlier run left open is charged until its close is confirmed, and the intent
// stays unfinished until then, so that another start before that knows of it too.
func TestRestoreOfALineThatDoesNotClose(t *testing.T) {
	start := func(t *testing.T) *rig {
		r := newRig(t, nil)
		r.valves["chilli"].failCloses = 1 << 30
		r.CloseAll(at(2 * time.Hour))
		require.Equal(t, []garden.LineID{"chilli"}, r.Unconfirmed())
		// Open for ten minutes when the earlier run died.
		u := garden.Intent{Order: garden.Order{ID: 9, Line: "chilli", Zone: "chilli", Litres: 2, MaxOn: 15 * time.Minute},
			MaxLitres: 2, At: at(110 * time.Minute), SameClock: true}
		got := r.Restore(at(2*time.Hour), time.Hour, []garden.Intent{u}, nil)
		require.Len(t, got, 1)
		assert.Equal(t, 2.0, got[0].Litres)
		require.NoError(t, r.Flush())
		assert.NotContains(t, r.ledger.settled, garden.OrderID(9), "it may still be running")
		return r
	}
	spent := func(r *rig, now garden.Moment) float64 {
		st, _ := r.Snapshot(now)
		return st[0].SpentL
	}
	t.Run("the water since is charged and told once", func(t *testing.T) {
		r := start(t)
		assert.Empty(t, r.Advance(at(2*time.Hour+20*time.Minute)))
		r.valves["chilli"].failCloses = 0
		// 40 minutes in all at 8 L/h, of which 2 L are charged.
		now := at(2*time.Hour + 30*time.Minute)
		got := r.Advance(now)
		require.Len(t, got, 1)
		assert.Equal(t, garden.OrderID(9), got[0].Order)
		assert.Equal(t, garden.Unfinished, got[0].End)
		assert.InDelta(t, 8*40.0/60-2, got[0].Litres, 1e-9)
		assert.InDelta(t, 8*40.0/60, spent(r, now), 1e-9)
		require.NoError(t, r.Flush())
		assert.InDelta(t, 8*40.0/60, r.ledger.settled[9].Litres, 1e-9)
		assert.Equal(t, now, r.ledger.settled[9].ClosedAt)
		ref, ok := r.Request(now, Env{}, r.order("chilli", 0.1, time.Minute))
		assert.False(t, ok)
		assert.Equal(t, garden.TooSoon, ref.Cause, "the rest counts from the close")
		r.CloseAll(now.Add(time.Minute))
		assert.InDelta(t, 8*40.0/60, spent(r, now.Add(time.Minute)), 1e-9, "and not once more")
	})
	// on starts on another clock, a minute after the board came up.
	on := func(t *testing.T, l *memLedger, id garden.OrderID) float64 {
		r := newRig(t, nil)
		r.CloseAll(at(time.Minute))
		u := l.intents[id]
		u.SameClock = false
		got := r.Restore(at(time.Minute), time.Minute, []garden.Intent{u}, nil)
		require.Len(t, got, 1)
		assert.InDelta(t, got[0].Litres, spent(r, at(time.Minute)), 1e-9)
		return got[0].Litres
	}
	t.Run("what was charged survives a reboot before it is closed", func(t *testing.T) {
		r := newRig(t, nil)
		r.valves["chilli"].failCloses = 1 << 30
		r.CloseAll(at(4 * time.Hour))
		u := garden.Intent{Order: garden.Order{ID: 9, Line: "chilli", Zone: "chilli", Litres: 2, MaxOn: 15 * time.Minute},
			MaxLitres: 2, At: at(2 * time.Hour), SameClock: true}
		r.ledger.intents[9] = u
		got := r.Restore(at(4*time.Hour), 5*time.Hour, []garden.Intent{u}, nil)
		assert.InDelta(t, 16, got[0].Litres, 1e-9)
		require.NoError(t, r.Flush())
		assert.InDelta(t, 16, on(t, r.ledger, 9), 1e-9)

		// It runs on for three hours more, and the journal fails meanwhile.
		r.ledger.broken = true
		r.Advance(at(6 * time.Hour))
		require.Error(t, r.Flush())
		_, j := r.Snapshot(at(6 * time.Hour))
		require.Error(t, j.Err)
		r.ledger.broken = false
		r.Advance(at(7 * time.Hour))
		require.NoError(t, r.Flush())
		_, j = r.Snapshot(at(7 * time.Hour))
		require.NoError(t, j.Err)
		assert.GreaterOrEqual(t, on(t, r.ledger, 9), 40.0)
		assert.LessOrEqual(t, on(t, r.ledger, 9), 40.0+2, "a pulse more at most")
		assert.Empty(t, r.ledger.settled)
		r.valves["chilli"].failCloses = 0
		r.Advance(at(8 * time.Hour))
		require.NoError(t, r.Flush())
		assert.InDelta(t, 48, r.ledger.settled[9].Litres, 1e-9)
		assert.InDelta(t, 48, spent(r, at(8*time.Hour)), 1e-9)
	})
	t.Run("and what flows after the reboot comes on top", func(t *testing.T) {
		r := newRig(t, nil)
		r.valves["chilli"].failCloses = 1 << 30
		r.CloseAll(at(30 * time.Minute))
		u := garden.Intent{Order: garden.Order{ID: 9, Line: "chilli", Zone: "chilli", Litres: 2, MaxOn: 15 * time.Minute}, MaxLitres: 16}
		r.ledger.intents[9] = u
		got := r.Restore(at(30*time.Minute), 30*time.Minute, []garden.Intent{u}, nil)
		require.Len(t, got, 1)
		assert.InDelta(t, 16+4, got[0].Litres, 1e-6)
		assert.Equal(t, time.Duration(0), got[0].OpenedAt.Mono, "on this clock")
		require.NoError(t, r.Flush())
		assert.InDelta(t, 16+4, r.ledger.intents[9].MaxLitres, 1e-6)
		r.valves["chilli"].failCloses = 0
		r.Advance(at(90 * time.Minute))
		assert.InDelta(t, 16+4+8, spent(r, at(90*time.Minute)), 1e-6)
	})
	t.Run("one that nobody raised is charged in full and with what its board was up", func(t *testing.T) {
		r := newRig(t, nil)
		r.valves["chilli"].failCloses = 1 << 30
		r.CloseAll(at(30 * time.Minute))
		u := garden.Intent{Order: garden.Order{ID: 9, Line: "chilli", Zone: "chilli", Litres: 2, MaxOn: 15 * time.Minute}, MaxLitres: 2}
		got := r.Restore(at(30*time.Minute), 30*time.Minute, []garden.Intent{u}, nil)
		assert.InDelta(t, 2+4, got[0].Litres, 1e-6, "the power may have been cut at its end")
	})
	t.Run("so does what a pulse gave that does not end", func(t *testing.T) {
		r := newRig(t, nil)
		r.CloseAll(at(time.Hour))
		o := r.order("chilli", 1, time.Hour)
		_, ok := r.Request(at(2*time.Hour), Env{}, o)
		require.True(t, ok)
		pulseL := r.ledger.intents[o.ID].MaxLitres
		require.InDelta(t, 1.25, pulseL, 0.01, "1 L and a quarter more time")
		r.valves["chilli"].failCloses = 1 << 30
		var writes int
		for m := range 60 {
			before := r.ledger.intents[o.ID].MaxLitres
			now := at(2*time.Hour + time.Duration(m)*time.Minute)
			r.Advance(now)
			// The power may be cut before this round is written.
			assert.GreaterOrEqual(t, on(t, r.ledger, o.ID), 8*now.Since(at(2*time.Hour)).Hours(), "minute %d", m)
			require.NoError(t, r.Flush())
			if r.ledger.intents[o.ID].MaxLitres > before {
				writes++
			}
			assert.LessOrEqual(t, r.ledger.intents[o.ID].MaxLitres, 8*now.Since(at(2*time.Hour)).Hours()+pulseL+1e-9, "minute %d", m)
		}
		assert.InDelta(t, 8/1.25, writes, 2, "not at each round")
	})
	t.Run("a card that is slower than the line ends the round all the same", func(t *testing.T) {
		r := newRig(t, nil)
		_, ok := r.Request(at(2*time.Hour), Env{}, r.order("chilli", 0.002, time.Hour))
		require.True(t, ok)
		r.valves["chilli"].failCloses = 1 << 30
		now, writes := 2*time.Hour, 0
		r.ledger.raising = func() {
			writes++
			now += 4 * time.Second // 0.009 L of 8 L/h
			r.Advance(at(now))
			if writes > 100 {
				panic("it never ends")
			}
		}
		now += time.Minute
		r.Advance(at(now))
		require.NoError(t, r.Flush())
		assert.Equal(t, 1, writes)
	})
	t.Run("within what was charged already nothing comes on top", func(t *testing.T) {
		r := start(t)
		r.valves["chilli"].failCloses = 0
		now := at(2*time.Hour + 4*time.Minute)
		assert.Empty(t, r.Advance(now))
		assert.Empty(t, r.Unconfirmed())
		assert.Equal(t, 2.0, spent(r, now))
		require.NoError(t, r.Flush())
		assert.Equal(t, 2.0, r.ledger.settled[9].Litres)
	})
}
