package valves

import (
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
