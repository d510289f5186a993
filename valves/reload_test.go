package valves

import (
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// capsOf are the lines' caps as a page shows them.
func capsOf(g *Guard, now garden.Moment) map[garden.LineID]float64 {
	out := map[garden.LineID]float64{}
	lines, _ := g.Snapshot(now)
	for _, s := range lines {
		out[s.Line] = s.CapL
	}
	return out
}

// withCap is the rig's garden with another cap on one line.
func withCap(line garden.LineID, litres float64) *garden.Garden {
	g := terrace()
	for i := range g.Lines {
		if g.Lines[i].ID == line {
			g.Lines[i].DailyCapL = garden.Known(litres)
		}
	}
	return g
}

// TestReloadOfLimits: lower holds at once, higher a day later, and what was given
// stays charged.
func TestReloadOfLimits(t *testing.T) {
	const line = garden.LineID("chilli")
	peaks := Options{PeakNeedL: map[garden.LineID]float64{"chilli": 4, "chard": 4, "both": 8}}
	start := func() *rig {
		return newRig(t, func(g *garden.Garden, _ *Options) { *g = *withCap(line, 10) })
	}
	hours := func(h float64) garden.Moment { return at(time.Duration(h * float64(time.Hour))) }

	t.Run("a lower cap holds at once", func(t *testing.T) {
		r := start()
		require.NoError(t, r.Guard.Reload(hours(1), withCap(line, 4), peaks))
		assert.Equal(t, 4.0, capsOf(r.Guard, hours(1))[line])
	})
	t.Run("a higher one holds a day later, not a moment before", func(t *testing.T) {
		r := start()
		require.NoError(t, r.Guard.Reload(hours(1), withCap(line, 20), peaks))
		assert.Equal(t, 10.0, capsOf(r.Guard, hours(1))[line])
		assert.Equal(t, 10.0, capsOf(r.Guard, hours(25).Add(-time.Nanosecond))[line])
		assert.Equal(t, 20.0, capsOf(r.Guard, hours(25))[line])
	})
	t.Run("asking again makes it wait no longer and no less", func(t *testing.T) {
		r := start()
		require.NoError(t, r.Guard.Reload(hours(1), withCap(line, 20), peaks))
		require.NoError(t, r.Guard.Reload(hours(20), withCap(line, 20), peaks))
		assert.Equal(t, 10.0, capsOf(r.Guard, hours(24.9))[line])
		assert.Equal(t, 20.0, capsOf(r.Guard, hours(25))[line])
	})
	t.Run("down and up again is no way round", func(t *testing.T) {
		r := start()
		require.NoError(t, r.Guard.Reload(hours(1), withCap(line, 4), peaks))
		require.NoError(t, r.Guard.Reload(hours(2), withCap(line, 10), peaks))
		assert.Equal(t, 4.0, capsOf(r.Guard, hours(25.9))[line])
		assert.Equal(t, 10.0, capsOf(r.Guard, hours(26))[line])
	})
	t.Run("the same file changes nothing", func(t *testing.T) {
		r := start()
		before, _ := r.Guard.Snapshot(hours(1))
		require.NoError(t, r.Guard.Reload(hours(1), withCap(line, 10), peaks))
		after, _ := r.Guard.Snapshot(hours(1))
		assert.Equal(t, before, after)
	})
	t.Run("what was given stays charged", func(t *testing.T) {
		r := start()
		o := r.order(line, 3, time.Hour)
		_, opened := r.Guard.Request(hours(1), Env{}, o)
		require.True(t, opened)
		require.Error(t, r.Guard.Reload(hours(1), withCap(line, 20), peaks), "a line is open")
		open, until := r.Guard.AllShut()
		assert.Equal(t, []garden.LineID{line}, open)
		assert.Positive(t, until)
		r.Guard.Advance(hours(3))
		require.NoError(t, r.Guard.Reload(hours(3), withCap(line, 20), peaks))
		lines, _ := r.Guard.Snapshot(hours(3))
		for _, s := range lines {
			if s.Line == line {
				assert.GreaterOrEqual(t, s.SpentL, 3.0)
			}
		}
	})
	t.Run("another line, flow or number of lines takes a restart", func(t *testing.T) {
		for name, change := range map[string]func(*garden.Garden){
			"flow":  func(g *garden.Garden) { g.Lines[0].Outlets[0].Emitters++ },
			"name":  func(g *garden.Garden) { g.Lines[0].ID = "other" },
			"fewer": func(g *garden.Garden) { g.Lines = g.Lines[:1] },
			"limit": func(g *garden.Garden) { g.Limits.MaxOn = 0 },
		} {
			r := start()
			g := withCap(line, 4)
			change(g)
			require.Error(t, r.Guard.Reload(hours(1), g, peaks), name)
			assert.Equal(t, 10.0, capsOf(r.Guard, hours(1))[line], "%s: nothing changed", name)
		}
	})
}

// TestReloadNeverGivesMore: whatever limits come when, what is left of a line's
// day never grows by a reload, nor does its longest opening or survival dose.
func TestReloadNeverGivesMore(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := newRig(t, nil)
		now := at(time.Hour)
		coils := r.log
		for range rapid.IntRange(1, 12).Draw(t, "reloads") {
			now = now.Add(time.Duration(rapid.Int64Range(0, int64(30*time.Hour)).Draw(t, "wait")))
			r.Guard.Advance(now)
			g := terrace()
			g.Limits.DailyFactor = rapid.Float64Range(2, 10).Draw(t, "factor")
			g.Limits.MaxOn = time.Duration(rapid.Int64Range(int64(time.Minute), int64(6*time.Hour)).Draw(t, "on"))
			g.Limits.SurvivalShare = rapid.Float64Range(0, 0.2).Draw(t, "survival")
			g.Limits.NoJournalDoses = rapid.IntRange(0, 20).Draw(t, "doses")
			if rapid.Bool().Draw(t, "own cap") {
				g.Lines[0].DailyCapL = garden.Known(rapid.Float64Range(0.1, 100).Draw(t, "cap"))
			}
			before, _ := r.Guard.Snapshot(now)
			was := make([]bounds, len(r.lines))
			for i, ln := range r.lines {
				was[i] = ln.bounds
			}
			n := len(*coils)
			if err := r.Guard.Reload(now, g, Options{}); err != nil {
				t.Fatalf("reload: %v", err)
			}
			after, _ := r.Guard.Snapshot(now)
			for i := range after {
				if after[i].CapL-after[i].SpentL > before[i].CapL-before[i].SpentL || after[i].SpentL != before[i].SpentL {
					t.Fatalf("line %s: %v L of %v left, before %v of %v", after[i].Line, after[i].CapL-after[i].SpentL, after[i].CapL, before[i].CapL-before[i].SpentL, before[i].CapL)
				}
				if b := r.lines[i].bounds; b.tighter(was[i]) != b {
					t.Fatalf("line %s: %+v after %+v", after[i].Line, b, was[i])
				}
			}
			if len(*coils) != n {
				t.Fatalf("a reload commanded a coil: %v", (*coils)[n:])
			}
		}
	})
}
