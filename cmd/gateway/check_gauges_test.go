package main

import (
	"strings"
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestCheckSaysWhatWatchesTheWater(t *testing.T) {
	g := &garden.Garden{Hardware: garden.Hardware{Kind: garden.Board}}
	var out strings.Builder
	printGauges(&out, g)
	assert.Empty(t, out.String())

	g.Supply.MeterPulsesPerL = garden.Known(450)
	printGauges(&out, g)
	assert.Equal(t, "flow meter: 450 pulses/L, wired to nothing\n", out.String())

	out.Reset()
	g.Supply.Meter.Fitted, g.Supply.Meter.Chip, g.Supply.Meter.Pin = true, "gpiochip0", 5
	g.Supply.Float.Fitted, g.Supply.Float.Chip, g.Supply.Float.Pin = true, "gpiochip0", 6
	g.Supply.Pump = garden.Pump{Fitted: true, Chip: "gpiochip0", Pin: 7, FlowWithin: 30 * time.Second, MaxRun: 20 * time.Minute}
	g.Rain.Fitted, g.Rain.Chip, g.Rain.Pin, g.Rain.MMPerTip = true, "gpiochip0", 8, 0.2
	printGauges(&out, g)
	assert.Equal(t, `flow meter: 450 pulses/L, on line 5 of gpiochip0
float: closed while there is water, on line 6 of gpiochip0
pump: on line 7 of gpiochip0, at most 20m0s in one go, stopped after 30s without flow
rain gauge: 0.2 mm a tip, on line 8 of gpiochip0
`, out.String())
}

func TestCheckNamesProbesThatWereNeverCompared(t *testing.T) {
	curve := garden.Calibration{Kind: garden.Linear, Slope: -0.4, Intercept: 1.1}
	g := &garden.Garden{
		Hardware: garden.Hardware{Kind: garden.Board},
		Mixes:    []garden.Mix{{ID: "light", Calibration: curve}, {ID: "raw"}},
		Pots: []garden.Pot{
			{ID: "one", Mix: "light", Zones: []garden.Zone{{ID: "one", Probes: []garden.Probe{{ID: "a"}, {ID: "b"}, {ID: "c", Calibration: curve}}}}},
			{ID: "two", Mix: "raw", Zones: []garden.Zone{{ID: "two", Probes: []garden.Probe{{ID: "d"}}}}},
		},
	}
	says := func() string {
		var out strings.Builder
		printUncompared(&out, g)
		return out.String()
	}
	assert.Contains(t, says(), "never compared with their drained pot: a, b, c; ", "one with no curve has to get that first")
	g.Mixes[0].Calibration.ProbeOffsets = map[garden.ProbeID]float64{"a": 0, "b": 0.02}
	assert.Contains(t, says(), "never compared with their drained pot: c; ")
	g.Pots[0].Zones[0].Probes[2].Calibration.ProbeOffsets = map[garden.ProbeID]float64{"c": -0.01}
	assert.Empty(t, says())
	g.Mixes[0].Calibration.ProbeOffsets, g.Hardware.Kind = nil, garden.Bench
	assert.Empty(t, says(), "on the bench nothing was pushed in")
}

func TestCheckNamesPotsThatKeepTheirSalts(t *testing.T) {
	g := &garden.Garden{Pots: []garden.Pot{{ID: "p", Zones: []garden.Zone{
		{ID: "beans", Plants: []garden.Plant{{Crop: "bush bean"}}, LeachingFraction: 0.02},
		{ID: "herbs", Plants: []garden.Plant{{Crop: "basil"}}},
		{ID: "cucumbers", Plants: []garden.Plant{{Crop: "cucumber"}}, LeachingFraction: 0.1},
	}}}}
	washed := garden.ZoneID("")
	says := func() string {
		var out strings.Builder
		printSalts(&out, g, func(z garden.ZoneID) bool { return z == washed })
		return out.String()
	}
	assert.Contains(t, says(), "conductivity is not known")
	for i, z := range g.Pots[0].Zones {
		for _, line := range []garden.LineID{"", "l"} {
			z.LeachByNeed, z.Line = true, line
			g.Pots[0].Zones[i], z = z, g.Pots[0].Zones[i]
			// Nothing is washed by hand, nor of a crop that nobody has measured.
			assert.Equal(t, line != "" && i != 1, strings.Contains(says(), "as much drains as salts ask for"), "%s %q", z.ID, line)
			g.Pots[0].Zones[i], z = z, g.Pots[0].Zones[i]
		}
	}
	herbs := &g.Pots[0].Zones[1].LeachingFraction
	*herbs = 0.1
	assert.Empty(t, says(), "something drains from each")
	*herbs = 0
	g.Supply.ECmS = garden.Known(0)
	assert.Empty(t, says(), "rain water")
	// 0.5/(5·1.0 − 0.5), FAO-29 eq. 9 with Maas' threshold for bean.
	g.Supply.ECmS = garden.Known(0.5)
	assert.Equal(t, "\nsalts: beans: with water of 0.5 mS/cm 11 % has to drain for bush bean (FAO-29) and 2 % does: write leaching: 12 %, or mix in rain water\n", says())
	washed = "beans"
	assert.Empty(t, says(), "it drains as much as they ask for")
	g.Supply.ECmS = garden.Known(4)
	assert.Contains(t, says(), "beans: water of 4.0 mS/cm is too salty for bush bean: more than the 40 % that may be asked")
	assert.Contains(t, says(), "cucumbers: water of 4.0 mS/cm is too salty for cucumber", "47 % can't be asked for")
	g.Supply.ECmS = garden.Known(2)
	assert.Contains(t, says(), "cucumbers: with water of 2.0 mS/cm 19 % has to drain for cucumber (FAO-29) and 10 % does: write leaching: 20 %")
}

// Of water that the drained pot holds: where beans lose 8 %, at an ECe of 1.0 + 8/19 (Maas),
// is told of pots that are washed by need.
func TestCheckSaysWhereWashingBegins(t *testing.T) {
	u, err := understand(nil)
	require.NoError(t, err)
	var out strings.Builder
	printWashes(&out, u.plan)
	assert.Contains(t, out.String(), "\n  trough-bean: washed out from 2.6 on (8 % of the bush bean harvest)\n")
	assert.Equal(t, 1, strings.Count(out.String(), "salts that cost harvest"))
	assert.NotContains(t, out.String(), "chard", "by hand")
	for _, z := range u.plan.Zones() {
		if z.ID == "trough-bean" {
			v := z.Salts()
			assert.InDelta(t, 1+8/19.0, v.WashAtMS*float64(z.Capacity/z.Porosity), 1e-9)
		}
	}
}
