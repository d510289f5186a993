package valves

import (
	"math"
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// calm is a line with nothing against it: 8 L/h, 10 L a day, ten o'clock.
func calm() (garden.Order, facts) {
	o := garden.Order{ID: 1, Line: "chilli", Litres: 2, MaxOn: time.Hour}
	f := facts{
		now: at(10 * time.Hour), pos: shut, flowLPH: 8, maxOn: 90 * time.Minute, margin: 1.25,
		capL: 10, doseL: 1.6, supply: supply{flowLPH: 16}, frostC: 2,
	}
	return o, f
}

func TestPermit(t *testing.T) {
	hours := func(w ...garden.DayWindow) []garden.DayWindow { return w }
	for _, c := range []struct {
		name   string
		change func(*garden.Order, *facts, *Env)
		cause  garden.RefusalCause
		until  time.Duration
		litres float64
		maxOn  time.Duration
	}{
		{name: "nothing against it: nominal time × margin",
			litres: 2, maxOn: 18*time.Minute + 45*time.Second},
		{name: "NaN litres", change: func(o *garden.Order, _ *facts, _ *Env) { o.Litres = math.NaN() }, cause: garden.BadOrder},
		{name: "infinite litres", change: func(o *garden.Order, _ *facts, _ *Env) { o.Litres = math.Inf(1) }, cause: garden.BadOrder},
		{name: "no litres", change: func(o *garden.Order, _ *facts, _ *Env) { o.Litres = 0 }, cause: garden.BadOrder},
		{name: "no deadline", change: func(o *garden.Order, _ *facts, _ *Env) { o.MaxOn = 0 }, cause: garden.BadOrder},
		{name: "negative deadline", change: func(o *garden.Order, _ *facts, _ *Env) { o.MaxOn = -1 }, cause: garden.BadOrder},
		{name: "no number", change: func(o *garden.Order, _ *facts, _ *Env) { o.ID = 0 }, cause: garden.BadOrder},
		{name: "unknown kind", change: func(o *garden.Order, _ *facts, _ *Env) { o.Kind = 77 }, cause: garden.BadOrder},
		{name: "its own deadline is shorter", change: func(o *garden.Order, _ *facts, _ *Env) { o.MaxOn = time.Minute },
			litres: 2, maxOn: time.Minute},
		{name: "the line's limit is shorter", change: func(_ *garden.Order, f *facts, _ *Env) { f.maxOn = 2 * time.Minute },
			litres: 2, maxOn: 2 * time.Minute},
		{name: "less than its valve can open for", change: func(o *garden.Order, f *facts, _ *Env) { o.Litres, f.leastOn = 0.0017, time.Second }, cause: garden.TooShort},
		{name: "so little of the day's limit left", change: func(_ *garden.Order, f *facts, _ *Env) { f.spentL, f.leastOn = 9.89, time.Minute }, cause: garden.TooShort},
		{name: "as long as its valve can open for", change: func(o *garden.Order, f *facts, _ *Env) { o.MaxOn, f.leastOn = time.Second, time.Second },
			litres: 2, maxOn: time.Second},
		{name: "already open", change: func(_ *garden.Order, f *facts, _ *Env) { f.pos = open }, cause: garden.LineBusy},
		{name: "about to open", change: func(_ *garden.Order, f *facts, _ *Env) { f.pos = opening }, cause: garden.LineBusy},
		{name: "not confirmed closed", change: func(_ *garden.Order, f *facts, _ *Env) { f.pos = unconfirmed }, cause: garden.NotConfirmed},
		{name: "kept shut", change: func(_ *garden.Order, f *facts, _ *Env) { f.heldUntil = 11 * time.Hour },
			cause: garden.HeldShut, until: 11 * time.Hour},
		{name: "keeping it shut is over", change: func(_ *garden.Order, f *facts, _ *Env) { f.heldUntil = 10 * time.Hour },
			litres: 2, maxOn: 18*time.Minute + 45*time.Second},
		{name: "automatic control off", change: func(_ *garden.Order, _ *facts, e *Env) { e.AutoOff = true }, cause: garden.ControlOff},
		{name: "feeding with automatic control off", change: func(o *garden.Order, _ *facts, e *Env) { e.AutoOff, o.Kind = true, garden.Feeding }, cause: garden.ControlOff},
		{name: "by hand with automatic control off", change: func(o *garden.Order, _ *facts, e *Env) { e.AutoOff, o.Kind = true, garden.ByHand },
			litres: 2, maxOn: 18*time.Minute + 45*time.Second},
		{name: "a survival dose is bounded by the guard", change: func(o *garden.Order, _ *facts, e *Env) { e.AutoOff, o.Kind = true, garden.Survival },
			litres: 1.6, maxOn: 15 * time.Minute},
		{name: "the day's survival dose is given", change: func(o *garden.Order, f *facts, _ *Env) {
			o.Kind, f.doseSpentL, f.doseUntil = garden.Survival, 1.6, 20*time.Hour
		}, cause: garden.CapReached, until: 20 * time.Hour},
		{name: "frost in the air", change: func(_ *garden.Order, _ *facts, e *Env) { e.AirC = garden.Known(1.9) }, cause: garden.FrostLock},
		{name: "frost in the mix", change: func(_ *garden.Order, _ *facts, e *Env) { e.MixC = garden.Known(-1) }, cause: garden.FrostLock},
		{name: "just no frost", change: func(_ *garden.Order, _ *facts, e *Env) { e.AirC = garden.Known(2) },
			litres: 2, maxOn: 18*time.Minute + 45*time.Second},
		{name: "minimum rest", change: func(_ *garden.Order, f *facts, _ *Env) { f.restUntil = 10*time.Hour + 1 },
			cause: garden.TooSoon, until: 10*time.Hour + 1},
		{name: "rest just over", change: func(_ *garden.Order, f *facts, _ *Env) { f.restUntil = 10 * time.Hour },
			litres: 2, maxOn: 18*time.Minute + 45*time.Second},
		{name: "cap used up", change: func(_ *garden.Order, f *facts, _ *Env) { f.spentL, f.capUntil = 10, 30*time.Hour },
			cause: garden.CapReached, until: 30 * time.Hour},
		{name: "shortened to what the cap leaves, deadline too", change: func(_ *garden.Order, f *facts, _ *Env) { f.spentL = 9 },
			litres: 1, maxOn: 7*time.Minute + 30*time.Second},
		{name: "a rest of the cap that is not worth a click", change: func(_ *garden.Order, f *facts, _ *Env) { f.spentL, f.capUntil = 9.95, 30*time.Hour },
			cause: garden.CapReached, until: 30 * time.Hour},
		{name: "tank empty down to its reserve", change: func(_ *garden.Order, f *facts, e *Env) { f.tankReserveL, e.TankL = 20, garden.Known(20) }, cause: garden.TankEmpty},
		{name: "shortened to what the tank holds", change: func(_ *garden.Order, f *facts, e *Env) {
			f.tankReserveL, f.promisedL, e.TankL = 20, 3, garden.Known(24)
		}, litres: 1, maxOn: 7*time.Minute + 30*time.Second},
		{name: "supply taken", change: func(_ *garden.Order, f *facts, _ *Env) {
			f.draws = []draw{{flowLPH: 4, until: 12 * time.Hour}, {flowLPH: 5, until: 11 * time.Hour}}
		}, cause: garden.SupplyBusy, until: 11 * time.Hour},
		{name: "supply just enough", change: func(_ *garden.Order, f *facts, _ *Env) { f.draws = []draw{{flowLPH: 8, until: 12 * time.Hour}} },
			litres: 2, maxOn: 18*time.Minute + 45*time.Second},
		{name: "outside hours", change: func(_ *garden.Order, f *facts, _ *Env) {
			f.hours = hours(garden.DayWindow{From: 20 * time.Hour, To: 22 * time.Hour}, garden.DayWindow{From: 5 * time.Hour, To: 7 * time.Hour})
		}, cause: garden.OutsideHours, until: 20 * time.Hour},
		{name: "hours wait for a clock that is confirmed", change: func(_ *garden.Order, f *facts, _ *Env) {
			f.hours, f.now.Synced = hours(garden.DayWindow{From: 20 * time.Hour, To: 22 * time.Hour}), false
		}, litres: 2, maxOn: 18*time.Minute + 45*time.Second},
		{name: "shortened to the end of the hours", change: func(_ *garden.Order, f *facts, _ *Env) {
			f.hours = hours(garden.DayWindow{From: 9 * time.Hour, To: 10*time.Hour + 3*time.Minute})
		}, litres: 2, maxOn: 3 * time.Minute},
		{name: "windows that touch are one", change: func(_ *garden.Order, f *facts, _ *Env) {
			f.hours = hours(garden.DayWindow{From: 10*time.Hour + 3*time.Minute, To: 12 * time.Hour}, garden.DayWindow{From: 9 * time.Hour, To: 10*time.Hour + 3*time.Minute})
		}, litres: 2, maxOn: 18*time.Minute + 45*time.Second},
	} {
		t.Run(c.name, func(t *testing.T) {
			o, f := calm()
			var e Env
			if c.change != nil {
				c.change(&o, &f, &e)
			}
			p, cause, until := permit(o, f, e)
			assert.Equal(t, c.cause, cause, "%v", cause)
			assert.Equal(t, c.until, until)
			assert.InDelta(t, c.litres, p.litres, 1e-9)
			assert.InDelta(t, float64(c.maxOn), float64(p.maxOn), 10)
		})
	}
}

func TestHours(t *testing.T) {
	athens, err := time.LoadLocation("Europe/Athens")
	if err != nil {
		t.Skip("this machine has no time zone database")
	}
	night := []garden.DayWindow{{From: 22 * time.Hour, To: 6 * time.Hour}}
	for _, c := range []struct {
		name       string
		at         time.Time
		left, wait time.Duration
	}{
		{"before midnight", time.Date(2031, 6, 1, 23, 0, 0, 0, athens), 7 * time.Hour, 0},
		{"after midnight", time.Date(2031, 6, 1, 5, 0, 0, 0, athens), time.Hour, 0},
		{"by day", time.Date(2031, 6, 1, 12, 0, 0, 0, athens), 0, 10 * time.Hour},
		// 30 March 2031, 03:00 becomes 04:00; 26 October 2031, 04:00 becomes
		// 03:00 (EU rule: last Sunday, 01:00 UTC; from memory).
		{"the night that is an hour short", time.Date(2031, 3, 29, 22, 0, 0, 0, athens), 7 * time.Hour, 0},
		{"the night that is an hour long", time.Date(2031, 10, 25, 22, 0, 0, 0, athens), 9 * time.Hour, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			left, wait := hoursLeft(night, c.at)
			assert.Equal(t, c.left, left)
			assert.Equal(t, c.wait, wait)
		})
	}
	t.Run("to midnight", func(t *testing.T) {
		left, _ := hoursLeft([]garden.DayWindow{{From: 18 * time.Hour, To: 24 * time.Hour}}, time.Date(2031, 6, 1, 23, 30, 0, 0, athens))
		assert.Equal(t, 30*time.Minute, left)
	})
	t.Run("always", func(t *testing.T) {
		left, _ := hoursLeft([]garden.DayWindow{{}}, time.Date(2031, 6, 1, 23, 30, 0, 0, athens))
		assert.GreaterOrEqual(t, left, 24*time.Hour)
	})
}

