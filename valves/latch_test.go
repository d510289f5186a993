package valves

import (
	"errors"
	"fmt"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"
)

// twoPins are the outputs of a latching valve, with everything that happens to
// them in one log, and the plunger they move.
type twoPins struct {
	t      *testing.T
	log    []string
	on     [2]bool
	calls  int
	failAt int // the number of the call that fails, from 1; 0 none
	slept  time.Duration
	moved  string
}

type onePin struct {
	gpio.PinIO // only what is overridden below may be called
	both       *twoPins
	n          int
	activeLow  bool
}

var pinNames = [2]string{"open", "close"}

func (p onePin) String() string { return pinNames[p.n] }

func (p onePin) Out(l gpio.Level) error {
	b := p.both
	b.calls++
	on := bool(l) != p.activeLow
	if b.calls == b.failAt {
		return errors.New("driver gone")
	}
	b.on[p.n] = on
	assert.False(b.t, b.on[0] && b.on[1], "both outputs on: a short circuit")
	b.log = append(b.log, fmt.Sprintf("%s %v", p, on))
	return nil
}

func (b *twoPins) Sleep(d time.Duration) {
	b.slept += d
	for i, on := range b.on {
		if on {
			b.moved = pinNames[i]
		}
	}
}

func newTwoPins(t *testing.T, activeLow bool) (*twoPins, *Latch) {
	b := &twoPins{t: t}
	l, err := NewLatch(onePin{both: b, n: 0, activeLow: activeLow}, onePin{both: b, n: 1, activeLow: activeLow}, activeLow, 50*time.Millisecond, b)
	require.NoError(t, err)
	return b, l
}

func granted() Grant {
	live := &atomic.Bool{}
	live.Store(true)
	return Grant{line: "chilli", order: 1, maxOn: time.Minute, live: live}
}

func TestLatch(t *testing.T) {
	for _, activeLow := range []bool{false, true} {
		t.Run(fmt.Sprintf("active low %v", activeLow), func(t *testing.T) {
			b, l := newTwoPins(t, activeLow)
			closed, known := l.Closed()
			assert.False(t, closed || known, "unknown until a pulse was given")
			assert.Zero(t, b.calls, "nothing is driven before that")
			require.NoError(t, l.Close())
			assert.Equal(t, []string{"open false", "close true", "close false"}, b.log)
			assert.Equal(t, 50*time.Millisecond, b.slept)
			closed, known = l.Closed()
			assert.True(t, closed && known)

			assert.ErrorIs(t, l.Open(Grant{}), ErrNoGrant)
			b.log = nil
			require.NoError(t, l.Open(granted()))
			assert.Equal(t, []string{"close false", "open true", "open false"}, b.log)
			assert.Equal(t, [2]bool{}, b.on, "no current in between")
			closed, known = l.Closed()
			assert.True(t, known)
			assert.False(t, closed)
			b.log = nil
			require.NoError(t, l.Close())
			require.NoError(t, l.Close())
			assert.Len(t, b.log, 6, "a close is given again whatever is believed")
		})
	}
}

