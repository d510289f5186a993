package valves

import (
	"errors"
	"math"
	"sync/atomic"
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// tap notes what it was told, in an order shared with its companion.
type tap struct {
	name      string
	told      *[]string
	open      bool
	openFails error
	shutFails error
}

func (t *tap) Open(g Grant) error {
	*t.told = append(*t.told, t.name+" open")
	if !g.Valid() {
		return ErrNoGrant
	}
	t.open = t.openFails == nil
	return t.openFails
}

func (t *tap) Close() error {
	*t.told = append(*t.told, t.name+" close")
	if t.shutFails == nil {
		t.open = false
	}
	return t.shutFails
}

func (t *tap) Closed() (closed, known bool) { return !t.open, true }

func TestInjectorFollowsItsLine(t *testing.T) {
	live := &atomic.Bool{}
	live.Store(true)
	grant := func(k garden.OrderKind) Grant {
		return Grant{line: "l", order: 1, maxOn: time.Minute, kind: k, doses: garden.Order{Kind: k}.Doses(), live: live}
	}
	make := func() (Actuator, *tap, *tap, *[]string) {
		told := &[]string{}
		line, inj := &tap{name: "line", told: told}, &tap{name: "injector", told: told}
		return WithInjector(line, inj), line, inj, told
	}
	t.Run("only feed engages it", func(t *testing.T) {
		for k := garden.Irrigate; k <= garden.Commission; k++ {
			w, line, inj, _ := make()
			require.NoError(t, w.Open(grant(k)))
			assert.True(t, line.open)
			assert.Equal(t, k == garden.Feeding, inj.open, "%s", k)
		}
	})
	t.Run("a watering with feed in it engages it too, and it can go alone", func(t *testing.T) {
		w, line, inj, _ := make()
		g := grant(garden.Irrigate)
		g.doses = true
		require.NoError(t, w.Open(g))
		assert.True(t, line.open && inj.open)
		require.NoError(t, w.(doser).StopDosing())
		assert.True(t, line.open && !inj.open)
		inj.open, inj.shutFails = true, errors.New("stuck")
		require.ErrorIs(t, w.(doser).StopDosing(), errInjector)
	})
	t.Run("after the water, and gone before it", func(t *testing.T) {
		w, _, _, told := make()
		require.NoError(t, w.Open(grant(garden.Feeding)))
		require.NoError(t, w.Close())
		assert.Equal(t, []string{"injector close", "line open", "injector open", "injector close", "line close"}, *told)
		closed, known := w.Closed()
		assert.True(t, closed && known)
	})
	t.Run("no water, no feed", func(t *testing.T) {
		w, line, inj, _ := make()
		line.openFails = errors.New("stuck")
		require.Error(t, w.Open(grant(garden.Feeding)))
		assert.False(t, inj.open)
	})
	t.Run("an injector that does not engage closes the line", func(t *testing.T) {
		w, line, inj, _ := make()
		inj.openFails = errors.New("stuck")
		require.Error(t, w.Open(grant(garden.Feeding)))
		assert.False(t, line.open)
	})
	t.Run("one that can't be released lets no water through", func(t *testing.T) {
		w, line, inj, _ := make()
		inj.shutFails, inj.open = errors.New("stuck"), true
		require.Error(t, w.Open(grant(garden.Irrigate)))
		assert.False(t, line.open)
		closed, _ := w.Closed()
		assert.False(t, closed)
		require.Error(t, w.Close(), "and the line is closed all the same")
	})
	t.Run("no grant", func(t *testing.T) {
		w, line, inj, _ := make()
		require.ErrorIs(t, w.Open(Grant{}), ErrNoGrant)
		assert.False(t, line.open || inj.open)
	})
}

func TestPermitBoundsTheInjector(t *testing.T) {
	o, f := calm()
	f.maxDose = 5 * time.Minute
	o.Kind = garden.Feeding
	p, cause, _ := permit(o, f, Env{})
	require.Equal(t, garden.NotRefused, cause)
	assert.Equal(t, 5*time.Minute, p.maxOn)
	o.Kind = garden.Irrigate
	p, _, _ = permit(o, f, Env{})
	assert.Greater(t, p.maxOn, 14*time.Minute, "water alone may run longer")
	o.Kind, f.maxDose = garden.Feeding, 0
	p, _, _ = permit(o, f, Env{})
	assert.Greater(t, p.maxOn, 14*time.Minute, "no limit of its own")
}

// dosingRig is a guard whose first line has an injector.
func dosingRig(t *testing.T, change func(*garden.Garden)) (*rig, *fakeValve) {
	inj := &fakeValve{name: "injector", known: true}
	r := newRig(t, func(g *garden.Garden, o *Options) {
		g.Lines[0].Injector = garden.Injector{Ratio: 100, Switched: true}
		if change != nil {
			change(g)
		}
	})
	r.lines[0].act = WithInjector(r.valves["chilli"], inj)
	inj.log = r.log
	return r, inj
}

func metered(g *garden.Garden) { g.Supply.MeterPulsesPerL = garden.Known(450) }

// feedUnderWay is a feed of 4 L that begins at start, before a meter of so many
// pulses a litre.
func feedUnderWay(t *testing.T, pulsesPerL float64) (r *rig, injector *fakeValve, start time.Duration) {
	r, injector = dosingRig(t, func(g *garden.Garden) { g.Supply.MeterPulsesPerL = garden.Known(pulsesPerL) })
	start = 2 * time.Hour
	r.Meter(at(start), garden.Known(0))
	o := r.order("chilli", 4, time.Hour)
	o.Kind = garden.Feeding
	_, ok := r.Request(at(start), Env{}, o)
	require.True(t, ok)
	return r, injector, start
}

// TestInjectorNeverWithoutFlow: with a meter the injector runs as long as water is
// counted and not 30 s longer; a feed ends with it, a watering goes on plain.
func TestInjectorNeverWithoutFlow(t *testing.T) {
	run := func(t *testing.T, kind garden.OrderKind, flows func(time.Duration) bool) (garden.Delivery, time.Duration) {
		r, inj := dosingRig(t, metered)
		start := 2 * time.Hour
		total := 0.0
		r.Meter(at(start), garden.Known(total))
		o := r.order("chilli", 2, time.Hour)
		o.Kind, o.Dosed = kind, kind != garden.Feeding
		_, ok := r.Request(at(start), Env{}, o)
		require.True(t, ok)
		require.True(t, inj.open)
		released := time.Duration(-1)
		for s := time.Duration(0); s < 30*time.Minute; s += time.Second {
			now := at(start + s)
			if flows(s) {
				total += 8.0 / 3600
			}
			r.Meter(now, garden.Known(total))
			out := r.Advance(now)
			require.False(t, inj.open && !r.valves["chilli"].open, "an injector on a line that is shut")
			if !inj.open && released < 0 {
				released = s
			}
			if len(out) > 0 {
				return out[0], released
			}
		}
		t.Fatal("the pulse never ended")
		return garden.Delivery{}, 0
	}
	always := func(time.Duration) bool { return true }
	first := func(d time.Duration) func(time.Duration) bool { return func(s time.Duration) bool { return s < d } }
	t.Run("flow all the way", func(t *testing.T) {
		d, _ := run(t, garden.Feeding, always)
		assert.Equal(t, garden.Complete, d.End)
		assert.False(t, d.DoseDry)
		assert.InDelta(t, d.Litres, d.DosedL, 1e-9)
	})
	t.Run("no flow from the start ends a feed within its time", func(t *testing.T) {
		d, released := run(t, garden.Feeding, first(0))
		assert.LessOrEqual(t, released, garden.DefaultFlowWithin+time.Second)
		assert.Equal(t, garden.Faulted, d.End)
		assert.True(t, d.DoseDry)
		assert.Zero(t, d.DosedL)
	})
	t.Run("flow that stops ends it too", func(t *testing.T) {
		d, released := run(t, garden.Feeding, first(5*time.Minute))
		assert.InDelta(t, 5.5, released.Minutes(), 0.1)
		assert.True(t, d.DoseDry)
		assert.InDelta(t, 8.0/12, d.DosedL, 0.01)
	})
	t.Run("a watering goes on without feed", func(t *testing.T) {
		d, released := run(t, garden.Irrigate, func(s time.Duration) bool { return s < 2*time.Minute || s > 5*time.Minute })
		assert.InDelta(t, 2.5, released.Minutes(), 0.1)
		assert.True(t, d.DoseDry)
		assert.InDelta(t, 8.0/30, d.DosedL, 0.01)
		assert.Greater(t, d.Litres, 1.5)
	})
	t.Run("a stray pulse proves nothing", func(t *testing.T) {
		r, inj, start := feedUnderWay(t, 450)
		for s := time.Duration(0); inj.open; s += time.Second {
			require.LessOrEqual(t, s, garden.DefaultFlowWithin+time.Second)
			total := 0.0
			if s >= 20*time.Second {
				total = 1.0 / 450
			}
			r.Meter(at(start+s), garden.Known(total))
			r.Advance(at(start + s))
		}
	})
	t.Run("a meter of few pulses proves a line that gives seven tenths", func(t *testing.T) {
		r, inj, start := feedUnderWay(t, 1)
		for s := time.Duration(0); s < 25*time.Minute; s += time.Second {
			r.Meter(at(start+s), garden.Known(math.Floor(0.7*8*s.Hours())))
			r.Advance(at(start + s))
			require.True(t, inj.open, "after %v", s)
		}
	})
	t.Run("a meter of few pulses is given the time of three", func(t *testing.T) {
		g := terrace()
		g.Supply.MeterPulsesPerL = garden.Known(1)
		g.Lines[0].Injector = garden.Injector{Ratio: 100}
		// 3 L at 8 L/h.
		assert.InDelta(t, 22.5, proofTime(g, &g.Lines[0]).Minutes(), 0.01)
		g.Lines[0].Injector.Premixed = true
		assert.Zero(t, proofTime(g, &g.Lines[0]))
	})
	t.Run("with no meter nothing is proved and nothing stopped", func(t *testing.T) {
		r, inj := dosingRig(t, nil)
		o := r.order("chilli", 2, time.Hour)
		o.Kind = garden.Feeding
		_, ok := r.Request(at(2*time.Hour), Env{}, o)
		require.True(t, ok)
		r.Advance(at(2*time.Hour + 14*time.Minute))
		assert.True(t, inj.open)
	})
}

// TestInjectorsOwnLimit: it is released at its limit while the watering goes on,
// and the delivery tells how much of it was fed.
func TestInjectorsOwnLimit(t *testing.T) {
	r, inj := dosingRig(t, func(g *garden.Garden) { g.Lines[0].Injector.MaxRun = 5 * time.Minute })
	o := r.order("chilli", 2, time.Hour)
	o.Dosed = true
	_, ok := r.Request(at(2*time.Hour), Env{}, o)
	require.True(t, ok)
	next, any := r.NextDeadline()
	require.True(t, any)
	assert.Equal(t, 2*time.Hour+5*time.Minute, next)
	require.Empty(t, r.Advance(at(next)))
	assert.False(t, inj.open)
	assert.True(t, r.valves["chilli"].open)
	out := r.Advance(at(2*time.Hour + 15*time.Minute))
	require.Len(t, out, 1)
	assert.Equal(t, garden.Complete, out[0].End)
	assert.InDelta(t, 2, out[0].Litres, 1e-9)
	assert.InDelta(t, 2.0/3, out[0].DosedL, 1e-6)

	t.Run("one that can't be released takes the line with it", func(t *testing.T) {
		r, inj := dosingRig(t, func(g *garden.Garden) { g.Lines[0].Injector.MaxRun = 5 * time.Minute })
		o := r.order("chilli", 2, time.Hour)
		o.Dosed = true
		_, ok := r.Request(at(2*time.Hour), Env{}, o)
		require.True(t, ok)
		inj.failCloses = 3
		r.Advance(at(2*time.Hour + 5*time.Minute))
		assert.False(t, r.valves["chilli"].open)
		assert.Equal(t, []garden.LineID{"chilli"}, r.Unconfirmed())
	})
	t.Run("what the close came to is what is told", func(t *testing.T) {
		// An injector that is stuck for good, one that lets go at the second try, and a
		// feed without water whose line does not close.
		for name, c := range map[string]struct {
			kind          garden.OrderKind
			stuck, closes int
			wants         string
		}{
			"stuck":                {garden.Irrigate, 1 << 30, 0, "driver gone"},
			"lets go":              {garden.Irrigate, 1, 0, ""},
			"dry, line not closed": {garden.Feeding, 0, 1 << 30, "driver gone"},
		} {
			r, inj := dosingRig(t, func(g *garden.Garden) { metered(g); g.Lines[0].Injector.MaxRun = 5 * time.Minute })
			r.Meter(at(2*time.Hour), garden.Known(0))
			o := r.order("chilli", 1, time.Hour)
			o.Kind, o.Dosed = c.kind, c.kind != garden.Feeding
			_, ok := r.Request(at(2*time.Hour), Env{}, o)
			require.True(t, ok, name)
			inj.failCloses, r.valves["chilli"].failCloses = c.stuck, c.closes
			now := at(2*time.Hour + garden.DefaultFlowWithin)
			r.Meter(now, garden.Known(0))
			r.Advance(now)
			lines, _ := r.Snapshot(now)
			assert.Positive(t, lines[0].Failures, name)
			if c.wants == "" {
				assert.True(t, lines[0].Confirmed, name)
				assert.NoError(t, lines[0].Err, name)
				continue
			}
			assert.False(t, lines[0].Confirmed, name)
			assert.ErrorContains(t, lines[0].Err, c.wants, name)
		}
	})
	t.Run("a card that can't be written waters plain", func(t *testing.T) {
		r, inj := dosingRig(t, nil)
		r.ledger.broken = true
		o := r.order("chilli", 1, time.Hour)
		o.Dosed = true
		_, ok := r.Request(at(2*time.Hour), Env{}, o)
		require.True(t, ok)
		assert.True(t, r.valves["chilli"].open)
		assert.False(t, inj.open)
	})
}
