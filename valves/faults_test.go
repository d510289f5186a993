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

func TestStart(t *testing.T) {
	t.Run("nothing opens before it was confirmed closed", func(t *testing.T) {
		g := terrace()
		v := &fakeValve{}
		gd, err := NewGuard(g, map[garden.LineID]Actuator{"chilli": v}, newLedger(nil), Options{})
		require.NoError(t, err)
		ref, ok := gd.Request(at(time.Hour), Env{}, garden.Order{ID: 1, Line: "chilli", Litres: 1, MaxOn: time.Hour})
		assert.False(t, ok)
		assert.Equal(t, garden.NotConfirmed, ref.Cause)
		gd.CloseAll(at(time.Hour))
		// The lines without an actuator are unassigned and stay unconfirmed.
		assert.Equal(t, []garden.LineID{"chard", "both"}, gd.Unconfirmed())
		_, ok = gd.Request(at(time.Hour), Env{}, garden.Order{ID: 2, Line: "chilli", Litres: 1, MaxOn: time.Hour})
		assert.True(t, ok)
	})
	for name, change := range map[string]func(*garden.Garden, *Options){
		"no longest opening":      func(g *garden.Garden, _ *Options) { g.Limits.MaxOn = 0 },
		"daily factor under two":  func(g *garden.Garden, _ *Options) { g.Limits.DailyFactor = 1.9 },
		"daily factor NaN":        func(g *garden.Garden, _ *Options) { g.Limits.DailyFactor = math.NaN() },
		"no supply":               func(g *garden.Garden, _ *Options) { g.Supply.FlowLPH = 0 },
		"no emitters":             func(g *garden.Garden, _ *Options) { g.Lines[0].Outlets = nil },
		"peak need NaN":           func(_ *garden.Garden, o *Options) { o.PeakNeedL = map[garden.LineID]float64{"chilli": math.NaN()} },
		"peak need negative":      func(_ *garden.Garden, o *Options) { o.PeakNeedL = map[garden.LineID]float64{"chilli": -1} },
		"fill NaN":                func(_ *garden.Garden, o *Options) { o.DryFillL = map[garden.LineID]float64{"chilli": math.NaN()} },
		"fill negative":           func(_ *garden.Garden, o *Options) { o.DryFillL = map[garden.LineID]float64{"chilli": -1} },
		"margin that is no bound": func(_ *garden.Garden, o *Options) { o.Margin = 50 },
		"pot with no volume":      func(g *garden.Garden, _ *Options) { g.Pots[0].VolumeL = 0 },
	} {
		t.Run("refuses a garden with "+name, func(t *testing.T) {
			g, o := terrace(), Options{}
			change(g, &o)
			_, err := NewGuard(g, nil, newLedger(nil), o)
			require.Error(t, err)
		})
	}
	t.Run("refuses a valve for a line that is not there", func(t *testing.T) {
		_, err := NewGuard(terrace(), map[garden.LineID]Actuator{"x": Unassigned{}}, newLedger(nil), Options{})
		require.ErrorContains(t, err, `"x"`)
	})
}

func TestCaps(t *testing.T) {
	caps := func(o Options) map[garden.LineID]float64 {
		g, err := NewGuard(terrace(), nil, newLedger(nil), o)
		require.NoError(t, err)
		out := map[garden.LineID]float64{}
		st, _ := g.Snapshot(at(0))
		for _, s := range st {
			out[s.Line] = s.CapL
		}
		return out
	}
	t.Run("factor times the peak need", func(t *testing.T) {
		assert.Equal(t, 10.0, caps(Options{PeakNeedL: map[garden.LineID]float64{"chilli": 4}})["chilli"])
	})
	t.Run("a wrong peak need stops at a ceiling", func(t *testing.T) {
		// Twice the pot's 40 L.
		assert.Equal(t, 80.0, caps(Options{PeakNeedL: map[garden.LineID]float64{"chilli": 1e9}})["chilli"])
	})
	t.Run("a dry pot's fill and a day's drink", func(t *testing.T) {
		o := Options{PeakNeedL: map[garden.LineID]float64{"chilli": 1}, DryFillL: map[garden.LineID]float64{"chilli": 9}}
		assert.Equal(t, 10.0, caps(o)["chilli"])
		o.PeakNeedL["chilli"] = 8
		assert.Equal(t, 20.0, caps(o)["chilli"], "the bigger of the two")
	})
	t.Run("a wrong fill stops at the pot's volume", func(t *testing.T) {
		// 40 L and a day's drink.
		assert.Equal(t, 41.0, caps(Options{PeakNeedL: map[garden.LineID]float64{"chilli": 1}, DryFillL: map[garden.LineID]float64{"chilli": 1e9}})["chilli"])
	})
	t.Run("the built-in estimate", func(t *testing.T) {
		// 38 cm pot: 5 × 0.1134 m² × 15 mm = 8.506 L, under 0.3 × 40 L; × 2.5.
		// The line over both pots gives each half, so twice as much.
		got := caps(Options{})
		assert.InDelta(t, 21.26, got["chilli"], 0.01)
		assert.InDelta(t, 2*21.26, got["both"], 0.02)
	})
}

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

