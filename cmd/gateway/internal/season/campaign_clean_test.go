package season

import (
	"testing"
	"time"

	"fabricpot/control/alarm"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestNoAlarmWithoutAFault plays clean scripts that once raised an alarm each few
// days: a lone probe that does not see its pot's depth, watered through by the
// water balance, took what a guess may give a day for the line's limit.
func TestNoAlarmWithoutAFault(t *testing.T) {
	for _, seed := range []uint64{6} {
		o, err := Play(NewScript(seed, Clean, 55, ""))
		require.NoError(t, err)
		assert.Empty(t, o.Alarms, "seed %d", seed)
		assert.Empty(t, o.Violations, "seed %d", seed)
		assert.Greater(t, o.Orders, 50, "seed %d", seed)
	}
}

// TestWaterThatSpreadsIsNoPotThatHardlyDries plays the first days of clean seasons.
// Tall pots come out of a dry spell, and their probes, both in the upper half, read
// far over what the pot can hold for a day or two: its floor is still dry. Taken for a
// look at rest that said of each that it hardly dries. A valve that leaks into such a
// pot, with no meter to tell it, is still told.
func TestWaterThatSpreadsIsNoPotThatHardlyDries(t *testing.T) {
	for _, seed := range []uint64{20096, 20268, 20300, 20413, 20708, 20876} {
		s := NewScript(seed, Clean, 153, "")
		s.Days = 11
		o, err := Play(s)
		require.NoError(t, err)
		assert.Empty(t, o.Alarms, "seed %d", seed)
		assert.Positive(t, o.Orders, "seed %d", seed)
	}
	const from = 17 * 24 * time.Hour
	s := NewScript(1, Clean, 153, "")
	s.Days, s.Weather, s.Meter, s.Pump, s.TankL = 24, "usual", false, false, 0
	s.Pots = []ScriptPot{{Litres: 75, Crop: "aubergine", CanopyM2: 0.5, Probes: 2, Emitters: 5}}
	o, err := play(s, tricks{begun: func(b *Bench) { b.Clock.At(from, func() { b.Terrace.LeakValve("l0", 0.3) }) }})
	require.NoError(t, err)
	told := time.Duration(0)
	for _, a := range o.Alarms {
		require.GreaterOrEqual(t, a.at, from, "%s %s", a.Name, a.Text)
		if a.kind == alarm.LosesTooLittle && told == 0 {
			told = a.at - from
		}
	}
	t.Logf("told after %v", told)
	assert.Positive(t, told)
	assert.LessOrEqual(t, told, 5*24*time.Hour)
}
