package notify

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

var (
	site  = garden.Site{ID: "roof", Name: "Roof"}
	began = time.Date(2026, 7, 1, 12, 0, 0, 0, time.UTC)
)

func moment(after time.Duration) garden.Moment {
	return garden.Moment{Mono: time.Hour + after, Wall: began.Add(after), Synced: true}
}

func settings(change ...func(*garden.Calling)) garden.Calling {
	c := garden.DefaultCalling()
	c.SelfTestDay = 0
	for _, f := range change {
		f(&c)
	}
	return c
}

// stands is an alarm that holds since a time after began.
func stands(name, about string, since time.Duration) runner.AlarmLine {
	return runner.AlarmLine{Name: name, About: about, Text: "wrong", Next: "look", Since: began.Add(since), Active: true, Serious: strings.HasPrefix(name, "flow")}
}

// day drives a book through alarms that are functions of time, and notes what it
// says.
func day(b *Book, from, to, step time.Duration, at func(time.Duration) []runner.AlarmLine) (out []string) {
	for d := from; d <= to; d += step {
		if m, ok := b.Decide(moment(d), at(d)); ok {
			var items []string
			for _, i := range m.Alarms {
				items = append(items, i.Name+" "+i.State)
			}
			out = append(out, fmt.Sprintf("%v %s", d, strings.Join(items, ", ")))
		}
	}
	return out
}

// TestRepeats: at once, after half an hour, then twice as long each time until
// the longest, until somebody sees it; and its end is told once.
func TestRepeats(t *testing.T) {
	b := NewBook(site, settings(func(c *garden.Calling) { c.RepeatMost = 3 * time.Hour }))
	got := day(b, 0, 14*time.Hour, time.Minute, func(d time.Duration) []runner.AlarmLine {
		a := stands("no flow", "one", 0)
		a.Acknowledged = d >= 10*time.Hour
		if d >= 13*time.Hour {
			return nil
		}
		return []runner.AlarmLine{a}
	})
	assert.Equal(t, []string{
		"0s no flow new", "30m0s no flow still there", "1h30m0s no flow still there", "3h30m0s no flow still there",
		"6h30m0s no flow still there", "9h30m0s no flow still there", "13h0m0s no flow over",
	}, got)
}

// TestQuietHours: a lesser alarm waits for their end, even one that is over by
// then; a serious one comes through; a clock nobody confirmed keeps nothing back.
func TestQuietHours(t *testing.T) {
	quiet := settings(func(c *garden.Calling) {
		c.Quiet = []garden.DayWindow{{From: 22 * time.Hour, To: 7 * time.Hour}}
		c.RepeatAfter, c.RepeatMost = 2*time.Hour, 2*time.Hour
	})
	at := func(d time.Duration) []runner.AlarmLine {
		var out []runner.AlarmLine
		if d >= 12*time.Hour { // midnight
			out = append(out, stands("flow with all lines closed", "", 12*time.Hour))
		}
		if d >= 11*time.Hour {
			out = append(out, stands("tank low", "", 11*time.Hour))
			passed := stands("broker away", "", 11*time.Hour)
			passed.Active = d < 13*time.Hour
			out = append(out, passed)
		}
		return out
	}
	got := day(NewBook(site, quiet), 0, 19*time.Hour+30*time.Minute, time.Minute, at)
	assert.Equal(t, []string{
		"12h0m0s flow with all lines closed new", "14h0m0s flow with all lines closed still there",
		"16h0m0s flow with all lines closed still there", "18h0m0s flow with all lines closed still there",
		"19h0m0s tank low new, broker away came and went",
	}, got)

	b := NewBook(site, quiet)
	now := moment(12 * time.Hour)
	now.Synced = false
	m, ok := b.Decide(now, at(11*time.Hour))
	assert.True(t, ok, "the hour is a guess")
	assert.Contains(t, m.Text, "Nobody confirmed the gateway's clock")
}

// TestHourIsBounded: alarms that come and go all day make no more messages than
// the hour may have, a serious one among them is told at once, and none is lost.
func TestHourIsBounded(t *testing.T) {
	b := NewBook(site, settings(func(c *garden.Calling) { c.PerHour = 6 }))
	names := map[string]bool{}
	var times []time.Duration
	serious := time.Duration(-1)
	for d := time.Duration(0); d < 5*time.Hour; d += time.Minute {
		var list []runner.AlarmLine
		if d >= 100*time.Minute {
			list = append(list, stands("flow far too high", "one", 100*time.Minute))
		}
		for n := range int(d / (3 * time.Minute)) {
			if n < 60 {
				list = append(list, stands("no flow", fmt.Sprint(n), time.Duration(n)*3*time.Minute))
			}
		}
		m, ok := b.Decide(moment(d), list)
		if !ok {
			continue
		}
		times = append(times, d)
		for _, i := range m.Alarms {
			names[i.Name+i.About] = true
			if i.Serious && serious < 0 {
				serious = d
			}
		}
	}
	busiest := 0
	for i, from := range times {
		n := 0
		for _, d := range times[i:] {
			if d-from < time.Hour {
				n++
			}
		}
		assert.LessOrEqual(t, n, 6, "from %v", from)
		busiest = max(busiest, n)
	}
	assert.GreaterOrEqual(t, busiest, 4, "the hour was full: a third of it is for serious ones")
	assert.Equal(t, 100*time.Minute, serious)
	assert.Len(t, names, 61)
}

