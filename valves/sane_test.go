package valves

import (
	"math"
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestTheSecondLookAlone hands the guard's own check what a mistake in permit would
// let through: each bound is passed by a little and nothing else is, so that no
// other part of the check can refuse for it.
func TestTheSecondLookAlone(t *testing.T) {
	const now = 2 * time.Hour
	type look struct {
		*rig
		ln    *line
		asked garden.Order
		p     pass
	}
	// What is let through: 2 L within 20 minutes, of the same asked for, on a line of
	// 8 L/h with a cap of 12 L, by a pump that may run for half an hour.
	build := func(t *testing.T) *look {
		r := newRig(t, func(g *garden.Garden, _ *Options) {
			g.Lines[0].DailyCapL = garden.Known(12)
			g.Supply.Pump = garden.Pump{Fitted: true, MaxRun: 30 * time.Minute}
			g.Supply.Float.Fitted = true
		})
		r.float = garden.FloatUp
		chilli, _ := r.index("chilli")
		l := &look{rig: r, ln: chilli, asked: r.order("chilli", 2, 20*time.Minute), p: pass{litres: 2, maxOn: 20 * time.Minute}}
		require.True(t, r.sane(at(now), l.ln, l.asked, l.p), "within every bound")
		return l
	}
	// A third of an hour at 8 L/h is 2.67 L: with that much less than the cap there is room.
	room := 12 - 8.0/3
	spent := func(l *look, litres float64, at time.Duration) {
		l.ln.charges = append(l.ln.charges, charge{litres: litres, at: stamp{mono: at}})
	}
	runs := func(l *look, id garden.LineID, pos position) {
		other, _ := l.index(id)
		other.pos, other.pulse = pos, &pulse{deadline: now + time.Minute}
	}
	for name, over := range map[string]func(*look){
		"no litres":                        func(l *look) { l.p.litres = 0 },
		"litres below nothing":             func(l *look) { l.p.litres = -1 },
		"litres that are no number":        func(l *look) { l.p.litres = math.NaN() },
		"more litres than asked for":       func(l *look) { l.p.litres = 2.01 },
		"no time":                          func(l *look) { l.p.maxOn = 0 },
		"a time below nothing":             func(l *look) { l.p.maxOn = -time.Second },
		"longer than asked for":            func(l *look) { l.p.maxOn += time.Second },
		"longer than the line may be open": func(l *look) { l.ln.maxOn = 20*time.Minute - time.Second },
		"a close that is not confirmed":    func(l *look) { l.ln.pos = unconfirmed },
		"open":                             func(l *look) { l.ln.pos = open },
		"about to be opened":               func(l *look) { l.ln.pos = opening },
		"a pulse in progress":              func(l *look) { l.ln.pulse = &pulse{} },
		"a float that hangs":               func(l *look) { l.float = garden.FloatDown },
		"a try under it, too early": func(l *look) {
			l.float, l.low.told, l.low.tryAt, l.meter.known = garden.FloatDown, true, now+time.Second, true
		},
		"a try under it, with nobody to count": func(l *look) {
			l.float, l.low.told, l.low.tryAt = garden.FloatDown, true, now
		},
		"a try under it, beside another": func(l *look) {
			l.float, l.low.told, l.low.tryAt, l.meter.known = garden.FloatDown, true, now, true
			runs(l, "chard", open)
		},
		"a pump at rest":                    func(l *look) { l.pump.lockedTill = now + time.Second },
		"longer than the pump may run":      func(l *look) { l.pump.MaxRun = 20*time.Minute - time.Second },
		"over the day's cap at once":        func(l *look) { l.ln.capL = 8.0/3 - 0.01 },
		"over the day's cap with the day's": func(l *look) { spent(l, room/2, now-time.Hour); spent(l, room/2+0.01, now-time.Hour) },
		"over it by a long pulse of few litres": func(l *look) {
			l.p.litres = 0.1
			spent(l, room+0.01, now-time.Hour)
		},
		"more than the supply carries":           func(l *look) { l.rules.supply.flowLPH = 7.9 },
		"beside what is open":                    func(l *look) { l.rules.supply.flowLPH = 15.9; runs(l, "chard", open) },
		"beside what is about to be opened":      func(l *look) { l.rules.supply.flowLPH = 15.9; runs(l, "chard", opening) },
		"beside what is not confirmed closed":    func(l *look) { l.rules.supply.flowLPH = 15.9; runs(l, "chard", unconfirmed) },
		"beside two, which the supply would not": func(l *look) { runs(l, "chard", open); runs(l, "both", open) },
		"beside what is open for no pulse known": func(l *look) {
			l.rules.supply.flowLPH = 15.9
			chard, _ := l.index("chard")
			chard.pos = open
		},
		"beside what will be open for no pulse known": func(l *look) {
			l.rules.supply.flowLPH = 15.9
			chard, _ := l.index("chard")
			chard.pos = opening
		},
		"beside one that runs and one that nobody can close": func(l *look) {
			runs(l, "chard", open)
			both, _ := l.index("both")
			both.owed, both.pos, both.attempts = []owing{{}}, unconfirmed, unsureTries
			both.since = now - unsureAfter
		},
		"beside what an earlier run left": func(l *look) {
			l.rules.supply.flowLPH = 15.9
			chard, _ := l.index("chard")
			chard.owed = []owing{{}}
		},
	} {
		t.Run(name, func(t *testing.T) {
			l := build(t)
			over(l)
			assert.False(t, l.sane(at(now), l.ln, l.asked, l.p))
		})
	}
	t.Run("a try under a float that hangs", func(t *testing.T) {
		l := build(t)
		l.float, l.low.told, l.low.tryAt, l.meter.known = garden.FloatDown, true, now, true
		assert.True(t, l.sane(at(now), l.ln, l.asked, l.p))
	})
	t.Run("longer than anything may be open", func(t *testing.T) {
		l := build(t)
		l.pump.MaxRun, l.ln.maxOn, l.ln.capL = 100*time.Hour, 100*time.Hour, 1000
		l.asked.MaxOn, l.p.maxOn = 100*time.Hour, hardMaxOn
		require.True(t, l.sane(at(now), l.ln, l.asked, l.p))
		l.p.maxOn += time.Second
		assert.False(t, l.sane(at(now), l.ln, l.asked, l.p))
	})
	t.Run("up to each bound it lets through", func(t *testing.T) {
		for name, up := range map[string]func(*look){
			"the line's time":            func(l *look) { l.ln.maxOn = 20 * time.Minute },
			"the pump's time":            func(l *look) { l.pump.MaxRun = 20 * time.Minute },
			"the end of the pump's rest": func(l *look) { l.pump.lockedTill = now },
			"the cap with the day's":     func(l *look) { spent(l, room, now-time.Hour) },
			"what the supply carries":    func(l *look) { runs(l, "chard", open) },
		} {
			l := build(t)
			up(l)
			assert.True(t, l.sane(at(now), l.ln, l.asked, l.p), name)
		}
	})
	t.Run("what it refuses is not opened", func(t *testing.T) {
		l := build(t)
		l.pump.MaxRun, l.ln.maxOn, l.ln.capL = 100*time.Hour, 100*time.Hour, 1000
		l.ln.file.now = l.ln.bounds
		l.asked.Litres, l.asked.MaxOn = 40, hardMaxOn+time.Hour
		_, cause, _ := permit(l.asked, l.facts(at(now), l.ln, l.asked), Env{})
		require.Equal(t, garden.NotRefused, cause, "permit goes by the line's own limit")
		ref, ok := l.Request(at(now), Env{}, l.asked)
		assert.False(t, ok)
		assert.Equal(t, garden.BadOrder, ref.Cause)
		assert.False(t, l.valves["chilli"].open)
		assert.Empty(t, l.ledger.intents)
	})
	t.Run("what left the day counts for nothing", func(t *testing.T) {
		l := build(t)
		spent(l, room+0.01, now)
		assert.False(t, l.sane(at(now+day-time.Second), l.ln, l.asked, l.p))
		assert.True(t, l.sane(at(now+day), l.ln, l.asked, l.p))
	})
}