// TestPermitOnlyTightens: whatever the numbers, an order never gets longer, and
// a stricter world never allows more than a milder one.
func TestPermitOnlyTightens(t *testing.T) {
	litres := rapid.OneOf(rapid.Float64(), rapid.Float64Range(0, 20))
	span := rapid.OneOf(rapid.Int64(), rapid.Int64Range(0, int64(3*time.Hour)))
	known := func(t *rapid.T, name string, lo, hi float64) garden.Measured {
		if !rapid.Bool().Draw(t, name+" known") {
			return garden.Measured{}
		}
		return garden.Known(rapid.Float64Range(lo, hi).Draw(t, name))
	}
	rapid.Check(t, func(t *rapid.T) {
		o := garden.Order{
			ID: garden.OrderID(rapid.Uint64Range(0, 3).Draw(t, "id")), Litres: litres.Draw(t, "litres"),
			MaxOn: time.Duration(span.Draw(t, "max on")), Kind: garden.OrderKind(rapid.Uint8Range(0, 7).Draw(t, "kind")),
		}
		_, f := calm()
		f.now = at(time.Duration(rapid.Int64Range(0, int64(72*time.Hour)).Draw(t, "now")))
		f.now.Synced = rapid.Bool().Draw(t, "synced")
		f.pos = position(rapid.IntRange(0, 3).Draw(t, "pos"))
		f.spentL = rapid.Float64Range(0, 12).Draw(t, "spent")
		f.doseSpentL = rapid.Float64Range(0, 2).Draw(t, "dose spent")
		f.maxOn = time.Duration(rapid.Int64Range(1, int64(2*time.Hour)).Draw(t, "line max"))
		f.restUntil = f.now.Mono + time.Duration(rapid.Int64Range(-5, 2).Draw(t, "rest"))
		f.promisedL = rapid.Float64Range(0, 5).Draw(t, "promised")
		e := Env{AirC: known(t, "air", -5, 40), TankL: known(t, "tank", 0, 30), AutoOff: rapid.Bool().Draw(t, "auto off")}
		if rapid.Bool().Draw(t, "hours") {
			f.hours = []garden.DayWindow{{From: time.Duration(rapid.IntRange(0, 24).Draw(t, "from")) * time.Hour, To: time.Duration(rapid.IntRange(0, 24).Draw(t, "to")) * time.Hour}}
		}

		p, cause, _ := permit(o, f, e)
		if cause != garden.NotRefused {
			require.Zero(t, p)
			return
		}
		require.True(t, p.litres > 0 && p.litres <= o.Litres, "%v of %v", p.litres, o.Litres)
		require.True(t, p.maxOn > 0 && p.maxOn <= o.MaxOn && p.maxOn <= f.maxOn)
		require.LessOrEqual(t, nominal(f.flowLPH, p.maxOn), (f.capL-f.spentL)*(1+1e-9))

		for name, strict := range map[string]func(*facts, *Env){
			"more spent":   func(f *facts, _ *Env) { f.spentL += 0.5 },
			"less time":    func(f *facts, _ *Env) { f.maxOn /= 2 },
			"less in tank": func(_ *facts, e *Env) { e.TankL = garden.Known(e.TankL.Or(30) - 1) },
			"supply taken": func(f *facts, _ *Env) { f.draws = []draw{{flowLPH: 4}} },
			"frost":        func(_ *facts, e *Env) { e.MixC = garden.Known(-3) },
			"control off":  func(_ *facts, e *Env) { e.AutoOff = true },
			"kept shut":    func(f *facts, _ *Env) { f.heldUntil = f.now.Mono + 1 },
		} {
			f2, e2 := f, e
			strict(&f2, &e2)
			p2, _, _ := permit(o, f2, e2)
			require.LessOrEqual(t, p2.litres, p.litres, name)
			require.LessOrEqual(t, p2.maxOn, p.maxOn, name)
		}
	})
}