func TestMeter(t *testing.T) {
	t.Run("ends the pulse at the metered litres", func(t *testing.T) {
		r := newRig(t, nil)
		now := 2 * time.Hour
		r.Meter(at(now), garden.Known(100))
		_, ok := r.Request(at(now), Env{}, r.order("chilli", 2, time.Hour))
		require.True(t, ok)
		// The emitters give 90 % of nominal: past the nominal time it goes on.
		var got []garden.Delivery
		total := 100.0
		for len(got) == 0 && now < 3*time.Hour {
			now += 10 * time.Second
			total += 0.9 * 8 / 360
			r.Meter(at(now), garden.Known(total))
			got = r.Advance(at(now))
		}
		require.Len(t, got, 1)
		assert.True(t, got[0].Metered)
		assert.Equal(t, garden.Complete, got[0].End)
		assert.InDelta(t, 2, got[0].Litres, 0.03)
		assert.InDelta(t, (15 * time.Minute / 9 * 10).Minutes(), got[0].Open.Minutes(), 0.4)
	})
	t.Run("a dead meter meets the deadline and the cap is charged by time", func(t *testing.T) {
		r := newRig(t, nil)
		r.Meter(at(2*time.Hour), garden.Known(100))
		_, ok := r.Request(at(2*time.Hour), Env{}, r.order("chilli", 2, time.Hour))
		require.True(t, ok)
		var got []garden.Delivery
		now := 2 * time.Hour
		for len(got) == 0 && now < 3*time.Hour {
			now += 5 * time.Second
			r.Meter(at(now), garden.Known(100))
			got = r.Advance(at(now))
		}
		require.Len(t, got, 1)
		assert.Equal(t, garden.AtDeadline, got[0].End)
		assert.Zero(t, got[0].Litres)
		assert.Equal(t, 18*time.Minute+45*time.Second, got[0].Open)
		st, _ := r.Snapshot(at(now))
		assert.InDelta(t, 2.5, st[0].SpentL, 1e-6)
	})
	t.Run("a meter that falls silent leaves nominal flow", func(t *testing.T) {
		r := newRig(t, nil)
		r.Meter(at(2*time.Hour), garden.Known(100))
		_, ok := r.Request(at(2*time.Hour), Env{}, r.order("chilli", 2, time.Hour))
		require.True(t, ok)
		got := r.Advance(at(2*time.Hour + 15*time.Minute))
		require.Len(t, got, 1)
		assert.False(t, got[0].Metered)
		assert.InDelta(t, 2, got[0].Litres, 1e-9)
	})
	t.Run("a hose that came off ends it early", func(t *testing.T) {
		r := newRig(t, nil)
		r.Meter(at(2*time.Hour), garden.Known(100))
		_, ok := r.Request(at(2*time.Hour), Env{}, r.order("chilli", 2, time.Hour))
		require.True(t, ok)
		r.Meter(at(2*time.Hour+10*time.Second), garden.Known(103))
		assert.False(t, r.valves["chilli"].open)
		got := r.Advance(at(2*time.Hour + 10*time.Second))
		require.Len(t, got, 1)
		assert.InDelta(t, 3, got[0].Litres, 1e-9)
	})
	t.Run("stray water", func(t *testing.T) {
		r := newRig(t, nil)
		r.Meter(at(2*time.Hour), garden.Known(100))
		r.Meter(at(3*time.Hour), garden.Known(101.5))
		r.Meter(at(3*time.Hour), garden.Known(0)) // a meter that began anew
		r.Meter(at(3*time.Hour), garden.Known(math.NaN()))
		assert.InDelta(t, 1.5, r.Stray(), 1e-9)
	})
}
