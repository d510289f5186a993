package valves

import (
	"fmt"
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// restarted is another run's guard over that garden, which recalls what one kept.
func restarted(t require.TestingT, now garden.Moment, from *Guard, g *garden.Garden, sameClock bool) *Guard {
	held, err := from.Limits()
	require.NoError(t, err)
	next, err := NewGuard(g, nil, newLedger(new([]string)), Options{PeakNeedL: map[garden.LineID]float64{"chilli": 4, "chard": 4, "both": 8}})
	require.NoError(t, err)
	require.NoError(t, next.Recall(now, held, sameClock))
	return next
}

// TestLimitsOutliveARestart: what a reload made wait for a day waits for it across
// starts too, and a file that was changed with no gateway running waits from the
// start that first saw it.
func TestLimitsOutliveARestart(t *testing.T) {
	const line = garden.LineID("chilli")
	peaks := Options{PeakNeedL: map[garden.LineID]float64{"chilli": 4, "chard": 4, "both": 8}}
	hours := func(h float64) garden.Moment { return at(time.Duration(h * float64(time.Hour))) }
	reloaded := func() *Guard {
		r := newRig(t, func(g *garden.Garden, _ *Options) { *g = *withCap(line, 10) })
		require.NoError(t, r.Guard.Reload(hours(1), withCap(line, 20), peaks))
		return r.Guard
	}
	// anew is a moment of another boot, an hour of whose clock is that hour by the wall.
	anew := func(h, up float64, synced bool) garden.Moment {
		m := hours(h)
		m.Mono, m.Synced = time.Duration(up*float64(time.Hour)), synced
		return m
	}
	first, err := NewGuard(withCap(line, 20), nil, newLedger(new([]string)), peaks)
	require.NoError(t, err)
	assert.Equal(t, 20.0, capsOf(first, hours(0))[line], "a first start holds what the file says")

	t.Run("on the same clock, start after start", func(t *testing.T) {
		g := reloaded()
		for _, h := range []float64{2, 7, 24.9} {
			g = restarted(t, hours(h), g, withCap(line, 20), true)
			assert.Equal(t, 10.0, capsOf(g, hours(h))[line], "%v h", h)
		}
		assert.Equal(t, 10.0, capsOf(g, hours(25).Add(-time.Nanosecond))[line])
		assert.Equal(t, 20.0, capsOf(g, hours(25))[line])
		g = restarted(t, hours(26), g, withCap(line, 20), true)
		assert.Equal(t, 20.0, capsOf(g, hours(26))[line])
	})
	t.Run("on another clock, by the wall where both were confirmed", func(t *testing.T) {
		g := restarted(t, anew(20, 0.1, true), reloaded(), withCap(line, 20), false)
		assert.Equal(t, 10.0, capsOf(g, anew(20, 0.1, true))[line])
		again := restarted(t, anew(21, 1.1, true), g, withCap(line, 20), true)
		for _, g := range []*Guard{g, again} {
			assert.Equal(t, 10.0, capsOf(g, anew(24.9, 5, true))[line])
			assert.Equal(t, 20.0, capsOf(g, anew(25.1, 5.2, true))[line])
		}
	})
	t.Run("on another clock that nobody confirmed, from the start on", func(t *testing.T) {
		g := restarted(t, anew(20, 0.1, false), reloaded(), withCap(line, 20), false)
		assert.Equal(t, 10.0, capsOf(g, anew(44, 24, false))[line])
		assert.Equal(t, 20.0, capsOf(g, anew(44.2, 24.2, false))[line])
	})
	t.Run("a file changed between two runs", func(t *testing.T) {
		r := newRig(t, func(g *garden.Garden, _ *Options) { *g = *withCap(line, 10) })
		g := restarted(t, hours(5), r.Guard, withCap(line, 20), true)
		assert.Equal(t, 10.0, capsOf(g, hours(5))[line])
		g = restarted(t, hours(6), g, withCap(line, 20), true)
		assert.Equal(t, 10.0, capsOf(g, hours(28.9))[line], "from when it was first seen")
		assert.Equal(t, 20.0, capsOf(g, hours(29))[line])
		lower := restarted(t, hours(7), r.Guard, withCap(line, 4), true)
		assert.Equal(t, 4.0, capsOf(lower, hours(7))[line], "lower holds at once")
	})
	t.Run("a line that was built anew", func(t *testing.T) {
		r := newRig(t, func(g *garden.Garden, _ *Options) { *g = *withCap(line, 10); g.Supply.FlowLPH = 8 })
		to := withCap(line, 20)
		to.Lines[0].Outlets[0].Emitters += 20
		to.Supply.FlowLPH = 100
		g := restarted(t, hours(5), r.Guard, to, true)
		assert.Equal(t, 20.0, capsOf(g, hours(5))[line])
		for _, ln := range g.lines {
			assert.GreaterOrEqual(t, g.rules.supply.flowLPH, ln.flowLPH, "or it could not open for a day")
		}
	})
	t.Run("what is no limits changes nothing", func(t *testing.T) {
		for _, text := range []string{"", "{}", "[]", "null", `{"rules":{"now":{"supply_l_per_h":9}},"lines":[{"line":"chilli"}]}`} {
			g, err := NewGuard(withCap(line, 20), nil, newLedger(new([]string)), peaks)
			require.NoError(t, err)
			require.Error(t, g.Recall(hours(1), []byte(text), true), text)
			assert.Equal(t, 20.0, capsOf(g, hours(1))[line], text)
		}
	})
}

// TestRestartsLoosenNothing: whatever versions of a file come when, by a reload or by
// a restart, at each time holds exactly what would without one on the same clock, and
// nothing looser on another.
func TestRestartsLoosenNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		draw := func() *garden.Garden {
			g := terrace()
			g.Limits.DailyFactor = rapid.Float64Range(2, 10).Draw(t, "factor")
			g.Limits.MaxOn = time.Duration(rapid.Int64Range(int64(time.Minute), int64(6*time.Hour)).Draw(t, "on"))
			g.Limits.MinRest = time.Duration(rapid.IntRange(0, 9).Draw(t, "rest")) * time.Minute
			g.Limits.SurvivalShare = rapid.Float64Range(0, 0.2).Draw(t, "survival")
			g.Limits.NoJournalDoses = rapid.IntRange(0, 20).Draw(t, "doses")
			g.Limits.FrostC = rapid.Float64Range(-5, 15).Draw(t, "frost")
			if rapid.Bool().Draw(t, "hours") {
				g.Supply.Hours = []garden.DayWindow{{From: 0, To: time.Duration(rapid.IntRange(1, 24).Draw(t, "to")) * time.Hour}}
			}
			return g
		}
		g := draw()
		r := newRig(t, func(to *garden.Garden, _ *Options) { *to = *g })
		whole := r.Guard // never restarted
		same, other := whole, whole
		now, boot := at(time.Hour), time.Duration(0)
		elsewhere := func() garden.Moment { m := now; m.Mono -= boot; return m }
		for n := range rapid.IntRange(1, 10).Draw(t, "steps") {
			now = now.Add(time.Duration(rapid.Int64Range(0, int64(20*time.Hour)).Draw(t, "wait")))
			if rapid.Bool().Draw(t, "changed") {
				g = draw()
			}
			restart := n == 0 || rapid.Bool().Draw(t, "restart")
			require.NoError(t, whole.Reload(now, g, Options{PeakNeedL: map[garden.LineID]float64{"chilli": 4, "chard": 4, "both": 8}}))
			if restart {
				same = restarted(t, now, same, g, true)
				reboot := rapid.Bool().Draw(t, "reboot")
				if reboot {
					boot = now.Mono - time.Minute
				}
				other = restarted(t, elsewhere(), other, g, !reboot)
			} else {
				for _, ln := range same.lines {
					ln.pos = shut
				}
				for _, ln := range other.lines {
					ln.pos = shut
				}
				o := Options{PeakNeedL: map[garden.LineID]float64{"chilli": 4, "chard": 4, "both": 8}}
				require.NoError(t, same.Reload(now, g, o))
				require.NoError(t, other.Reload(elsewhere(), g, o))
			}
			later := time.Duration(rapid.Int64Range(0, int64(30*time.Hour)).Draw(t, "later"))
			for _, m := range []time.Duration{0, later} {
				_, _ = whole.Snapshot(now.Add(m))
				_, _ = same.Snapshot(now.Add(m))
				_, _ = other.Snapshot(elsewhere().Add(m))
				require.Equal(t, fmt.Sprint(whole.rules), fmt.Sprint(same.rules))
				require.True(t, other.rules.tighter(whole.rules).same(other.rules), "%v after %v", other.rules, whole.rules)
				for i := range whole.lines {
					require.Equal(t, whole.lines[i].bounds, same.lines[i].bounds)
					b := other.lines[i].bounds
					require.Equal(t, b, b.tighter(whole.lines[i].bounds))
				}
			}
			now = now.Add(later)
		}
	})
}
