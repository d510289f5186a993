package bench

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"
)

func TestClockRunsDueEventsInsideASleep(t *testing.T) {
	c := NewClock(0)
	var got []time.Duration
	see := func() { got = append(got, c.Now()) }
	c.At(30, see)
	c.At(10, see)
	c.At(41, see)
	c.Sleep(40)
	assert.Equal(t, []time.Duration{10, 30}, got)
	assert.Equal(t, time.Duration(40), c.Now())
	next, ok := c.Next()
	assert.True(t, ok)
	assert.Equal(t, time.Duration(41), next)
}

func TestClockKeepsTheOrderOfAddingAtEqualTimes(t *testing.T) {
	c := NewClock(0)
	var got []int
	for i := range 20 {
		c.At(5, func() { got = append(got, i) })
	}
	c.RunUntil(5)
	assert.True(t, slices.IsSorted(got))
	assert.Len(t, got, 20)
}

func TestClockCancels(t *testing.T) {
	c := NewClock(0)
	ran := 0
	a := c.At(1, func() { ran++ })
	b := c.At(2, func() { ran += 10 })
	assert.True(t, c.Cancel(a))
	assert.False(t, c.Cancel(a), "twice")
	c.RunUntil(3)
	assert.Equal(t, 10, ran)
	assert.False(t, c.Cancel(b), "after it ran")
	assert.False(t, c.Cancel(0))
}

func TestClockLetsAnEventAddAndSleep(t *testing.T) {
	c := NewClock(0)
	var got []time.Duration
	c.At(10, func() {
		c.At(c.Now(), func() { got = append(got, c.Now()) })
		c.At(3, func() { got = append(got, c.Now()) }) // past: now
		c.Sleep(100)
	})
	c.At(50, func() { got = append(got, c.Now()) })
	c.Sleep(20)
	assert.Equal(t, []time.Duration{10, 10, 50}, got)
	assert.Equal(t, time.Duration(110), c.Now(), "never earlier than what an event slept")
}

func TestClockSleepOfNothingRunsWhatIsDue(t *testing.T) {
	c := NewClock(7)
	ran := false
	c.At(7, func() { ran = true })
	c.Sleep(-5)
	assert.True(t, ran)
	assert.Equal(t, time.Duration(7), c.Now())
	assert.False(t, c.Step())
}

// Against a plain sorted list.
func TestClockMatchesASortedList(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := NewClock(0)
		type item struct {
			at time.Duration
			id int
		}
		var want []item
		var got, handles []int
		events := map[int]Event{}
		for id := range rapid.IntRange(1, 60).Draw(t, "events") {
			if len(handles) > 0 && rapid.IntRange(0, 4).Draw(t, "cancel") == 0 {
				victim := rapid.SampledFrom(handles).Draw(t, "victim")
				was := slices.ContainsFunc(want, func(i item) bool { return i.id == victim })
				assert.Equal(t, was, c.Cancel(events[victim]))
				want = slices.DeleteFunc(want, func(i item) bool { return i.id == victim })
			}
			at := time.Duration(rapid.IntRange(0, 20).Draw(t, "at"))
			events[id] = c.At(at, func() { got = append(got, id) })
			handles = append(handles, id)
			want = append(want, item{at, id})
		}
		slices.SortStableFunc(want, func(a, b item) int { return int(a.at - b.at) })
		c.RunUntil(20)
		var ids []int
		for _, w := range want {
			ids = append(ids, w.id)
		}
		assert.Equal(t, ids, got)
		assert.Zero(t, c.Waiting())
	})
}
