package season

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// falseAlarm begins what is said of an alarm in a run in which nothing went wrong.
const falseAlarm = "false alarm: "

// saidOf is what a campaign says of a run: what it broke, and where false alarms are
// asked for, those that it counts.
func saidOf(o Outcome, about string) []string {
	said := slices.Clone(o.Violations)
	if !strings.HasPrefix(about, falseAlarm) {
		return said
	}
	c := Campaign{FalseAlarms: map[string]int{}}
	o.Violations = nil // nothing is to be made shorter
	c.count(o)
	for _, a := range c.False {
		said = append(said, falseAlarm+a.Name)
	}
	return said
}

// stuckScript has the first of some pots' lines stay open with its pin, from a pulse
// of its own on after which another line was opened within the time its room is kept.
func stuckScript(t *testing.T, pots int, supplyL float64) (s Script, failed time.Duration) {
	s = Script{Seed: 7, Mode: Single, Days: 4, Weather: "heat", Month: time.July, SupplyL: supplyL}
	for range pots {
		s.Pots = append(s.Pots, ScriptPot{Litres: 38, Crop: "cucumber", CanopyM2: 0.5, Probes: 1, Emitters: 6})
	}
	var b *Bench
	_, err := play(s, tricks{begun: func(life *Bench) { b = life }})
	require.NoError(t, err)
	opens := func(line int, from, to time.Duration) (time.Duration, bool) {
		for _, e := range b.Wires.Pin(b.Garden.Lines[line].ID).History() {
			if e.Energised && e.At > from && e.At < to {
				return e.At, true
			}
		}
		return 0, false
	}
	for at, ok := opens(0, 30*time.Hour, 72*time.Hour); ok; at, ok = opens(0, at, 72*time.Hour) {
		for other := 1; other < pots; other++ {
			if _, soon := opens(other, at+time.Minute, at+keptFree-5*time.Minute); soon {
				failed = at + 30*time.Second
				s.Mishaps = []Mishap{{Kind: "pin fails", At: failed}}
				return s, failed
			}
		}
	}
	t.Fatal("no line is opened soon after the first")
	return s, 0
}

func with(s Script, change func(*Script)) Script {
	change(&s)
	return s
}

// hourly dies every hour, with its outputs released.
func hourly(days int) (out []Restart) {
	for h := 2; h < 24*days-2; h++ {
		out = append(out, Restart{At: time.Duration(h)*time.Hour + 11*time.Minute, Down: 2 * time.Second, Release: true})
	}
	return out
}

// fedScript has a pot that is fed by its line's injector.
func fedScript() Script {
	s := thirstyScript()
	s.Weather, s.SupplyL = "usual", 24
	s.Pots[0] = ScriptPot{Litres: 75, Crop: "aubergine", CanopyM2: 0.5, Probes: 2, Emitters: 4, Fed: true}
	return s
}

// farScript has the first of two thirsty pots on a broker.
func farScript() Script {
	s := thirstyScript()
	s.Mode, s.Days, s.SupplyL, s.Pots[0].Remote = Several, 4, 24, true
	return s
}

// thirstyScript has two big windy pots in a heat wave on a supply for one line.
func thirstyScript() Script {
	s := NewScript(3, Clean, 7, "")
	s.Weather, s.Hours, s.Meter, s.Month = "heat", false, false, time.July
	s.Pots = []ScriptPot{
		{Litres: 38, Crop: "chilli", CanopyM2: 0.8, Windy: true, Probes: 1, Emitters: 6},
		{Litres: 38, Crop: "chilli", CanopyM2: 0.8, Windy: true, Probes: 1, Emitters: 6},
	}
	s.SupplyL = 12
	return s
}

// restarted dies in the middle of waterings, with its outputs driven.
func restarted() Script {
	s := thirstyScript()
	s.Mode = Several
	for h := 30; h < 160; h += 3 {
		s.Restarts = append(s.Restarts, Restart{At: time.Duration(h) * time.Hour, Down: 2 * time.Second})
	}
	return s
}
