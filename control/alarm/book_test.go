package alarm

import (
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func at(d time.Duration) garden.Moment { return garden.Moment{Mono: d} }

func TestEveryKindHasItsWords(t *testing.T) {
	seen := map[string]bool{}
	for _, k := range Kinds() {
		assert.NotEmpty(t, k.Text(), "%d", k)
		assert.NotEmpty(t, k.Next(), "%d", k)
		assert.False(t, seen[k.String()], "two kinds are called %q", k)
		seen[k.String()] = true
	}
}

// TestDelays goes one tick before and after each delay, with a near miss that
// starts it afresh.
func TestDelays(t *testing.T) {
	const tick = time.Minute
	on, off := characters[ProbeDead].on, characters[ProbeDead].off
	b := NewBook()
	now := time.Duration(0)
	step := func(holds bool) []Change {
		if holds {
			b.Hold(at(now), ProbeDead, "p", "")
		}
		c := b.Step(at(now))
		now += tick
		return c
	}
	for range int(on / tick) {
		assert.Empty(t, step(true))
	}
	assert.Empty(t, step(false), "a near miss")
	for range int(on / tick) {
		assert.Empty(t, step(true), "and it begins afresh")
	}
	up := step(true)
	require.Len(t, up, 1)
	assert.Equal(t, Raised, up[0].Event)
	assert.Contains(t, up[0].String(), ProbeDead.Next())
	for range 5 {
		assert.Empty(t, step(true), "at most one alarm per cause")
	}
	for range int(off / tick) {
		assert.Empty(t, step(false))
	}
	down := step(false)
	require.Len(t, down, 1)
	assert.Equal(t, Cleared, down[0].Event)
	require.Len(t, b.List(), 1, "cleared and not seen by anybody stays in the list")
	_, ok := b.Acknowledge(at(now), ProbeDead, "p", "gardener")
	assert.True(t, ok)
	assert.Empty(t, b.List())
}

func TestAcknowledgedThenCleared(t *testing.T) {
	b := NewBook()
	b.Hold(at(0), ZoneNoResponse, "chilli", "nothing moved")
	require.Len(t, b.Step(at(0)), 1)
	c, ok := b.Acknowledge(at(1), ZoneNoResponse, "chilli", "gardener")
	require.True(t, ok)
	assert.Equal(t, "gardener", c.Who)
	_, again := b.Acknowledge(at(2), ZoneNoResponse, "chilli", "gardener")
	assert.False(t, again)
	_, unknown := b.Acknowledge(at(2), ZoneNoResponse, "nobody", "gardener")
	assert.False(t, unknown)
	assert.Equal(t, "acknowledged", b.List()[0].State())
	b.Step(at(time.Second))
	b.Step(at(2 * time.Hour))
	assert.Empty(t, b.List(), "seen and over: nothing to show")
}

func TestOutOfServiceIsWatchedAndComesBack(t *testing.T) {
	b := NewBook()
	_, ok := b.Shelve(at(0), ProbeDead, "p", 3*time.Hour, "gardener")
	require.True(t, ok)
	for m := time.Duration(0); m < 3*time.Hour; m += time.Minute {
		b.Hold(at(m), ProbeDead, "p", "")
		require.Empty(t, b.Step(at(m)), "nothing is told of what is out of service")
	}
	assert.Equal(t, "out of service", b.List()[0].State())
	b.Hold(at(3*time.Hour), ProbeDead, "p", "")
	back := b.Step(at(3 * time.Hour))
	require.Len(t, back, 2)
	assert.Equal(t, Returned, back[0].Event)
	assert.Equal(t, Raised, back[1].Event, "what outlived its shelf is news again")
	assert.Equal(t, "raised", b.List()[0].State())
}

func TestFirstCauseFirst(t *testing.T) {
	b := NewBook()
	b.Hold(at(0), ReadsDry, "chilli", "")
	b.Hold(at(0), ZoneNoResponse, "chilli", "")
	b.Hold(at(0), LineFaulted, "line", "")
	c := b.Step(at(0))
	require.Len(t, c, 3)
	assert.Equal(t, []Kind{ZoneNoResponse, LineFaulted, ReadsDry}, []Kind{c[0].Kind, c[1].Kind, c[2].Kind})
}

// TestLifeMakesSense: whatever happens, steps of one alarm's life alternate as
// they must, and what is raised is in the list.
func TestLifeMakesSense(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := NewBook()
		up := map[Kind]bool{}
		now := time.Duration(0)
		for range rapid.IntRange(1, 80).Draw(t, "ticks") {
			now += time.Duration(rapid.IntRange(1, 3600).Draw(t, "seconds")) * time.Second
			for _, k := range []Kind{ProbeDead, NotClosed, LosesTooMuch} {
				if rapid.Bool().Draw(t, "holds") {
					b.Hold(at(now), k, "x", "")
				}
				if rapid.IntRange(0, 9).Draw(t, "seen") == 0 {
					b.Acknowledge(at(now), k, "x", "someone")
				}
			}
			for _, c := range b.Step(at(now)) {
				switch c.Event {
				case Raised:
					assert.False(t, up[c.Kind], "raised twice")
					up[c.Kind] = true
				case Cleared:
					assert.True(t, up[c.Kind], "cleared without being raised")
					up[c.Kind] = false
				}
			}
			for _, a := range b.List() {
				if a.Active {
					assert.True(t, up[a.Kind])
				}
			}
			for k, on := range up {
				if !on {
					continue
				}
				found := false
				for _, a := range b.List() {
					found = found || a.Kind == k && a.Active
				}
				assert.True(t, found, "%s is raised and not in the list", k)
			}
		}
	})
}

