package valves

import (
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A wall clock that was set forward makes nothing older, in the next start either.
func TestAClockSetForwardLoosensNoCap(t *testing.T) {
	moment := func(mono, wall time.Duration) garden.Moment {
		m := at(wall)
		m.Mono = mono
		return m
	}
	spent := func(set time.Duration, off time.Duration, later time.Duration) float64 {
		r := newRig(t, nil)
		r.Advance(moment(2*time.Hour, 2*time.Hour))
		given := garden.PastDelivery{Delivery: garden.Delivery{Order: 7, Line: "chilli", Litres: 5,
			OpenedAt: moment(2*time.Hour, 2*time.Hour), ClosedAt: moment(3*time.Hour, 3*time.Hour)}}
		r.Advance(moment(3*time.Hour, 3*time.Hour))
		r.Advance(moment(3*time.Hour+time.Minute, 3*time.Hour+time.Minute+set))
		held, err := r.Limits()
		require.NoError(t, err)

		// The board was off, and its clock goes on as it was set.
		up := moment(time.Minute, 3*time.Hour+time.Minute+set+off)
		next := newRig(t, nil)
		next.CloseAll(up)
		require.NoError(t, next.Recall(up, held, false))
		next.Restore(up, time.Minute, nil, []garden.PastDelivery{given})
		held, err = next.Limits()
		require.NoError(t, err)

		// And once more.
		up = moment(time.Minute, 3*time.Hour+2*time.Minute+set+off+later)
		last := newRig(t, nil)
		last.CloseAll(up)
		require.NoError(t, last.Recall(up, held, false))
		last.Restore(up, time.Minute, nil, []garden.PastDelivery{given})
		ln, _ := last.index("chilli")
		sum, _, _, _ := ln.charges.sums(up)
		return sum
	}
	for _, set := range []time.Duration{0, 7 * time.Hour, 22 * time.Hour} {
		assert.Equal(t, 5.0, spent(set, time.Hour, time.Hour), "two hours later by no clock but the wall, set by %v", set)
		assert.Equal(t, 5.0, spent(set, time.Hour, 22*time.Hour), "set by %v", set)
		assert.Zero(t, spent(set, time.Hour, 23*time.Hour), "a day is over, set by %v", set)
	}
}

func TestWhatIsNoStepOfTheClock(t *testing.T) {
	m := func(mono, wall time.Duration, synced bool) garden.Moment {
		x := at(wall)
		x.Mono, x.Synced = mono, synced
		return x
	}
	for name, looks := range map[string][]garden.Moment{
		"a steady clock":       {m(time.Hour, time.Hour, true), m(5*time.Hour, 5*time.Hour, true)},
		"one that is slewed":   {m(time.Hour, time.Hour, true), m(2*time.Hour, 2*time.Hour+time.Minute, true), m(3*time.Hour, 3*time.Hour+2*time.Minute, true)},
		"one set back":         {m(time.Hour, 9*time.Hour, true), m(2*time.Hour, 3*time.Hour, true)},
		"one that is not sure": {m(time.Hour, time.Hour, true), m(2*time.Hour, 9*time.Hour, false)},
		"an older moment":      {m(2*time.Hour, 2*time.Hour, true), m(time.Hour, 9*time.Hour, true)},
	} {
		var s steps
		for _, l := range looks {
			s.see(l)
		}
		assert.Empty(t, s.was, name)
		assert.Zero(t, s.turned, name)
	}
	var s steps
	s.see(m(time.Hour, time.Hour, true))
	s.see(m(2*time.Hour, 9*time.Hour, true))
	require.Len(t, s.was, 1)
	assert.Equal(t, 7*time.Hour, s.was[0].By)
	assert.Equal(t, at(2*time.Hour).Wall, s.was[0].Wall)
	for k := range 2 * mostSteps {
		d := time.Duration(k+1) * time.Hour
		s.see(m(2*time.Hour+d, 9*time.Hour+2*d, true))
	}
	assert.Len(t, s.was, mostSteps)
	sum := time.Duration(0)
	for _, c := range s.was {
		sum += c.By
	}
	assert.Equal(t, 7*time.Hour+2*mostSteps*time.Hour, sum, "none is lost")

	var later steps
	later.recall(m(time.Hour, 9*time.Hour, true), append(s.was[:1:1], clockStep{Wall: at(0).Wall, By: -time.Hour}))
	assert.Len(t, later.was, 1, "and nonsense is left out")
	later = steps{}
	later.recall(m(time.Hour, 90*24*time.Hour, true), s.was)
	assert.Empty(t, later.was, "after two days")
}
