package season

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/control/alarm"
)

// TestOneAlarmForOneCause: what goes wrong alone is told once, by the alarms that its
// row names and by few others: which pot's water is missing beside the supply, and
// that a line is not known to be closed beside the broker.
func TestOneAlarmForOneCause(t *testing.T) {
	type kinds = []alarm.Kind
	pump := kinds{alarm.PumpDry}
	beside := map[MishapKind]kinds{
		"probe open": nil, "probe short": nil, "converter gone": nil, "bus stuck": nil,
		"valve does not open": pump, "emitters blocked": pump, "supply gone": pump, "meter dead": pump,
		"valve does not close": nil, "valve leaks": nil, "hose off": nil, "pin fails": nil,
		"pump runs dry":               {alarm.OrderWithoutFlow},
		"broker away in mid-watering": {alarm.NotClosed}, "cut off from the broker in mid-watering": {alarm.NotClosed},
		"remote valve deaf in mid-watering": nil, "remote valve says closed and flows": nil,
		"remote valve says open and gives nothing": nil, "latch misses its pulses": nil, "latch misses its close": nil,
		"injector without flow": nil,
	}
	for kind, others := range beside {
		d := mishapOf(kind)
		require.NotEmpty(t, d.kind, "%s", kind)
		told := false
		for seed := uint64(102); seed <= 104; seed++ {
			s := NewScript(seed, Single, singleDays, kind)
			if d.needsMeter && !s.Meter {
				continue
			}
			o, err := Play(s)
			require.NoError(t, err)
			seen := map[string]bool{}
			for _, a := range o.Alarms {
				about := a.Name + " " + a.Subject
				assert.False(t, seen[about], "%s, seed %d: %s rose twice", kind, seed, about)
				assert.True(t, slices.Contains(d.alarms, a.kind) || slices.Contains(others, a.kind), "%s, seed %d: %s after %.1f h: %s", kind, seed, about, a.AtH, a.Text)
				seen[about], told = true, true
			}
		}
		assert.True(t, told, "%s was told of in no run", kind)
	}
}

// TestOneAlarmBesideOtherLines: a line that gives nothing is told of once, though
// others water beside it through the same meter; it ends when the line gives water.
func TestOneAlarmBesideOtherLines(t *testing.T) {
	for _, kind := range []MishapKind{"valve does not open", "emitters blocked"} {
		for _, seed := range []uint64{200, 206, 217, 223} {
			s := NewScript(seed, Single, singleDays, kind)
			require.True(t, s.Meter && len(s.Pots) > 1)
			o, err := Play(s)
			require.NoError(t, err)
			told := 0
			for _, a := range o.Alarms {
				if a.kind == alarm.OrderWithoutFlow {
					told++
				}
			}
			assert.Equal(t, 1, told, "%s, seed %d: %v", kind, seed, o.Alarms)
		}
	}
}
