package season

import (
	"context"
	"testing"
	"time"

	"fabricpot/sim/policy"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestProbesThatReadTooDryWasteNoSeason holds a summer with probes that read too dry,
// from the beginning or more and more, to the aims of a summer with good ones. The
// bounds are this project's aims. Where a pot is filled to a capacity that its probe
// never reads, a fifth of the irrigation would drain.
func TestProbesThatReadTooDryWasteNoSeason(t *testing.T) {
	if testing.Short() {
		t.Skip("whole seasons")
	}
	set := FullTrial()
	cases := set.Cases[:0:0]
	for _, c := range set.Cases {
		if c.Fault.Kind == readsDry || c.DriftVPH > 0 {
			c.Tick = 5 * time.Minute
			cases = append(cases, c)
		}
	}
	require.Len(t, cases, 2)
	set.Cases, set.Seeds, set.Policies = cases, 1, []string{policy.Gateway}
	runs, err := Trials(context.Background(), set, TrialOptions{Dir: t.TempDir(), Program: "dry"})
	require.NoError(t, err)
	judged := 0
	for _, r := range Rows(set, runs) {
		if r.Policy != policy.Gateway {
			continue
		}
		judged++
		t.Logf("%s: %.2f times the ideal, drained %.1f %%, lost %.2f %%, told after %.0f h", r.Case, r.TimesIdeal.Most, 100*r.DrainedShare.Most, 100*r.LostShare.Most, r.AlarmHours.Most)
		assert.LessOrEqual(t, r.TimesIdeal.Most, 1.15, "%s: times the ideal", r.Case)
		assert.Less(t, r.DrainedShare.Most, 0.05, "%s: irrigation drained", r.Case)
		assert.LessOrEqual(t, r.LostShare.Most, 0.01, "%s: transpiration lost", r.Case)
		require.Positive(t, r.AppliedL.Mean, "%s: water", r.Case)
	}
	assert.Equal(t, 2, judged)
}
