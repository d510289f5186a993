package valves

import (
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// drive has an event clock repeat what is due until then.
func (r *rig) drive(from, to time.Duration) {
	for {
		next, any := r.NextDeadline()
		if !any || next > to {
			break
		}
		from = max(from, next)
		r.Advance(at(from))
	}
	r.Advance(at(to))
}

// stubborn is a rig whose chilli line, 8 L/h, opened and does not close from the
// moment on that is returned. Its line over both pots takes 16 L/h.
func stubborn(t *testing.T, flowLPH float64) (*rig, time.Duration) {
	r := newRig(t, func(g *garden.Garden, _ *Options) {
		g.Supply.FlowLPH = flowLPH
		for i := range g.Lines[2].Outlets {
			g.Lines[2].Outlets[i].Emitters = 2
		}
	})
	from := 2 * time.Hour
	_, ok := r.Request(at(from), Env{}, r.order("chilli", 2, time.Hour))
	require.True(t, ok)
	r.valves["chilli"].failCloses = 1 << 30
	due, any := r.NextDeadline()
	require.True(t, any)
	r.drive(from, due)
	require.Equal(t, []garden.LineID{"chilli"}, r.Unconfirmed())
	return r, due
}

func TestALineThatNeverClosesLeavesTheOthersTheirWater(t *testing.T) {
	ask := func(r *rig, now time.Duration, line garden.LineID) garden.RefusalCause {
		ref, _ := r.Request(at(now), Env{}, r.order(line, 1, time.Hour))
		return ref.Cause
	}
	t.Run("after half an hour, not before", func(t *testing.T) {
		r, since := stubborn(t, 8)
		r.drive(since, since+unsureAfter-time.Second)
		assert.Equal(t, garden.SupplyBusy, ask(r, since+unsureAfter-time.Second, "chard"))
		r.drive(since, since+unsureAfter)
		assert.Equal(t, garden.NotRefused, ask(r, since+unsureAfter, "chard"))
		assert.Equal(t, garden.NotConfirmed, ask(r, since+unsureAfter, "chilli"), "it opens for nothing")
		tries := r.valves["chilli"].closes
		r.drive(since, since+2*unsureAfter)
		assert.Greater(t, r.valves["chilli"].closes, tries+300, "its close goes on being repeated")
	})
	t.Run("one at a time, though the supply carries two", func(t *testing.T) {
		r, since := stubborn(t, 16)
		now := since + unsureAfter
		r.drive(since, now)
		assert.Equal(t, garden.NotRefused, ask(r, now, "both"))
		assert.Equal(t, garden.SupplyBusy, ask(r, now, "chard"))
		end, _ := r.NextDeadline()
		now = max(now, end) + time.Hour
		r.drive(since, now)
		assert.Equal(t, garden.NotRefused, ask(r, now, "chard"), "there is room for it and what may run")
		assert.Equal(t, garden.SupplyBusy, ask(r, now, "both"), "it would not run alone")
	})
	t.Run("never more than the supply carries by itself", func(t *testing.T) {
		r, since := stubborn(t, 8)
		r.drive(since, since+unsureAfter)
		assert.Equal(t, garden.SupplyBusy, ask(r, since+unsureAfter, "both"))
	})
	t.Run("a line is not measured beside it", func(t *testing.T) {
		r, since := stubborn(t, 8)
		r.drive(since, since+unsureAfter)
		o := r.order("chard", 1, time.Hour)
		o.Kind = garden.Commission
		ref, ok := r.Request(at(since+unsureAfter), Env{}, o)
		assert.False(t, ok)
		assert.Equal(t, garden.SupplyBusy, ref.Cause)
	})
	t.Run("time in which nobody repeated the close counts for nothing", func(t *testing.T) {
		r, since := stubborn(t, 8)
		now := since + 10*unsureAfter
		r.Advance(at(now))
		assert.Equal(t, garden.SupplyBusy, ask(r, now, "chard"))
	})
	t.Run("a close that is confirmed begins the time anew", func(t *testing.T) {
		r, since := stubborn(t, 8)
		r.drive(since, since+unsureAfter)
		r.valves["chilli"].failCloses = 0
		now := since + unsureAfter + time.Minute
		r.drive(since, now)
		require.Empty(t, r.Unconfirmed())
		now += time.Hour
		require.Equal(t, garden.NotRefused, ask(r, now, "chilli"))
		r.valves["chilli"].failCloses = 1 << 30
		end, _ := r.NextDeadline()
		r.drive(now, end+time.Minute)
		assert.Equal(t, garden.SupplyBusy, ask(r, end+time.Minute, "chard"))
	})
	t.Run("the second look says so by itself", func(t *testing.T) {
		r, since := stubborn(t, 8)
		o := r.order("chard", 1, time.Hour)
		p := pass{litres: 1, maxOn: 5 * time.Minute}
		chard, _ := r.index("chard")
		r.drive(since, since+unsureAfter-time.Second)
		assert.False(t, r.sane(at(since+unsureAfter-time.Second), chard, o, p))
		r.drive(since, since+unsureAfter)
		assert.True(t, r.sane(at(since+unsureAfter), chard, o, p))
		o.Kind = garden.Commission
		assert.False(t, r.sane(at(since+unsureAfter), chard, o, p))
		o.Kind = garden.Irrigate
		both, _ := r.index("both")
		assert.False(t, r.sane(at(since+unsureAfter), both, o, p))
	})
}

// TestALineThatAnEarlierRunLeftOpen: what an earlier run may have left open counts
// against the supply until it is confirmed closed, or for half an hour in vain.
func TestALineThatAnEarlierRunLeftOpen(t *testing.T) {
	start := func(t *testing.T, supplyLPH float64, left bool) (*rig, time.Duration) {
		r := newRig(t, func(g *garden.Garden, _ *Options) { g.Supply.FlowLPH = supplyLPH })
		r.valves["chilli"].failCloses = 1 << 30
		since := 2 * time.Hour
		r.CloseAll(at(since))
		require.Equal(t, []garden.LineID{"chilli"}, r.Unconfirmed())
		if left {
			r.Restore(at(since), since, []garden.Intent{{Order: garden.Order{ID: 900, Line: "chilli", Zone: "chilli", Litres: 1, MaxOn: 10 * time.Minute},
				MaxLitres: 1, At: at(since - time.Minute), SameClock: true}}, nil)
		}
		return r, since
	}
	ask := func(r *rig, now time.Duration) garden.RefusalCause {
		ref, _ := r.Request(at(now), Env{}, r.order("chard", 1, time.Hour))
		return ref.Cause
	}
	secondLook := func(r *rig, now time.Duration) bool {
		chard, _ := r.index("chard")
		return r.sane(at(now), chard, r.order("chard", 1, time.Hour), pass{litres: 1, maxOn: 5 * time.Minute})
	}
	t.Run("waited for", func(t *testing.T) {
		r, now := start(t, 8, true)
		assert.False(t, secondLook(r, now))
		assert.Equal(t, garden.SupplyBusy, ask(r, now))
		r.drive(now, now+unsureAfter-time.Second)
		assert.False(t, secondLook(r, now+unsureAfter-time.Second))
		assert.Equal(t, garden.SupplyBusy, ask(r, now+unsureAfter-time.Second))
		r.drive(now, now+unsureAfter)
		assert.True(t, secondLook(r, now+unsureAfter))
		assert.Equal(t, garden.NotRefused, ask(r, now+unsureAfter))
	})
	t.Run("not once its close is confirmed", func(t *testing.T) {
		r, now := start(t, 8, true)
		r.valves["chilli"].failCloses = 0
		r.drive(now, now+time.Minute)
		require.Empty(t, r.Unconfirmed())
		assert.Equal(t, garden.NotRefused, ask(r, now+time.Minute))
	})
	t.Run("not where there is room for both", func(t *testing.T) {
		r, now := start(t, 16, true)
		assert.Equal(t, garden.NotRefused, ask(r, now))
	})
	t.Run("not a line that no run left open", func(t *testing.T) {
		r, now := start(t, 8, false)
		assert.Equal(t, garden.NotRefused, ask(r, now))
	})
}

// TestSupplyBesideUnsureLines: whatever runs and whatever is unsure, a line is let
// through only where it fits beside all of them, or where nothing runs for sure and
// it fits alone.
func TestSupplyBesideUnsureLines(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		flow := rapid.Float64Range(0.5, 40)
		s := supply{flowLPH: rapid.Float64Range(1, 60).Draw(t, "supply")}
		mine := flow.Draw(t, "flow")
		all, sure := mine, 0
		var draws []draw
		for range rapid.IntRange(0, 5).Draw(t, "draws") {
			d := draw{flowLPH: flow.Draw(t, "draw"), until: time.Duration(1 + rapid.IntRange(0, 1000).Draw(t, "until")), unsure: rapid.Bool().Draw(t, "unsure")}
			all += d.flowLPH
			if !d.unsure {
				sure++
			}
			draws = append(draws, d)
		}
		ok, _ := s.carries(draws, mine)
		fits := all <= s.flowLPH*(1+slack)
		alone := sure == 0 && mine <= s.flowLPH*(1+slack)
		require.Equal(t, fits || alone, ok)
		if sure == len(draws) {
			require.Equal(t, fits, ok, "with no line unsure nothing else is let through")
		}
	})
}