// TestLatchFailsAtEveryStep: wherever a driver fails, nothing is believed closed
// that was not pulsed, no two outputs are on, and none stays on that could be
// released.
func TestLatchFailsAtEveryStep(t *testing.T) {
	for _, what := range []string{"open", "close"} {
		for n := 1; n <= 4; n++ {
			t.Run(fmt.Sprintf("%s, call %d", what, n), func(t *testing.T) {
				b, l := newTwoPins(t, false)
				require.NoError(t, l.Close())
				b.calls, b.failAt, b.moved = 0, n, ""
				do := l.Close
				if what == "open" {
					do = func() error { return l.Open(granted()) }
				}
				err := do()
				closed, known := l.Closed()
				assert.Equal(t, [2]bool{}, b.on, "a coil stays on")
				switch {
				case n == 2:
					require.Error(t, err)
					assert.Empty(t, b.moved)
					assert.False(t, closed || known)
				case err == nil:
					// A second try of a release worked, or the call never came.
					assert.Equal(t, what, b.moved)
					assert.True(t, known)
				default:
					assert.False(t, closed || known)
				}
			})
		}
	}
	t.Run("an output that can't be released is said so, and no pulse is given against it", func(t *testing.T) {
		b, l := newTwoPins(t, false)
		require.NoError(t, l.Close())
		bad := onePin{both: b, n: 0}
		l.open = dead{bad}
		b.moved = ""
		err := l.Close()
		require.ErrorContains(t, err, "cut its supply")
		assert.Empty(t, b.moved)
		closed, known := l.Closed()
		assert.False(t, closed || known)
	})
	t.Run("a pulse no valve takes", func(t *testing.T) {
		for _, d := range []time.Duration{0, -1, 9 * time.Millisecond, 201 * time.Millisecond, time.Hour} {
			_, err := NewLatch(onePin{}, onePin{}, false, d, &twoPins{})
			assert.Error(t, err, d)
		}
	})
}

// dead is an output that takes nothing.
type dead struct{ onePin }

func (dead) Out(gpio.Level) error { return errors.New("driver gone") }

// TestClosesAreRepeated: a latching valve is told again soon after each close and
// twice an hour, another one is not.
func TestClosesAreRepeated(t *testing.T) {
	r := newRig(t, func(g *garden.Garden, _ *Options) {
		g.Lines[0].Valve.Latch = &garden.Latch{ClosePin: 5, Pulse: 50 * time.Millisecond}
	})
	v, other := r.valves["chilli"], r.valves["chard"]
	start := other.closes
	v.closes = 0
	closesAt := func(d time.Duration) int {
		r.Advance(at(time.Hour + d))
		return v.closes
	}
	assert.Equal(t, 0, closesAt(9*time.Second))
	assert.Equal(t, 1, closesAt(10*time.Second))
	assert.Equal(t, 1, closesAt(39*time.Second))
	assert.Equal(t, 2, closesAt(40*time.Second))
	assert.Equal(t, 3, closesAt(100*time.Second))
	assert.Equal(t, 4, closesAt(220*time.Second))
	assert.Equal(t, 5, closesAt(520*time.Second))
	assert.Equal(t, 6, closesAt(1120*time.Second))
	assert.Equal(t, 7, closesAt(2320*time.Second))
	assert.Equal(t, 7, closesAt(2320*time.Second+29*time.Minute))
	assert.Equal(t, 8, closesAt(2320*time.Second+30*time.Minute))
	assert.Equal(t, start, other.closes)

	// A watering begins the series anew, and is not disturbed by it.
	now := at(4 * time.Hour)
	r.Advance(now)
	v.closes = 0
	_, opened := r.Request(now, Env{}, r.order("chilli", 8, 2*time.Hour))
	require.True(t, opened)
	r.Advance(now.Add(30 * time.Minute))
	assert.Zero(t, v.closes)
	r.Advance(now.Add(61 * time.Minute))
	assert.Equal(t, 1, v.closes)
	r.Advance(now.Add(61*time.Minute + 11*time.Second))
	assert.Equal(t, 2, v.closes)
	v.failCloses = 1
	r.Advance(now.Add(63 * time.Minute))
	assert.Equal(t, []garden.LineID{"chilli"}, r.Unconfirmed(), "one that fails is not believed closed")
	r.Advance(now.Add(64 * time.Minute))
	assert.Empty(t, r.Unconfirmed())
}

