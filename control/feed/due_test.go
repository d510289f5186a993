package feed

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"

	"fabricpot/control/garden"
)

func TestAssess(t *testing.T) {
	d0 := time.Date(2025, 6, 1, 7, 0, 0, 0, time.UTC)
	days := func(n float64) time.Time { return d0.Add(time.Duration(n * 24 * float64(time.Hour))) }
	for _, c := range []struct {
		name   string
		s      Situation
		why    DueWhy
		missed int
	}{
		{"a minute before the interval", Situation{Today: days(12).Add(-time.Minute), Last: d0, Stage: Development, LastStage: Development, Habit: Fruiting}, NotDue, 0},
		{"on the interval", Situation{Today: days(12), Last: d0, Stage: Development, LastStage: Development, Habit: Fruiting}, ByInterval, 0},
		{"three intervals missed", Situation{Today: days(12 * 4), Last: d0, Stage: Development, LastStage: Development, Habit: Fruiting}, ByInterval, 3},
		{"entered fruit", Situation{Today: days(7), Last: d0, Stage: Middle, LastStage: Development, Habit: Fruiting}, ByStage, 0},
		{"ledger runs out", Situation{Today: days(5), Last: d0, Stage: Development, LastStage: Development, Habit: Fruiting, NDaysLeft: garden.Known(2.9)}, ByLedger, 0},
		{"ledger has enough", Situation{Today: days(5), Last: d0, Stage: Development, LastStage: Development, Habit: Fruiting, NDaysLeft: garden.Known(3)}, NotDue, 0},
		{"ledger never hurries past the gap", Situation{Today: days(3.99), Last: d0, Stage: Development, Habit: Fruiting, NDaysLeft: garden.Known(0)}, NotDue, 0},
		{"asking never hurries past the gap", Situation{Today: days(3.99), Last: d0, Stage: Middle, Habit: Fruiting, Asked: true}, NotDue, 0},
		{"asked for", Situation{Today: days(4), Last: d0, Stage: Development, Habit: Fruiting, Asked: true}, ByAsk, 0},
		{"own interval", Situation{Today: days(20), Last: d0, Stage: Middle, Habit: Fruiting, IntervalDays: garden.Known(21)}, NotDue, 0},
		{"rich mix, third week", Situation{Today: days(20.9), Since: d0, Starter: true, Stage: Initial, Habit: Fruiting}, NotDue, 0},
		{"rich mix, spent", Situation{Today: days(21), Since: d0, Starter: true, Stage: Initial, Habit: Fruiting}, ByInterval, 0},
		{"clock went back", Situation{Today: days(-40), Last: d0, Stage: Middle, Habit: Fruiting, Asked: true, NDaysLeft: garden.Known(0)}, NotDue, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := Assess(c.s)
			assert.Equal(t, c.why, d.Why, d.Words())
			assert.Equal(t, c.why != NotDue, d.Now)
			assert.Equal(t, c.missed, d.Missed)
			assert.NotEmpty(t, d.Words())
		})
	}
	// Common practice, no source: 10 to 14 days, neglect shows by week six.
	rapid.Check(t, func(t *rapid.T) {
		s := Situation{Last: d0, Stage: Stage(rapid.IntRange(0, 3).Draw(t, "stage")), Habit: Habit(rapid.IntRange(0, 2).Draw(t, "habit"))}
		s.LastStage = s.Stage
		s.Today = days(14)
		assert.True(t, Assess(s).Now)
	})
}
