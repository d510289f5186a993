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

// TestBooksOfAPinThatFails: what a line gives whose valve stays open with its pin is in
// the books, however the gateway lives and dies meanwhile: to the end of the run, where
// the journal knows of an intent without an outcome, and where a close is confirmed at
// last on another clock than the line was opened on.
func TestBooksOfAPinThatFails(t *testing.T) {
	s := Script{Seed: 7, Mode: Several, Days: 4, Weather: "heat", Month: time.July, SupplyL: 24}
	for range 4 {
		s.Pots = append(s.Pots, ScriptPot{Litres: 38, Crop: "cucumber", CanopyM2: 0.5, Probes: 1, Emitters: 6})
	}
	opened := opensAfter(t, s, 30*time.Hour)
	for _, lasts := range []time.Duration{0, 2 * time.Hour} {
		for _, after := range []time.Duration{time.Minute, 8*time.Minute + 30*time.Second, time.Hour} {
			for _, reboot := range []bool{false, true} {
				s := s
				s.Mishaps = []Mishap{{Kind: "pin fails", At: opened + 30*time.Second, For: lasts}}
				s.Restarts = []Restart{{At: opened + after, Down: time.Second, Reboot: reboot}}
				o, err := Play(s)
				require.NoError(t, err)
				assert.Empty(t, o.Violations, "for %v, restart after %v, another clock: %v", lasts, after, reboot)
			}
		}
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