// TestRepeatedClosesHoldNothingUp: after a close-all every latching valve's close is
// due again at the same time, and each pulse takes up to 200 ms in which nothing
// else is done. They are given one by one, a deadline comes between them and before
// the next, and the event clock is woken for each.
func TestRepeatedClosesHoldNothingUp(t *testing.T) {
	r := newRig(t, func(g *garden.Garden, _ *Options) {
		for i := range g.Lines[1:] {
			g.Lines[1+i].Valve.Latch = &garden.Latch{ClosePin: 5 + i, Pulse: MostLatchPulse}
		}
	})
	// Closed at one hour, so due at ten seconds after.
	again := time.Hour + 10*time.Second
	next, any := r.NextDeadline()
	require.True(t, any, "nothing wakes the event clock")
	assert.Equal(t, again, next)

	deadline := again + 300*time.Millisecond
	_, ok := r.Request(at(time.Hour+5*time.Minute), Env{}, r.order("chilli", 1, time.Minute))
	require.True(t, ok)
	for _, ln := range r.lines {
		if ln.again.latching {
			ln.again.at = again
		}
	}
	r.lines[0].pulse.due, r.lines[0].pulse.deadline = deadline, deadline
	r.lines[0].pulse.openedAt = at(again - time.Minute)
	*r.log = nil
	r.Advance(at(again))
	assert.Equal(t, []string{"close chard"}, *r.log, "one at a time")
	next, _ = r.NextDeadline()
	assert.Equal(t, again, next, "the other is still due")
	// It took 200 ms; another would end after the deadline.
	r.Advance(at(again + 200*time.Millisecond))
	assert.Equal(t, []string{"close chard"}, *r.log, "too near to the deadline")
	next, _ = r.NextDeadline()
	assert.Equal(t, deadline, next)
	require.Len(t, r.Advance(at(deadline)), 1)
	next, _ = r.NextDeadline()
	assert.Equal(t, deadline+time.Millisecond, next)
	r.Advance(at(next))
	assert.Equal(t, []string{"close chard", "close chilli", "close both"}, *r.log)
}

// TestALatchsPulseHoldsNothingUp: an opening one is as long as a closing one, so
// what would end meanwhile is ended before it, a little early, also where it came
// near only while a slow card wrote the intent. A plain coil holds nothing up.
func TestALatchsPulseHoldsNothingUp(t *testing.T) {
	latched := func(g *garden.Garden, _ *Options) {
		g.Lines[1].Valve.Latch = &garden.Latch{ClosePin: 5, Pulse: MostLatchPulse}
	}
	const end = time.Hour + 10*time.Minute
	begun := func(change func(*garden.Garden, *Options)) *rig {
		r := newRig(t, change)
		_, ok := r.Request(at(time.Hour+5*time.Minute), Env{}, r.order("chilli", 1, time.Minute))
		require.True(t, ok)
		r.lines[0].pulse.due, r.lines[0].pulse.deadline = end, end
		*r.log = nil
		return r
	}
	ask := func(r *rig, ahead time.Duration) (order []string) {
		_, ok := r.Request(at(end-ahead), Env{}, r.order(r.lines[1].id, 1, time.Minute))
		require.True(t, ok)
		for _, s := range *r.log {
			if strings.HasPrefix(s, "open ") || strings.HasPrefix(s, "close ") {
				order = append(order, s)
			}
		}
		return order
	}
	latch := "open chard"
	t.Run("far", func(t *testing.T) {
		assert.Equal(t, []string{latch}, ask(begun(latched), clearOf))
	})
	t.Run("plain", func(t *testing.T) {
		assert.Equal(t, []string{latch}, ask(begun(func(*garden.Garden, *Options) {}), clearOf/2))
	})
	t.Run("near", func(t *testing.T) {
		r := begun(latched)
		assert.Equal(t, []string{"close chilli", latch}, ask(r, clearOf-time.Millisecond))
		ended := r.Advance(at(end - clearOf/2))
		require.Len(t, ended, 1)
		assert.Equal(t, garden.Complete, ended[0].End)
		assert.Less(t, ended[0].Open, 5*time.Minute, "what really flowed is what counts")
	})
	t.Run("near by the time the card has written", func(t *testing.T) {
		r := begun(latched)
		r.ledger.during = func() { r.Advance(at(end - clearOf/2)) }
		assert.Equal(t, []string{"close chilli", latch}, ask(r, 5*time.Second))
	})
	t.Run("a latch that closes", func(t *testing.T) {
		r := begun(latched)
		ask(r, time.Minute)
		r.lines[1].pulse.due = end - 10*time.Millisecond
		*r.log = nil
		require.Len(t, r.Advance(at(end-10*time.Millisecond)), 2)
		assert.Equal(t, []string{"close chilli", "close chard"}, *r.log)
	})
	t.Run("one that is stopped", func(t *testing.T) {
		r := begun(latched)
		ask(r, time.Minute)
		*r.log = nil
		r.Stop(at(end-10*time.Millisecond), "chard")
		assert.Equal(t, []string{"close chilli", "close chard"}, *r.log)
	})
	t.Run("what is due together closes plain coils first", func(t *testing.T) {
		r := newRig(t, func(g *garden.Garden, _ *Options) {
			g.Lines[0].Valve.Latch = &garden.Latch{ClosePin: 5, Pulse: MostLatchPulse}
		})
		for i := range 2 {
			_, ok := r.Request(at(time.Hour+5*time.Minute), Env{}, r.order(r.lines[i].id, 1, time.Minute))
			require.True(t, ok)
			r.lines[i].pulse.due, r.lines[i].pulse.deadline = end, end
		}
		latch, plain := string(r.lines[0].id), string(r.lines[1].id)
		*r.log = nil
		require.Len(t, r.Advance(at(end)), 2)
		assert.Equal(t, []string{"close " + plain, "close " + latch}, *r.log)
		*r.log = nil
		r.SealOff(at(end + time.Hour))
		assert.Equal(t, "close "+latch, (*r.log)[len(*r.log)-1])
		*r.log = nil
		require.NoError(t, r.CloseEverything())
		assert.Equal(t, "close "+latch, (*r.log)[len(*r.log)-1])
	})
}

