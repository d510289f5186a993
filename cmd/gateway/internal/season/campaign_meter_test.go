package season

import (
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestAMeterThatFailsStarvesNoPotBehindAPump: in a heat a pump is stopped for want of
// flow that its meter does not show. Its float says that there is water, and so do the
// probes: the pots go without for hours and not for days.
func TestAMeterThatFailsStarvesNoPotBehindAPump(t *testing.T) {
	for _, kind := range []MishapKind{"meter dead", "meter does not answer"} {
		t.Run(string(kind), func(t *testing.T) {
			o, err := Play(Script{Seed: 40051, Mode: Single, Days: 5, Weather: "heat", Month: time.August, every: time.Minute,
				SupplyL: 12, Meter: true, TankL: pumpTankL, Pump: true,
				Pots: []ScriptPot{{Litres: 20, Crop: "strawberry", CanopyM2: 0.05, Probes: 2, Emitters: 3, Fed: true},
					{Litres: 38, Crop: "aubergine", CanopyM2: 0.37, Windy: true, Probes: 2, Emitters: 3}},
				Mishaps: []Mishap{{Kind: kind, At: 28*time.Hour + 42*time.Minute, Towards: 1}}})
			require.NoError(t, err)
			assert.Empty(t, o.Violations)
			assert.Less(t, o.LostShare, 0.05)
			t.Logf("lost %.4f in %d orders", o.LostShare, o.Orders)
		})
	}
}

// TestAFloatThatFailsStarvesNoPot: a broken wire says the same as an empty tank, and in
// a heat a small pot is dry within a day. A truly empty tank costs the pump its tries.
func TestAFloatThatFailsStarvesNoPot(t *testing.T) {
	heat := Script{Seed: 40051, Mode: Single, Days: 5, Weather: "heat", Month: time.August, every: time.Minute,
		SupplyL: 12, Meter: true, TankL: pumpTankL, Pump: true,
		Pots: []ScriptPot{{Litres: 20, Crop: "strawberry", CanopyM2: 0.05, Probes: 2, Emitters: 3},
			{Litres: 38, Crop: "aubergine", CanopyM2: 0.37, Windy: true, Probes: 2, Emitters: 3}},
		Mishaps: []Mishap{{Kind: "float stuck", At: 28*time.Hour + 42*time.Minute}}}
	o, err := Play(heat)
	require.NoError(t, err)
	assert.Empty(t, o.Violations)
	assert.Less(t, o.LostShare, 0.05)
	t.Logf("lost %.4f in %d orders", o.LostShare, o.Orders)
	for _, a := range o.Alarms {
		assert.Equal(t, "tank low", a.Name, "%s: one alarm for one cause", a.Text)
	}

	heat.Mishaps[0].Kind, heat.Mode = "meter dead", Several
	heat.Mishaps = append(heat.Mishaps, Mishap{Kind: "float stuck", At: 40 * time.Hour})
	o, err = Play(heat)
	require.NoError(t, err)
	assert.Empty(t, o.Violations)
	assert.Greater(t, o.LostShare, 0.1, "with no count the float is believed, and nothing runs")
}

// TestTwoFaultsAtOnceBehindAPump: a meter that failed, and then a tank that is empty
// under a float that is welded. The pump may run dry for longer than by the latter
// alone, and not by more than its excuse.
func TestTwoFaultsAtOnceBehindAPump(t *testing.T) {
	script := func(kind MishapKind) Script {
		return with(NewScript(3, Single, 6, "meter dead"), func(s *Script) {
			s.pumped()
			s.Mode, s.Weather = Several, "heat"
			s.Mishaps = []Mishap{{Kind: kind, At: 26 * time.Hour}, {Kind: "pump runs dry", At: 60 * time.Hour}}
		})
	}
	for _, kind := range []MishapKind{"meter dead", "meter does not answer"} {
		o, err := Play(script(kind))
		require.NoError(t, err)
		assert.Empty(t, o.Violations, kind)
	}
	o, err := play(script("meter dead"), tricks{garden: func(g *garden.Garden) *garden.Garden {
		c := *g
		c.Supply.Pump.FlowWithin = time.Hour
		return &c
	}})
	require.NoError(t, err)
	require.NotEmpty(t, o.Violations, "and the excuse covers no pump that nothing stops")
	assert.Contains(t, o.Violations[0], "the pump ran dry")
}

// TestADryPumpInAHeat: its tank runs empty under a float that is welded, in the midst of
// a watering in a heat. What that gave still spreads, and overnight the mix by a deeper
// probe gets a little wetter: neither is water that the meter did not count.
func TestADryPumpInAHeat(t *testing.T) {
	o, err := Play(NewScript(100, Single, singleDays, "pump runs dry"))
	require.NoError(t, err)
	assert.Empty(t, o.Violations)
}

// TestADryPumpBesideAProbeThatJumps: its float is welded and its tank empty, and a probe
// reads wetter from one round to the next, since its drift ended, its plug was changed or
// it is noisy. None of it is water.
func TestADryPumpBesideAProbeThatJumps(t *testing.T) {
	o, err := Play(NewScript(60413, Several, severalDays, ""))
	require.NoError(t, err)
	assert.Empty(t, o.Violations)
	const h = time.Hour
	for seed, jumps := range map[uint64]Mishap{
		500: {Kind: "probes swapped", At: 70 * h, For: 20 * h},
		501: {Kind: "probe noisy", At: 72*h + 30*time.Minute, For: 30 * h},
		502: {Kind: "damp in the plug", At: 75 * h, For: 12 * h},
		503: {Kind: "probe drifts", At: 73*h + 30*time.Minute, For: 20 * h, Towards: 1},
	} {
		s := NewScript(seed, Single, 6, "pump runs dry")
		s.Mode, s.Hours, s.Weather = Several, false, "usual"
		if seed%2 == 0 {
			s.Weather = "heat"
		}
		for i := range s.Pots {
			s.Pots[i].Fed = false
		}
		s.Mishaps = []Mishap{{Kind: "pump runs dry", At: 44*h + time.Duration(seed-500)*h}, jumps}
		o, err := Play(s)
		require.NoError(t, err)
		assert.Empty(t, o.Violations, "%d: %s", seed, jumps.Kind)
	}
}

// The excuse is for both at the same time.
func TestUnseenIsForTwoFaultsThatMeet(t *testing.T) {
	lives := func(m ...Mishap) int {
		s := thirstyScript()
		s.Mishaps = m
		g, err := s.garden()
		require.NoError(t, err)
		b, err := NewBench(g, Options{Seed: s.Seed, Start: s.start, Weather: s.weather()})
		require.NoError(t, err)
		b.Clock.RunUntil(72 * time.Hour)
		return (&course{s: &s, b: b, g: g, deaths: 1}).unseen()
	}
	const h = time.Hour
	dead, dry := Mishap{Kind: "meter dead", At: 30 * h}, Mishap{Kind: "pump runs dry", At: 40 * h}
	assert.Zero(t, lives(dead))
	assert.Zero(t, lives(dry))
	assert.Equal(t, 2, lives(dead, dry))
	assert.Equal(t, 2, lives(dry, dead))
	dead.For = 5 * h
	assert.Zero(t, lives(dead, dry), "mended before")
}
