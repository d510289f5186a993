package season

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestAPinThatFailsStarvesNoOtherPot: thirsty pots in a heat, on a supply for one
// line or two, and for eight days one valve can't be driven: shut, or open as it was
// when its pin failed. The other plants get their water.
func TestAPinThatFailsStarvesNoOtherPot(t *testing.T) {
	for _, c := range []struct {
		name              string
		pots              int
		supplyL           float64
		meter, pump, open bool
	}{
		{"shut", 2, 12, false, false, false},
		{"shut, three pots and a meter", 3, 12, true, false, false},
		{"open", 2, 12, false, false, true},
		{"open, three pots and a meter", 3, 12, true, false, true},
		{"open, behind a pump", 3, 12, true, true, true},
		{"open, four pots on a supply for two", 4, 24, false, false, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			s := Script{Seed: 7, Mode: Single, Days: 8, Weather: "heat", Month: time.July, SupplyL: c.supplyL, Meter: c.meter}
			for range c.pots {
				s.Pots = append(s.Pots, ScriptPot{Litres: 38, Crop: "cucumber", CanopyM2: 0.5, Probes: 1, Emitters: 6})
			}
			if c.pump {
				s.pumped()
			}
			at := 30 * time.Hour
			if c.open {
				at = opensAfter(t, s, at) + 30*time.Second
			}
			s.Mishaps = []Mishap{{Kind: "pin fails", At: at}}
			var b *Bench
			o, err := play(s, tricks{begun: func(life *Bench) { b = life }})
			require.NoError(t, err)
			pin := b.Wires.Pin(b.Garden.Lines[0].ID)
			require.Equal(t, c.open, pin.Energised())
			assert.Empty(t, o.Violations)
			assert.Less(t, o.LostShare, mostLost)
			t.Logf("lost %.3f in %d orders", o.LostShare, o.Orders)
		})
	}
}

// opensAfter is when the script's first line opens after that time.
func opensAfter(t *testing.T, s Script, after time.Duration) time.Duration {
	var b *Bench
	_, err := play(s, tricks{begun: func(life *Bench) { b = life }})
	require.NoError(t, err)
	for _, e := range b.Wires.Pin(b.Garden.Lines[0].ID).History() {
		if e.Energised && e.At > after {
			return e.At
		}
	}
	t.Fatal("the line never opens")
	return 0
}
