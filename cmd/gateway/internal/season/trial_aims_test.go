package season

import (
	"context"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/sim/policy"
)

// TestTrialAims holds the quick trial, on its first seed and beside one timer, fed pots on
// two seeds and beside all five, to what the gateway is for. The bounds are this project's
// aims; what is measured on more seeds stands in the README.
func TestTrialAims(t *testing.T) {
	if testing.Short() {
		t.Skip("whole seasons")
	}
	set := QuickTrial()
	set.Seeds, set.Policies = 1, []string{policy.Gateway, policy.HottestWeek}
	runs, err := Trials(context.Background(), set, TrialOptions{Dir: t.TempDir(), Program: "aims"})
	require.NoError(t, err)
	at := map[[2]string]TrialRow{}
	for _, r := range Rows(set, runs) {
		at[[2]string{r.Case, r.Policy}] = r
	}
	for _, c := range set.Cases {
		ours, timer := at[[2]string{c.Name, policy.Gateway}], at[[2]string{c.Name, policy.HottestWeek}]
		compared := timer.Seeds > 0
		lost, times := ours.LostShare.Most, ours.TimesIdeal.Most
		// A row that is not there is all zeros and would keep every bound.
		require.Equal(t, 1, ours.Seeds, "%s: our run", c.Name)
		require.Positive(t, ours.AppliedL.Mean, "%s: water", c.Name)
		require.Positive(t, times, "%s: times the ideal", c.Name)
		if c.Group == groupSeasons || c.Group == groupFed {
			require.Equal(t, 1, timer.Seeds, "%s: the timer's run", c.Name)
		}
		t.Run(c.Name, func(t *testing.T) {
			t.Logf("lost %.2f %%, worst pot %.1f %%, %.2f times the ideal, drained %.1f %%, N leached %.2f g/kg, %.1f %% lost to salt, alarms %d after %.1f h",
				100*lost, 100*ours.WorstPot.Most, times, 100*ours.DrainedShare.Most, ours.NLeachedGPerKG.Most, 100*ours.SaltLostShare.Most, ours.Alarms, ours.AlarmHours.Most)
			switch c.Group {
			case groupSeasons:
				assert.LessOrEqual(t, lost, 0.01, "transpiration lost")
				assert.LessOrEqual(t, times, 1.15, "times the ideal")
				assert.Less(t, ours.DrainedShare.Most, 0.05, "irrigation drained")
				assert.Less(t, ours.AppliedL.Mean, timer.AppliedL.Mean, "water")
			case groupWashed:
				assert.LessOrEqual(t, lost, 0.01, "transpiration lost")
				assert.LessOrEqual(t, times, 1.15, "times the ideal, which drains nothing")
				dry := at[[2]string{strings.TrimSuffix(c.Name, washedOut), policy.Gateway}]
				require.Equal(t, 1, dry.Seeds, "the same where nothing drains")
				if c.Garden == onTerrace { // in a fortnight little gathers
					require.Greater(t, dry.SaltLostShare.Mean, 0.02)
					assert.Less(t, ours.SaltLostShare.Mean, 0.6*dry.SaltLostShare.Mean, "lost to salt, of that where nothing drains")
					assert.Greater(t, ours.DrainedShare.Mean, dry.DrainedShare.Mean, "it drains for it")
				}
			case groupFed:
				assert.LessOrEqual(t, lost, 0.01, "transpiration lost")
				assert.LessOrEqual(t, times, 1.30, "times the ideal, leaching too")
				assert.LessOrEqual(t, ours.SaltLostShare.Mean, 0.035, "lost to salt")
				leachesLess(t, c)
			case groupFaults:
				if c.Fault.Kind == allBlocked {
					// No line is left to give that pot water: somebody must be told,
					// and brings in the evenings what the list of work says.
					require.Positive(t, ours.Alarms)
					assert.LessOrEqual(t, ours.AlarmHours.Most, 48.0)
				}
				if c.Fault.Kind == halfBlocked {
					require.Positive(t, ours.Alarms)
					assert.LessOrEqual(t, ours.AlarmHours.Most, 96.0)
				}
				assert.LessOrEqual(t, lost, 0.05, "transpiration lost")
				// Nor may a fault be bought off with water: no aim, but what the
				// timer for the hottest week gives in a whole season.
				assert.LessOrEqual(t, times, 1.30, "times the ideal")
			}
			if compared {
				assert.LessOrEqual(t, lost, timer.LostShare.Most+0.001, "no more than under the timer")
			}
		})
	}
}

// TestFeedsOnTime is two seasons of the long trial in which washes, rain and full
// pots had kept feeds back by 3.2 and 3.3 days. Within two days is this project's
// aim; the first feed counts from the day it fell due.
func TestFeedsOnTime(t *testing.T) {
	if testing.Short() {
		t.Skip("whole seasons")
	}
	set, err := FullTrial().Only([]string{"fed, "})
	require.NoError(t, err)
	lab := newTrialLab()
	for i, seed := range []uint64{6, 3} {
		r, err := lab.run(context.Background(), set.Cases[i], policy.Gateway, seed)
		require.NoError(t, err)
		require.NotNil(t, r.FeedsLateDays)
		s := sum(r)
		t.Logf("%s: %.1f days late, %.1f g N given, %.2f g/kg leached", r.Case, *r.FeedsLateDays, s.nApplied, s.nLeached/s.got)
		assert.LessOrEqual(t, *r.FeedsLateDays, 2.0, r.Case)
		// On time, not by giving nothing: four fifths is what such seasons use.
		assert.GreaterOrEqual(t, s.nUsed, 0.75*s.nWanted, r.Case)
	}
}

// leachesLess: fed pots lose at most half of the nitrogen that they do under any timer, and
// less harvest to salts than under the timer that leaches least.
func leachesLess(t *testing.T, c TrialCase) {
	t.Helper()
	timers := []string{policy.HottestWeek, policy.MeanWeek, policy.RainStop, policy.Monthly, policy.MonthlyBook}
	set := TrialSet{Name: "fed", Cases: []TrialCase{c}, Seeds: 2, Policies: append([]string{policy.Gateway}, timers...)}
	runs, err := Trials(context.Background(), set, TrialOptions{Dir: t.TempDir(), Program: "aims"})
	require.NoError(t, err)
	by := map[string]TrialRow{}
	for _, r := range Rows(set, runs) {
		by[r.Policy] = r
	}
	ours, least := by[policy.Gateway], by[timers[0]]
	require.Equal(t, set.Seeds, ours.Seeds, "our runs")
	require.Positive(t, ours.NLeachedGPerKG.Mean)
	for _, name := range timers {
		timer := by[name]
		require.Equal(t, set.Seeds, timer.Seeds, name)
		t.Logf("%s: N leached %.3f g/kg, %.1f %% lost to salt", name, timer.NLeachedGPerKG.Mean, 100*timer.SaltLostShare.Mean)
		assert.LessOrEqual(t, ours.NLeachedGPerKG.Mean, 0.5*timer.NLeachedGPerKG.Mean, "N leached, of %s", name)
		if timer.NLeachedGPerKG.Mean < least.NLeachedGPerKG.Mean {
			least = timer
		}
	}
	assert.Less(t, ours.SaltLostShare.Mean, least.SaltLostShare.Mean, "lost to salt, of %s", least.Policy)
}
