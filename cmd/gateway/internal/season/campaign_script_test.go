package season

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestScriptsArePrepared: a mishap finds the terrace it is made for, whatever was
// drawn after it, and each kind is still drawn.
func TestScriptsArePrepared(t *testing.T) {
	seen := map[MishapKind]int{}
	for seed := range uint64(3000) {
		s := NewScript(seed, Several, 5, "")
		assert.GreaterOrEqual(t, len(s.Mishaps), 2)
		for _, m := range s.Mishaps {
			seen[m.Kind]++
			p := s.Pots[m.Pot]
			switch m.Kind {
			case "latch misses its close", "latch misses its pulses":
				assert.True(t, p.Latch && !p.Remote && !s.Pump, "seed %d: %s", seed, m.Kind)
			case "remote valve says closed and flows", "remote valve says open and gives nothing", "remote valve deaf in mid-watering",
				"broker away in mid-watering", "cut off from the broker in mid-watering":
				assert.True(t, p.Remote && !s.Pump, "seed %d: %s", seed, m.Kind)
			case "pin fails":
				assert.True(t, !p.Remote && !p.Latch, "seed %d: %s", seed, m.Kind)
			case "pump runs dry", "float stuck":
				assert.True(t, s.Pump && s.TankL == pumpTankL && s.Meter, "seed %d: %s", seed, m.Kind)
			case "valve leaks", "valve does not close":
				assert.False(t, s.Pump, "seed %d: %s", seed, m.Kind)
			case "meter dead", "meter counts noise", "meter does not answer":
				assert.True(t, s.Meter, "seed %d: %s", seed, m.Kind)
			case "tank empty":
				assert.True(t, s.TankL > 0 && s.TankL < pumpTankL && !s.Pump, "seed %d: %s", seed, m.Kind)
			case "injector without flow":
				assert.True(t, p.Fed && !p.Remote && !s.Hours && s.Meter, "seed %d: %s", seed, m.Kind)
			case "probes swapped":
				assert.GreaterOrEqual(t, len(s.Pots), 2, "seed %d", seed)
			case "heat wave":
				assert.Equal(t, "heat", s.Weather, "seed %d", seed)
			case "ten days of rain":
				assert.Equal(t, "rain", s.Weather, "seed %d", seed)
			case "frost":
				assert.Equal(t, "frost", s.Weather, "seed %d", seed)
			case "clocks go forward":
				assert.True(t, s.Month == time.March && s.Day == 28 && s.Hours, "seed %d", seed)
			case "clocks go back":
				assert.True(t, s.Month == time.October && s.Day == 24 && s.Hours, "seed %d", seed)
			}
		}
	}
	for _, d := range drawn {
		assert.Positive(t, seen[d.kind], "%s", d.kind)
	}
}

// TestSingleScriptsKeepTheirKind: alone, each mishap fits every terrace.
func TestSingleScriptsKeepTheirKind(t *testing.T) {
	for _, kind := range MishapKinds() {
		for seed := range uint64(300) {
			s := NewScript(seed, Single, singleDays, kind)
			require.Len(t, s.Mishaps, 1)
			require.Equal(t, kind, s.Mishaps[0].Kind, "seed %d", seed)
		}
	}
}
