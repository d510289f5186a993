package task

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fabricpot/control/garden"
)

var t0 = time.Date(2025, 6, 2, 7, 0, 0, 0, time.UTC)

func water(t require.TestingT, zone string, at time.Time, l float64) Task {
	w, err := NewWater(WaterInput{Zone: garden.ZoneID(zone), Name: zone, Day: at, Litres: l, VolumeL: 75, Why: "dry"})
	require.NoError(t, err)
	return w
}

func TestDoneTwiceIsAskedAbout(t *testing.T) {
	b := NewBook(nil)
	w := water(t, "chilli", t0, 3)
	_, ok := b.Open(w)
	require.True(t, ok)
	_, err := b.Done(w.ID, Report{At: t0.Add(time.Hour), Litres: garden.Known(3)})
	require.NoError(t, err)
	assert.Empty(t, b.List(t0))

	_, err = b.Done(w.ID, Report{At: t0.Add(2 * time.Hour), Litres: garden.Known(3)})
	require.ErrorIs(t, err, ErrAsk)
	assert.Len(t, b.Since("chilli", t0), 1, "not entered twice")
	e, err := b.Done(w.ID, Report{At: t0.Add(2 * time.Hour), Litres: garden.Known(1), Again: true})
	require.NoError(t, err)
	assert.True(t, e.Again)
	assert.Len(t, b.Since("chilli", t0), 2)
	_, ok = b.Open(w)
	assert.False(t, ok, "done work is not put on the list again")
}

func TestOpeningAgainKeepsTheAge(t *testing.T) {
	b := NewBook(nil)
	_, _ = b.Open(water(t, "chard", t0, 2))
	later := water(t, "chard", t0.Add(9*time.Hour), 3)
	e, ok := b.Open(later)
	require.True(t, ok)
	assert.Equal(t, Changed, e.Kind)
	l := b.List(t0.Add(13 * time.Hour))
	require.Len(t, l, 1)
	assert.Equal(t, 3.0, l[0].Litres)
	assert.Equal(t, t0, l[0].Due)
	assert.Equal(t, "late", l[0].Urgency)
	_, ok = b.Open(later)
	assert.False(t, ok)
}

func TestBookRefusals(t *testing.T) {
	b := NewBook(nil)
	_, err := b.Done("nothing", Report{})
	require.ErrorIs(t, err, ErrUnknown)
	w := water(t, "chard", t0, 2)
	b.Open(w)
	_, err = b.Done("water-chrad", Report{})
	require.ErrorContains(t, err, w.ID)
	_, err = b.Done(w.ID, Report{Litres: garden.Known(-1)})
	require.Error(t, err)
	_, err = b.Drop(w.ID, " ", t0)
	require.ErrorContains(t, err, "no reason")
	_, err = b.Overtake(w.ID, "12 mm of rain", t0)
	require.NoError(t, err)
	// Rain came and somebody watered anyway: that is news, not a repetition.
	e, err := b.Done(w.ID, Report{At: t0, Litres: garden.Known(2)})
	require.NoError(t, err)
	assert.False(t, e.Again)
}

// Whatever is opened is either on the list or left it by an event that says
// why, across restarts; and what waits only grows more urgent.
func TestNothingIsDropped(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := NewBook(nil)
		var journal []Event
		opened := map[string]bool{}
		score := map[string]float64{}
		now := t0
		for range rapid.IntRange(1, 60).Draw(t, "steps") {
			now = now.Add(time.Duration(rapid.IntRange(0, 40).Draw(t, "hours")) * time.Hour)
			zone := rapid.SampledFrom([]string{"chard", "chilli", "bean"}).Draw(t, "zone")
			w := water(t, zone, now, rapid.Float64Range(0.1, 9).Draw(t, "litres"))
			open := b.List(now)
			switch rapid.IntRange(0, 4).Draw(t, "what") {
			case 0, 1:
				opened[w.ID] = true
				if e, ok := b.Open(w); ok {
					journal = append(journal, e)
				}
			case 2:
				id := w.ID
				if len(open) > 0 {
					id = open[0].ID
				}
				if e, err := b.Done(id, Report{At: now}); err == nil {
					journal = append(journal, e)
				}
			case 3:
				if len(open) > 0 {
					e, err := b.Drop(open[len(open)-1].ID, "no time", now)
					require.NoError(t, err)
					journal = append(journal, e)
				}
			case 4:
				before := b.List(now)
				b = NewBook(journal)
				require.Equal(t, before, b.List(now), "a restart changes nothing")
			}
			listed := map[string]bool{}
			for i, l := range b.List(now) {
				listed[l.ID] = true
				s := l.Score(now)
				if old, ok := score[l.ID]; ok {
					require.GreaterOrEqual(t, s, old-1e-12)
				}
				score[l.ID] = s
				if i > 0 {
					require.LessOrEqual(t, s, b.List(now)[i-1].Score(now))
				}
			}
			gone := map[string]bool{}
			for _, e := range journal {
				if e.Kind == Done || e.Kind == Dropped || e.Kind == Overtaken {
					gone[e.Task.ID] = true
				}
			}
			for id := range opened {
				require.True(t, listed[id] != gone[id], "%s listed %v gone %v", id, listed[id], gone[id])
			}
		}
	})
}

func TestUrgencyRises(t *testing.T) {
	b := NewBook(nil)
	b.Open(water(t, "chard", t0, 2))
	for _, c := range []struct {
		after time.Duration
		want  string
	}{{-time.Hour, "ahead"}, {0, "due"}, {12 * time.Hour, "late"}, {24 * time.Hour, "pressing"}, {90 * 24 * time.Hour, "pressing"}} {
		assert.Equal(t, c.want, b.List(t0.Add(c.after))[0].Urgency, fmt.Sprint(c.after))
	}
}
