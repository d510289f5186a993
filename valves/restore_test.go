package valves

import (
	"errors"
	"math"
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestNoJournal(t *testing.T) {
	r := newRig(t, nil)
	r.ledger.broken = true
	now := 2 * time.Hour
	var given float64
	for i := range 5 {
		o := r.order("chilli", 5, time.Hour)
		ref, ok := r.Request(at(now), Env{}, o)
		if i < 3 {
			require.True(t, ok, "dose %d: %v", i, ref.Cause)
			// A dose is 4 % of 40 L, by the garden's default.
			now += 12 * time.Minute
			got := r.Advance(at(now))
			require.Len(t, got, 1)
			assert.InDelta(t, 1.6, got[0].Litres, 1e-6)
			given += got[0].Litres
		} else {
			require.False(t, ok)
			assert.Equal(t, garden.NoJournal, ref.Cause)
		}
		now += time.Hour
	}
	assert.InDelta(t, 4.8, given, 1e-6)
	_, ok := r.Request(at(now+17*time.Hour), Env{}, r.order("chilli", 5, time.Hour))
	assert.False(t, ok, "not until the day is over")
	_, j := r.Snapshot(at(now))
	require.Error(t, j.Err)
	assert.Equal(t, 3, j.Waiting)

	t.Run("a feed gets none of it", func(t *testing.T) {
		o := r.order("chard", 1, time.Hour)
		o.Kind = garden.Feeding
		ref, ok := r.Request(at(now), Env{}, o)
		assert.False(t, ok)
		assert.Equal(t, garden.NoJournal, ref.Cause)
	})
	t.Run("what waited is written once the card works again", func(t *testing.T) {
		r.ledger.broken = false
		require.NoError(t, r.Flush())
		assert.Len(t, r.ledger.settled, 3)
		_, ok := r.Request(at(now), Env{}, r.order("chilli", 1, time.Hour))
		assert.True(t, ok)
	})
	t.Run("one a day goes on", func(t *testing.T) {
		r := newRig(t, nil)
		r.ledger.broken = true
		var given float64
		for h := 2 * time.Hour; h < 10*24*time.Hour; h += 20 * time.Minute {
			r.Request(at(h), Env{}, r.order("chilli", 5, time.Hour))
			for _, d := range r.Advance(at(h + 12*time.Minute)) {
				given += d.Litres
			}
		}
		assert.InDelta(t, (3+9)*1.6, given, 1e-6, "three at once, the first of more a day after them")
		none := newRig(t, func(g *garden.Garden, _ *Options) { g.Limits.NoJournalDoses = 0 })
		none.ledger.broken = true
		for h := 2 * time.Hour; h < 3*24*time.Hour; h += time.Hour {
			ref, ok := none.Request(at(h), Env{}, none.order("chilli", 5, time.Hour))
			require.False(t, ok)
			require.Equal(t, garden.NoJournal, ref.Cause)
		}
	})
	t.Run("no journal at all", func(t *testing.T) {
		var l Ledger = NoLedger{Err: errors.New("read-only file system")}
		require.ErrorContains(t, l.Intend(garden.Order{}, 1, at(0)), "read-only")
		require.ErrorContains(t, l.Raise(1, 1), "read-only")
		require.ErrorContains(t, l.Settle(garden.Delivery{}), "read-only")
	})
}

func TestRestore(t *testing.T) {
	intent := func(id garden.OrderID, m garden.Moment, same bool) garden.Intent {
		return garden.Intent{Order: garden.Order{ID: id, Line: "chilli", Zone: "chilli", Litres: 2, MaxOn: 20 * time.Minute}, MaxLitres: 2.5, At: m, SameClock: same}
	}
	spent := func(r *rig, now garden.Moment) float64 {
		st, _ := r.Snapshot(now)
		return st[0].SpentL
	}
	t.Run("an unfinished intent is charged in full", func(t *testing.T) {
		r := newRig(t, nil)
		now := at(2 * time.Hour)
		got := r.Restore(now, time.Minute, []garden.Intent{intent(9, at(2*time.Hour-time.Minute), true)}, nil)
		require.Len(t, got, 1)
		assert.Equal(t, 2.5, got[0].Litres)
		assert.Equal(t, garden.Unfinished, got[0].End)
		assert.Equal(t, 2.5, spent(r, now))
		require.NoError(t, r.Flush())
		assert.Equal(t, got[0], r.ledger.settled[9], "settled, so that the next start does not charge it anew")
		ref, _ := r.Request(now, Env{}, garden.Order{ID: 9, Line: "chilli", Litres: 1, MaxOn: time.Hour})
		assert.Equal(t, garden.Repeated, ref.Cause)
		ref, _ = r.Request(now, Env{}, garden.Order{ID: 10, Line: "chilli", Litres: 1, MaxOn: time.Hour})
		assert.Equal(t, garden.TooSoon, ref.Cause, "the rest counts from now: it may have run until now")
	})
	t.Run("or by what ran since, where that is more", func(t *testing.T) {
		r := newRig(t, nil)
		// Same boot: open for 45 minutes since the intent, 6 L.
		got := r.Restore(at(2*time.Hour), 100*time.Hour, []garden.Intent{intent(9, at(75*time.Minute), true)}, nil)
		assert.InDelta(t, 6, got[0].Litres, 1e-9)
		// Another boot: up for half an hour, 4 L; the power was off before.
		r = newRig(t, nil)
		got = r.Restore(at(2*time.Hour), 30*time.Minute, []garden.Intent{intent(9, at(75*time.Minute), false)}, nil)
		assert.InDelta(t, 4, got[0].Litres, 1e-9)
	})
	past := func(ago time.Duration, now garden.Moment, same bool) []garden.PastDelivery {
		c := now.Add(-ago)
		return []garden.PastDelivery{{SameClock: same, Delivery: garden.Delivery{Order: 3, Line: "chilli", Litres: 4, ClosedAt: c, OpenedAt: c.Add(-30 * time.Minute), Open: 30 * time.Minute}}}
	}
	for _, c := range []struct {
		name    string
		ago     time.Duration
		same    bool
		synced  [2]bool // then, now
		later   time.Duration
		spent   float64
		tooSoon bool
	}{
		{"same clock, within the day", 23 * time.Hour, true, [2]bool{}, 0, 4, false},
		{"same clock, the day is over", 24 * time.Hour, true, [2]bool{}, 0, 0, false},
		{"same clock, rest not over", time.Minute, true, [2]bool{}, 0, 4, true},
		{"another clock, both confirmed: the wall tells", 25 * time.Hour, false, [2]bool{true, true}, 0, 0, false},
		{"another clock, both confirmed, within the day", 20 * time.Hour, false, [2]bool{true, true}, 0, 4, false},
		{"another clock, now not confirmed: counts as just now", 25 * time.Hour, false, [2]bool{true, false}, 0, 4, true},
		{"another clock, then not confirmed: counts as just now", 25 * time.Hour, false, [2]bool{false, true}, 0, 4, true},
		{"and it leaves the day when this run is a day old", 25 * time.Hour, false, [2]bool{true, false}, 24 * time.Hour, 0, false},
		{"a wall clock that jumped back to before: counts as just now", -40 * 365 * 24 * time.Hour, false, [2]bool{true, true}, 0, 4, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newRig(t, nil)
			now := at(100 * time.Hour)
			p := past(c.ago, now, c.same)
			p[0].ClosedAt.Synced, now.Synced = c.synced[0], c.synced[1]
			r.Restore(now, time.Minute, nil, p)
			now = now.Add(c.later)
			assert.Equal(t, c.spent, spent(r, now))
			ref, ok := r.Request(now, Env{}, r.order("chilli", 1, time.Hour))
			if ok {
				// Order 3 is taken; the rig counts from 1.
				assert.False(t, c.tooSoon)
			} else {
				assert.True(t, c.tooSoon, "%v", ref.Cause)
				assert.Equal(t, garden.TooSoon, ref.Cause)
			}
		})
	}
	t.Run("a clock confirmed later lets the wall tell", func(t *testing.T) {
		r := newRig(t, nil)
		now := at(100 * time.Hour)
		p := past(25*time.Hour, now, false)
		now.Synced = false
		r.Restore(now, time.Minute, nil, p)
		assert.Equal(t, 4.0, spent(r, now))
		now.Synced = true
		assert.Equal(t, 0.0, spent(r, now))
	})
	t.Run("a clock that jumps later makes nothing older", func(t *testing.T) {
		r := newRig(t, nil)
		now := at(100 * time.Hour)
		p := past(20*time.Hour, now, false)
		p[0].ClosedAt.Synced, now.Synced = true, true
		r.Restore(now, time.Minute, nil, p)
		assert.Equal(t, 4.0, spent(r, now))
		now = now.Add(3 * time.Hour)
		now.Wall = now.Wall.Add(7 * time.Hour)
		assert.Equal(t, 4.0, spent(r, now), "23 hours old")
		now = now.Add(time.Hour)
		assert.Zero(t, spent(r, now))
	})
	t.Run("nonsense from a journal is not believed", func(t *testing.T) {
		r := newRig(t, nil)
		u := intent(9, at(0), false)
		u.MaxLitres = math.NaN()
		gone := intent(10, at(0), false)
		gone.Order.Line = "a line of last year"
		p := past(time.Hour, at(100*time.Hour), true)
		p[0].Litres = math.Inf(1)
		got := r.Restore(at(100*time.Hour), -1, []garden.Intent{u, gone}, p)
		require.Len(t, got, 2)
		assert.Equal(t, 0.0, got[0].Litres)
		assert.Equal(t, 0.0, spent(r, at(100*time.Hour)))
	})
}
