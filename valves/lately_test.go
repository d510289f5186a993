package valves

import (
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// TestReloadOfEveryLimit: each limit a garden file gives holds at once where it
// tightens and a day later where it loosens, by what the guard then lets through.
func TestReloadOfEveryLimit(t *testing.T) {
	hour := func(h int) time.Duration { return time.Duration(h) * time.Hour }
	window := func(from, to int) []garden.DayWindow { return []garden.DayWindow{{From: hour(from), To: hour(to)}} }
	// The rig's clock starts at midnight; requests come at ten and at ten the next day.
	ten := at(10 * time.Hour)
	for name, c := range map[string]struct {
		tight, loose func(*garden.Garden)
		env          Env
		cause        garden.RefusalCause
		before       func(t *testing.T, r *rig, now garden.Moment)
	}{
		"rest": {
			func(g *garden.Garden) { g.Limits.MinRest = time.Hour }, func(g *garden.Garden) { g.Limits.MinRest = time.Minute }, Env{}, garden.TooSoon,
			func(t *testing.T, r *rig, now garden.Moment) {
				r.lines[0].closed, r.lines[0].lastClose = true, stampOf(now.Add(-10*time.Minute))
			},
		},
		"frost": {
			func(g *garden.Garden) { g.Limits.FrostC = 5 }, func(g *garden.Garden) { g.Limits.FrostC = 1 }, Env{AirC: garden.Known(3)}, garden.FrostLock, nil,
		},
		"tank reserve": {
			func(g *garden.Garden) { g.Supply.TankReserveL = 50 }, func(g *garden.Garden) { g.Supply.TankReserveL = 5 }, Env{TankL: garden.Known(40)}, garden.TankEmpty, nil,
		},
		"what the supply carries": {
			func(g *garden.Garden) { g.Supply.FlowLPH = 7 }, func(g *garden.Garden) { g.Supply.FlowLPH = 16 }, Env{}, garden.SupplyBusy, nil,
		},
		"hours": {
			func(g *garden.Garden) { g.Supply.Hours = window(6, 9) }, func(g *garden.Garden) { g.Supply.Hours = window(6, 12) }, Env{}, garden.OutsideHours, nil,
		},
		"hours, and none": {
			func(g *garden.Garden) { g.Supply.Hours = window(20, 8) }, func(g *garden.Garden) { g.Supply.Hours = nil }, Env{}, garden.OutsideHours, nil,
		},
	} {
		of := func(f func(*garden.Garden)) *garden.Garden {
			g := terrace()
			f(g)
			return g
		}
		opens := func(t *testing.T, r *rig, now garden.Moment) bool {
			if c.before != nil {
				c.before(t, r, now)
			}
			no, ok := r.Request(now, c.env, r.order("chilli", 0.1, 10*time.Minute))
			if !ok {
				require.Equal(t, c.cause, no.Cause)
			}
			return ok
		}
		start := func(f func(*garden.Garden)) *rig {
			return newRig(t, func(g *garden.Garden, _ *Options) { *g = *of(f) })
		}
		t.Run(name+", tighter at once", func(t *testing.T) {
			r := start(c.loose)
			require.NoError(t, r.Guard.Reload(ten, of(c.tight), Options{}))
			assert.False(t, opens(t, r, ten))
		})
		t.Run(name+", looser a day later", func(t *testing.T) {
			r := start(c.tight)
			require.NoError(t, r.Guard.Reload(ten, of(c.loose), Options{}))
			assert.False(t, opens(t, r, ten), "at once")
			// Another change in between neither puts it off nor brings it forward.
			require.NoError(t, r.Guard.Reload(ten.Add(20*time.Hour), of(func(g *garden.Garden) { c.loose(g); g.Limits.MaxOn = time.Hour }), Options{}))
			assert.False(t, opens(t, r, ten.Add(day-time.Nanosecond)), "a moment before")
			assert.True(t, opens(t, r, ten.Add(day)))
		})
		t.Run(name+", as it was", func(t *testing.T) {
			r := start(c.loose)
			require.NoError(t, r.Guard.Reload(ten, of(c.loose), Options{}))
			assert.True(t, opens(t, r, ten))
		})
	}
	t.Run("hours that move hold at once: a day without any would be worse", func(t *testing.T) {
		r := newRig(t, func(g *garden.Garden, _ *Options) { g.Supply.Hours = window(6, 8) })
		g := terrace()
		g.Supply.Hours = window(9, 12)
		require.NoError(t, r.Guard.Reload(ten, g, Options{}))
		_, ok := r.Request(ten, Env{}, r.order("chilli", 0.1, 10*time.Minute))
		assert.True(t, ok)
	})
}

// TestLoosening: whatever versions of a file come when, in force is the tightest
// of those of the last day; told by keeping all of them.
func TestLoosening(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		draw := func() bounds {
			return bounds{capL: rapid.Float64Range(0, 9).Draw(t, "cap"), maxOn: time.Duration(rapid.IntRange(0, 9).Draw(t, "on")), doses: rapid.IntRange(0, 3).Draw(t, "doses")}
		}
		type version struct {
			what  bounds
			until time.Duration
		}
		l := lately[bounds]{now: draw()}
		var past []version
		now := at(0)
		for range rapid.IntRange(1, 3*mostSaid).Draw(t, "changes") {
			now = now.Add(time.Duration(rapid.Int64Range(0, int64(9*time.Hour)).Draw(t, "wait")))
			to := draw()
			if rapid.Bool().Draw(t, "the same") {
				to = l.now
			}
			if to != l.now {
				past = append(past, version{l.now, now.Mono})
			}
			l.turn(now, to)
			now = now.Add(time.Duration(rapid.Int64Range(0, int64(30*time.Hour)).Draw(t, "later")))
			want := to
			for _, v := range past {
				if now.Mono < v.until+day {
					want = want.tighter(v.what)
				}
			}
			if got := l.inForce(now); got != want {
				t.Fatalf("%+v in force, expected %+v", got, want)
			}
		}
	})
	t.Run("a file that changes all the time is remembered by no more than that", func(t *testing.T) {
		l := lately[bounds]{now: bounds{capL: 1}}
		for n := range 10 * mostSaid {
			l.turn(at(time.Duration(n)), bounds{capL: float64(2 + n)})
		}
		assert.Len(t, l.was, mostSaid)
		assert.Equal(t, 1.0, l.inForce(at(day-1)).capL, "the tightest is not forgotten")
	})
}

func TestNarrowerHours(t *testing.T) {
	w := func(hs ...float64) (out []garden.DayWindow) {
		for i := 0; i < len(hs); i += 2 {
			out = append(out, garden.DayWindow{From: time.Duration(hs[i] * float64(time.Hour)), To: time.Duration(hs[i+1] * float64(time.Hour))})
		}
		return out
	}
	for _, c := range []struct {
		a, b []garden.DayWindow
		want bool
	}{
		{w(6, 8), w(6, 8), true},
		{w(6, 8), w(5, 9), true},
		{w(6, 8), w(6, 7), false},
		{w(6, 8), w(7, 9), false},
		{w(6, 8), w(6, 7, 7, 8), true},
		{w(22, 2), w(20, 4), true},
		{w(22, 2), w(22, 24), false},
		{w(23, 24), w(22, 2), true},
		{w(6, 8, 20, 22), w(5, 23), true},
		{w(6, 8), nil, true},
		{nil, w(6, 8), false},
		{nil, nil, true},
		{nil, w(3, 3), true},
	} {
		assert.Equal(t, c.want, narrower(c.a, c.b), "%v in %v", c.a, c.b)
	}
}