// TestALessUrgentCause: an alarm may follow from one of a later kind, where that follows
// from nothing in turn, and waits until what it follows from has cleared.
func TestALessUrgentCause(t *testing.T) {
	b := NewBook()
	now := time.Duration(0)
	step := func(meter bool) (names []string) {
		if meter {
			b.Hold(at(now), GaugeDoubtful, "meter", "")
		}
		b.Hold(at(now), PumpDry, "", "", Cause{GaugeDoubtful, "meter"})
		b.Step(at(now))
		now += time.Minute
		for _, a := range b.List() {
			if a.Active {
				names = append(names, a.Kind.String())
			}
		}
		return names
	}
	assert.Equal(t, []string{"pump without flow"}, step(false))
	step(true)
	step(true)
	assert.Equal(t, []string{"gauge in doubt"}, step(true))
	_, off := GaugeDoubtful.Delays()
	for range int(off / time.Minute) {
		assert.Equal(t, []string{"gauge in doubt"}, step(false), "it stands still")
	}
	step(false)
	assert.Equal(t, []string{"pump without flow"}, step(false))
}

// TestOutOfServiceHidesNothingMoreUrgent: a bus out of service keeps its probes quiet, a
// meter out of service no pump.
func TestOutOfServiceHidesNothingMoreUrgent(t *testing.T) {
	for _, c := range []struct {
		cause, effect Kind
		told          bool
	}{{BusDead, ProbeDead, false}, {GaugeDoubtful, PumpDry, true}, {TankLow, LosesTooMuch, true}} {
		b := NewBook()
		for m := range 60 {
			now := at(time.Duration(m) * time.Minute)
			b.Hold(now, c.cause, "", "")
			b.Hold(now, c.effect, "", "", Cause{c.cause, ""})
			b.Step(now)
			if m == 30 {
				_, ok := b.Shelve(now, c.cause, "", now.Mono+24*time.Hour, "somebody")
				require.True(t, ok)
			}
		}
		told := false
		for _, a := range b.List() {
			told = told || a.Kind == c.effect && a.Active
		}
		assert.Equal(t, c.told, told, "%v of %v", c.effect, c.cause)
	}
}

// TestSomethingIsAlwaysTold: whatever follows from whatever, in circles too, of things
// that hold for long one at least is raised, and nothing that follows from it beside it.
func TestSomethingIsAlwaysTold(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 6).Draw(t, "kinds")
		of := rapid.SliceOfNDistinct(rapid.IntRange(0, int(kinds)-1), n, n, rapid.ID[int]).Draw(t, "kind")
		first := make([][]Cause, n)
		for i := range first {
			for _, j := range rapid.SliceOfNDistinct(rapid.IntRange(0, n-1), 0, n, rapid.ID[int]).Draw(t, "first") {
				first[i] = append(first[i], Cause{Kind: Kind(of[j])})
			}
		}
		b := NewBook()
		for m := range 20 * 60 {
			for i := range first {
				b.Hold(at(time.Duration(m)*time.Minute), Kind(of[i]), "", "", first[i]...)
			}
			b.Step(at(time.Duration(m) * time.Minute))
		}
		up := map[Kind]bool{}
		for _, a := range b.List() {
			up[a.Kind] = a.Active
		}
		assert.NotEmpty(t, up)
		for i := range first {
			for _, c := range first[i] {
				if c.Kind < Kind(of[i]) && up[Kind(of[i])] {
					assert.False(t, up[c.Kind], "%v stands beside %v", Kind(of[i]), c.Kind)
				}
			}
		}
	})
}
