package control

import (
	"testing"
	"time"
	_ "time/tzdata"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// walked is edge by going through every minute.
func walked(ws []garden.DayWindow, t time.Time, was bool) time.Time {
	for end := t.Add(24 * time.Hour); t.Before(end) && within(ws, t) == was; {
		if next := t.Truncate(time.Minute).Add(time.Minute); next.Before(end) {
			t = next
		} else {
			t = end
		}
	}
	return t
}

// TestEdgeIsWhereTheMinutesSay: from every minute of a day, on it or half a minute after, hours of
// watering change where a walk through all minutes says so: windows shorter than any step,
// two that touch or overlap, one over midnight, none that ends. Days when the clocks change
// are among them (Europe/Athens, 29 March and 25 October 2026: IANA time zone database).
func TestEdgeIsWhereTheMinutesSay(t *testing.T) {
	m := func(h, m int) time.Duration { return time.Duration(h)*time.Hour + time.Duration(m)*time.Minute }
	athens, err := time.LoadLocation("Europe/Athens")
	require.NoError(t, err)
	step := 1
	if testing.Short() {
		step = 7
	}
	for name, ws := range map[string][]garden.DayWindow{
		"ten minutes":    {{From: m(6, 0), To: m(6, 10)}},
		"one minute":     {{From: m(23, 59), To: m(24, 0)}},
		"from midnight":  {{From: 0, To: m(0, 1)}},
		"two":            {{From: m(5, 0), To: m(9, 20)}, {From: m(18, 0), To: m(2, 0)}},
		"a short gap":    {{From: m(6, 0), To: m(7, 0)}, {From: m(7, 3), To: m(8, 0)}},
		"they touch":     {{From: m(6, 0), To: m(7, 0)}, {From: m(7, 0), To: m(8, 0)}},
		"they overlap":   {{From: m(6, 0), To: m(7, 30)}, {From: m(7, 0), To: m(8, 0)}},
		"about midnight": {{From: m(23, 55), To: m(0, 5)}},
		"all day":        {{From: m(6, 0), To: m(6, 0)}},
		"in the change":  {{From: m(3, 0), To: m(3, 40)}},
	} {
		for _, day := range []time.Time{
			time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC),
			time.Date(2026, 3, 28, 0, 0, 0, 0, athens), time.Date(2026, 3, 29, 0, 0, 0, 0, athens),
			time.Date(2026, 10, 24, 0, 0, 0, 0, athens), time.Date(2026, 10, 25, 0, 0, 0, 0, athens),
		} {
			for k := 0; k < 24*60; k += step {
				at := day.Add(time.Duration(k)*time.Minute + time.Duration(k%2)*30*time.Second)
				for _, was := range []bool{true, false} {
					want, got := walked(ws, at, was), edge(ws, at, was)
					require.True(t, want.Equal(got), "%s: from %v on, was %v: %v, expected %v", name, at, was, got, want)
				}
			}
		}
	}
}

// TestOpensSoon: a wish shortly before ten minutes of watering is taken. Our own case.
func TestOpensSoon(t *testing.T) {
	ws := []garden.DayWindow{{From: 6 * time.Hour, To: 6*time.Hour + 10*time.Minute}}
	at := time.Date(2026, 6, 1, 5, 56, 0, 0, time.UTC)
	assert.Equal(t, 4*time.Minute, Opens(ws, garden.Moment{Wall: at, Synced: true}).Sub(at))
}

// TestHoursToldToTheMinute: the text says when the hours begin, whatever is left of it in the
// hours between. Our own case.
func TestHoursToldToTheMinute(t *testing.T) {
	begin := time.Date(2026, 6, 1, 6, 0, 0, 0, time.UTC)
	for ago := time.Duration(0); ago < 12*time.Hour; ago += 7 * time.Second {
		left := ago + time.Second
		e := Event{Kind: Dropped, At: garden.Moment{Wall: begin.Add(-left)}, B: left.Hours(), Cause: garden.OutsideHours}
		require.Contains(t, e.String(), "which begin at 06:00", "%v before", left)
	}
}
