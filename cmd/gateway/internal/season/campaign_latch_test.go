package season

import (
	"slices"
	"testing"

	"fabricpot/control/alarm"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestLatchMissesFromMidWatering: a latching valve that misses its pulses from
// mid-watering on stays open, what it gives is nobody's to know, and its alarm is the
// one of flow without an order. One that was closed then gives nothing, and its books
// are held against the terrace.
func TestLatchMissesFromMidWatering(t *testing.T) {
	for _, c := range []struct {
		seed uint64
		open bool
	}{{20103, true}, {20104, false}, {40048, true}, {40149, true}, {40163, true}} {
		w, opened := (*witness)(nil), false
		o, err := play(NewScript(c.seed, Single, 5, "latch misses its pulses"), tricks{wrap: func(o *Options) {
			w = o.Journal.(*memBook).w
		}})
		require.NoError(t, err)
		m := o.Script.Mishaps[0]
		for _, s := range w.lines[m.Pot].spans {
			opened = opened || s.from <= m.At && m.At < s.to
		}
		assert.Equal(t, c.open, opened, "seed %d", c.seed)
		assert.Empty(t, o.Violations, "seed %d", c.seed)
		if c.open && o.Script.Meter {
			assert.True(t, o.Expected, "seed %d", c.seed)
			assert.True(t, o.DetectedS >= 0 && o.DetectedS < 1800, "seed %d: %v s", c.seed, o.DetectedS)
			told := slices.ContainsFunc(o.Alarms, func(a SeenAlarm) bool { return a.kind == alarm.FlowWithoutOrder && a.at > m.At })
			assert.True(t, told, "seed %d", c.seed)
		}
		assert.False(t, (&course{s: &o.Script, g: w.g}).leaky(&w.lines[m.Pot]), "the kind alone excuses nothing")
	}
}