func TestOutOfServiceIsNotTold(t *testing.T) {
	b := NewBook(site, settings())
	until := began.Add(3 * time.Hour)
	got := day(b, 0, 4*time.Hour, time.Minute, func(d time.Duration) []runner.AlarmLine {
		a := stands("no flow", "one", 0)
		if d >= 10*time.Minute && d < 3*time.Hour {
			a.OutUntil = &until
		}
		return []runner.AlarmLine{a}
	})
	assert.Equal(t, []string{"0s no flow new", "3h0m0s no flow new", "3h30m0s no flow still there"}, got)
}

// TestSelfTest: once a month from its day on, in daylight, after quiet hours; not
// in the month somebody set it up after the day; not by a clock nobody confirmed.
func TestSelfTest(t *testing.T) {
	run := func(set garden.Calling, from time.Time, days int, synced bool) (out []string) {
		b := NewBook(site, set)
		for h := range days * 24 {
			now := garden.Moment{Mono: time.Duration(h) * time.Hour, Wall: from.Add(time.Duration(h) * time.Hour), Synced: synced}
			if m, ok := b.Decide(now, nil); ok {
				assert.Equal(t, KindSelfTest, m.Kind)
				out = append(out, now.Wall.Format("2006-01-02 15"))
			}
		}
		return out
	}
	first := settings(func(c *garden.Calling) { c.SelfTestDay = 1 })
	mid := time.Date(2026, 7, 14, 0, 0, 0, 0, time.UTC)
	assert.Equal(t, []string{"2026-08-01 10", "2026-09-01 10", "2026-10-01 10"}, run(first, mid, 90, true))
	late := settings(func(c *garden.Calling) {
		c.SelfTestDay = 28
		c.Quiet = []garden.DayWindow{{From: 20 * time.Hour, To: 12 * time.Hour}}
	})
	assert.Equal(t, []string{"2026-07-28 12", "2026-08-28 12", "2026-09-28 12"}, run(late, mid, 90, true))
	assert.Empty(t, run(first, mid, 90, false))
	assert.Empty(t, run(settings(), mid, 90, true), "switched off")

	b := NewBook(site, first)
	b.Decide(moment(0), nil)
	m, ok := b.Decide(garden.Moment{Mono: 1, Wall: time.Date(2026, 8, 1, 10, 0, 0, 0, time.UTC), Synced: true}, []runner.AlarmLine{})
	require.True(t, ok)
	assert.Contains(t, m.Text, "No alarm stands.")
	assert.Contains(t, m.Text, "The next one comes on 1 September; if it does not, look at the gateway.")
	// A clock that was ahead does not keep the next one away for long.
	b.tested = "2031-01"
	b.Decide(moment(0), nil)
	_, ok = b.Decide(garden.Moment{Mono: 1, Wall: time.Date(2026, 8, 1, 10, 0, 0, 0, time.UTC), Synced: true}, nil)
	assert.True(t, ok)
}

// TestRestartRepeatsNothing: what was told is not news to the next run, and its
// end is told by it.
func TestRestartRepeatsNothing(t *testing.T) {
	at := func(d time.Duration) []runner.AlarmLine {
		if d >= 20*time.Hour {
			return nil
		}
		return []runner.AlarmLine{stands("no flow", "one", 0)}
	}
	whole := day(NewBook(site, settings()), 0, 24*time.Hour, time.Minute, at)
	var parts []string
	b := NewBook(site, settings())
	for d := time.Duration(0); d < 24*time.Hour; d += 2 * time.Hour {
		parts = append(parts, day(b, d, d+2*time.Hour-time.Minute, time.Minute, at)...)
		text, err := b.Keep(moment(d+2*time.Hour-time.Minute), nil)
		require.NoError(t, err)
		b = NewBook(site, settings())
		require.NoError(t, b.Restore(moment(d+2*time.Hour-time.Minute), text))
	}
	assert.Equal(t, whole, parts)
	require.Error(t, NewBook(site, settings()).Restore(moment(0), []byte("{")))
}