// TestALatchsPulseHoldsNoInjectorUp: an injector's own limit that ends during a
// latching valve's pulse ends before it, and its line goes on with plain water.
func TestALatchsPulseHoldsNoInjectorUp(t *testing.T) {
	const limit = 5 * time.Minute
	begun := func() (*rig, *fakeValve) {
		r, inj := dosingRig(t, func(g *garden.Garden) {
			g.Lines[0].Injector.MaxRun = limit
			g.Lines[1].Valve.Latch = &garden.Latch{ClosePin: 5, Pulse: MostLatchPulse}
		})
		o := r.order("chilli", 2, time.Hour)
		o.Dosed = true
		_, ok := r.Request(at(2*time.Hour), Env{}, o)
		require.True(t, ok)
		require.True(t, inj.open)
		*r.log = nil
		return r, inj
	}
	chard := func(r *rig, now time.Duration) {
		_, ok := r.Request(at(now), Env{}, r.order("chard", 1, time.Hour))
		require.True(t, ok)
	}
	end := 2*time.Hour + limit
	t.Run("before it opens", func(t *testing.T) {
		r, _ := begun()
		chard(r, end-clearOf/2)
		assert.Equal(t, []string{"intend chard", "close injector", "open chard"}, *r.log)
		assert.True(t, r.valves["chilli"].open)
	})
	t.Run("before it closes", func(t *testing.T) {
		r, inj := begun()
		chard(r, 2*time.Hour+time.Minute)
		require.True(t, inj.open)
		*r.log = nil
		r.Stop(at(end-clearOf/2), "chard")
		assert.Equal(t, []string{"close injector", "close chard"}, *r.log)
		assert.True(t, r.valves["chilli"].open)
	})
	t.Run("not while there is time", func(t *testing.T) {
		r, inj := begun()
		chard(r, end-clearOf)
		assert.True(t, inj.open)
	})
}