// TestRestartTellsWhatReachedNobody: of every state of an alarm, and the month's
// test. Where it was sent, nothing is repeated.
func TestRestartTellsWhatReachedNobody(t *testing.T) {
	up := stands("no flow", "one", 0)
	down := up
	down.Active = false
	for _, c := range []struct {
		name  string
		lists [][]runner.AlarmLine // an hour apart; the message of the last reaches nobody
		want  string
	}{
		{"new", [][]runner.AlarmLine{{up}}, "no flow still there"},
		{"repeated", [][]runner.AlarmLine{{up}, {up}}, "no flow still there"},
		{"over and gone", [][]runner.AlarmLine{{up}, nil}, "no flow over"},
		{"over and still to be seen", [][]runner.AlarmLine{{up}, {down}}, "no flow over"},
		{"came and went", [][]runner.AlarmLine{{down}}, "no flow came and went"},
	} {
		for _, sent := range []bool{false, true} {
			t.Run(fmt.Sprintf("%s, sent %v", c.name, sent), func(t *testing.T) {
				b := NewBook(site, settings())
				var m Message
				var ok bool
				at := moment(0)
				for n, list := range c.lists {
					at = moment(time.Duration(n) * time.Hour)
					m, ok = b.Decide(at, list)
					require.True(t, ok)
				}
				unsent := []*Message{&m}
				if sent {
					unsent = nil
				}
				text, err := b.Keep(at, unsent)
				require.NoError(t, err)
				b = NewBook(site, settings())
				require.NoError(t, b.Restore(at, text))
				again, ok := b.Decide(at, c.lists[len(c.lists)-1])
				require.Equal(t, !sent, ok, again.Text)
				if ok {
					require.Len(t, again.Alarms, 1)
					assert.Equal(t, c.want, again.Alarms[0].Name+" "+again.Alarms[0].State)
					assert.Equal(t, up.Since, again.Alarms[0].Since)
					assert.Equal(t, "wrong", again.Alarms[0].What)
				}
			})
		}
	}
	monthly := settings(func(c *garden.Calling) { c.SelfTestDay = 1 })
	first := garden.Moment{Mono: 1, Wall: time.Date(2027, 1, 1, 10, 0, 0, 0, time.UTC), Synced: true}
	for _, sent := range []bool{false, true} {
		b := NewBook(site, monthly)
		b.tested = "2026-12"
		m, ok := b.Decide(first, nil)
		require.True(t, ok)
		unsent := []*Message{&m}
		if sent {
			unsent = nil
		}
		text, err := b.Keep(first, unsent)
		require.NoError(t, err)
		b = NewBook(site, monthly)
		require.NoError(t, b.Restore(first, text))
		_, ok = b.Decide(first, nil)
		assert.Equal(t, !sent, ok, "the month's test, sent %v", sent)
	}
}

// TestNothingUntold: whatever comes and goes, each alarm that stands longer than
// quiet hours and a full hour is told before long, and each that was told and
// ends is told to be over.
func TestNothingUntold(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		set := settings(func(c *garden.Calling) {
			c.PerHour = rapid.IntRange(3, 12).Draw(t, "per hour")
			if rapid.Bool().Draw(t, "quiet") {
				c.Quiet = []garden.DayWindow{{From: 22 * time.Hour, To: 7 * time.Hour}}
			}
		})
		b := NewBook(site, set)
		type life struct{ up, down time.Duration }
		lives := map[string]life{}
		for n := range rapid.IntRange(1, 12).Draw(t, "alarms") {
			name := []string{"no flow", "flow far too high"}[n%2]
			up := time.Duration(rapid.IntRange(0, 47*60).Draw(t, "up")) * time.Minute
			lives[fmt.Sprint(name, " ", n)] = life{up, up + time.Duration(rapid.IntRange(1, 48*60).Draw(t, "long"))*time.Minute}
		}
		told, over := map[string]time.Duration{}, map[string]bool{}
		sent := 0
		for d := time.Duration(0); d < 7*24*time.Hour; d += time.Minute {
			var list []runner.AlarmLine
			for id, l := range lives {
				i := strings.LastIndex(id, " ")
				if d < l.up || d >= l.down+48*time.Hour {
					continue
				}
				a := stands(id[:i], id[i+1:], l.up)
				a.Active = d < l.down
				list = append(list, a)
			}
			m, ok := b.Decide(moment(d), list)
			if !ok {
				continue
			}
			sent++
			for _, i := range m.Alarms {
				id := i.Name + " " + i.About
				switch _, before := told[id]; {
				case i.State == StateOver:
					assert.False(t, over[id], "%s ended twice", id)
					over[id] = true
				case !before:
					told[id] = d
					over[id] = i.State == StatePassed
				default:
					assert.Equal(t, StateStill, i.State, id)
				}
			}
		}
		for id, l := range lives {
			d, ok := told[id]
			assert.True(t, ok, "%s from %v to %v was never told", id, l.up, l.down)
			most := time.Hour
			if len(set.Quiet) > 0 && !strings.HasPrefix(id, "flow") {
				most += 9 * time.Hour
			}
			assert.LessOrEqual(t, d-l.up, most, id)
			assert.True(t, over[id], "the end of %s was never told", id)
		}
		assert.Less(t, sent, 7*24*set.PerHour)
	})
}
