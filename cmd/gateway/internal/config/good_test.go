package config_test

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/cmd/gateway/internal/config"
	"fabricpot/control/garden"
	"fabricpot/testdata"
)

// TestFullFile compares every section of a file that uses every key with the
// values a person reckons from it by hand.
func TestFullFile(t *testing.T) {
	g, s, err := config.Load("full.yaml", []byte(full))
	require.NoError(t, err)
	require.Len(t, s.Warnings, 1)
	assert.Contains(t, s.Warnings[0].What, "a latching valve stays open")
	k := garden.Known

	t.Run("site", func(t *testing.T) {
		zone, err := time.LoadLocation("Africa/Johannesburg")
		require.NoError(t, err)
		assert.InDelta(t, 100, g.Site.ElevationM, 1e-6, "328.0839895 ft are 100 m")
		g.Site.ElevationM = 100
		assert.Equal(t, garden.Site{Name: "Full", ID: "full-site", LatDeg: -33.9, LonDeg: 18.4, ElevationM: 100, Zone: zone, Coastal: true}, g.Site)
		assert.Equal(t, 30*time.Second, g.SampleEvery)
		assert.Equal(t, "/tmp/journal.db", g.JournalFile)
	})
	t.Run("mixes", func(t *testing.T) {
		require.Len(t, g.Mixes, 2)
		m := g.Mixes[0]
		assert.InDelta(t, 0.15, m.Retention.AlphaPerCM, 1e-12)
		assert.InDelta(t, 30, m.Retention.KsCMH, 1e-9)
		assert.InDelta(t, 25, m.Calibration.TempRefC, 1e-9, "77 °F")
		assert.InDelta(t, 0.001, m.Calibration.TempCoeff, 1e-12)
		assert.Equal(t, []garden.CalibrationPoint{{Volts: 2.5, Water: 0.1}, {Volts: 2, Water: 0.3}, {Volts: 1.3, Water: 0.6}}, m.Calibration.Points)
		assert.Equal(t, garden.Interpolated, m.Calibration.Kind)
		assert.Equal(t, -0.01, m.Calibration.OffsetWater)
		assert.True(t, m.Illustrative)
		assert.Equal(t, [3]float64{250, 60, 200}, [3]float64{m.StarterNmgL, m.StarterPmgL, m.StarterKmgL})
		b := g.Mixes[1]
		assert.Equal(t, garden.Retention{Model: garden.BrooksCorey, ThetaR: 0.05, ThetaS: 0.6, HbCM: 4, Lambda: 0.5}, b.Retention)
		assert.InDelta(t, -0.4, b.Calibration.Slope, 1e-12)
		assert.InDelta(t, 1.1, b.Calibration.Intercept, 1e-12)
	})
	t.Run("crops and products", func(t *testing.T) {
		assert.Equal(t, []garden.OwnCrop{{Name: "sorrel", KcIni: 0.7, KcMid: 1, KcEnd: 0.9, StageDays: [4]int{20, 30, 40, 10}, P: 0.2, HeightM: 0.3, CanopyM2: 0.09}}, g.Crops)
		assert.Equal(t, []garden.Product{
			{ID: "blue", Name: "Blue crystals", Form: garden.Soluble, Analysis: garden.Analysis{N: 20, P2O5: 10, K2O: 20}, ECPer100PPM: k(0.6), Phosphate: true, SolubilityGL: k(350)},
			{ID: "fish", Name: "fish", Form: garden.Particulate, Analysis: garden.Analysis{N: 4, P2O5: 1.5, K2O: 1}, DensityKGL: k(1.1)},
		}, g.Products)
		assert.Equal(t, k(12), g.HoseLPM)
	})
	t.Run("pots", func(t *testing.T) {
		require.Len(t, g.Pots, 3)
		big := g.Pots[0]
		assert.InDelta(t, 30*3.785411784, big.VolumeL, 1e-9, "US gallons")
		assert.Equal(t, 60.0, big.Shape.TopDiameterCM)
		assert.Equal(t, 50.0, big.Shape.BottomDiameterCM)
		// A frustum: V = πh/12 (D² + Dd + d²).
		assert.InDelta(t, big.VolumeL, math.Pi*big.Shape.HeightCM/12*(3600+3000+2500)/1000, 1e-9)
		left, right := big.Zones[0], big.Zones[1]
		assert.Equal(t, garden.Zone{
			ID: "big-left", Pot: "big", Name: "Left half", Thermometer: "28-0316a2794bff", Share: 0.6, Line: "one", Exposure: garden.WindyPaved,
			Plants: []garden.Plant{{Crop: "aubergine", Count: 2, PlantedOn: time.Date(2026, 4, 15, 0, 0, 0, 0, g.Site.Zone), CanopyM2: k(0.4)}},
			Probes: []garden.Probe{
				{ID: "big-left-top", Zone: "big-left", DepthCM: 10.16, Input: garden.Input{Bus: "i2c-0", Addr: 0x4b, Channel: 3}, Calibration: garden.Calibration{OffsetWater: 0.02, TempRefC: 20}},
				{ID: "big-left-deep", Zone: "big-left", DepthCM: 40, Input: garden.Input{Addr: 0x48, Channel: 1}, Calibration: garden.Calibration{
					Kind: garden.LeastSquares, TempRefC: 20, Points: []garden.CalibrationPoint{{Volts: 2.5, Water: 0.1}, {Volts: 1.3, Water: 0.6}},
				}},
				{ID: "big-left-low", Zone: "big-left", DepthCM: 30, Input: garden.Input{Addr: 0x48, Channel: 2}, Calibration: garden.Calibration{
					Kind: garden.Quadratic, TempRefC: 21, Points: []garden.CalibrationPoint{
						{Volts: 2.5, Water: 0.06}, {Volts: 2, Water: 0.28}, {Volts: 1.7, Water: 0.45}, {Volts: 1.4, Water: 0.66},
					},
					ProbeOffsets: map[garden.ProbeID]float64{"herbs-deep": -0.015}, File: "testdata/bark.calibration.yaml",
				}},
			},
			Capacity: k(0.5), LowerLimit: k(0.25), RefillPoint: k(0.4), StopPoint: k(0.49), LeachingFraction: 0.12,
			Feed: garden.FeedPlan{
				Products: []garden.ProductShare{{Product: "blue", NShare: 0.7}, {Product: "fish", NShare: 0.3}},
				NPPM:     k(150), FullStrength: true, IntervalDays: k(10), DoseL: k(3.785411784), YieldKG: k(3),
			},
		}, left)
		assert.Equal(t, garden.Zone{
			ID: "big-right", Pot: "big", Name: "Big, right", Share: 0.4, Exposure: garden.Sheltered,
			Plants: []garden.Plant{{Crop: "sorrel", Count: 1}}, Capacity: k(0.5),
		}, right)
		small := g.Pots[1]
		assert.InDelta(t, math.Pi/4*14*14*12*16.387064/1000, small.VolumeL, 1e-9, "cubic inches")
		assert.Equal(t, garden.ZoneID("small"), small.Zones[0].ID)
		assert.Equal(t, 1.0, small.Zones[0].Share)
		assert.Equal(t, garden.LineID("two"), small.Zones[0].Line)
	})
	t.Run("lines", func(t *testing.T) {
		require.Len(t, g.Lines, 3)
		assert.InDelta(t, 1.892705892, g.Lines[0].Outlets[0].FlowLPH, 1e-12)
		g.Lines[0].Outlets[0].FlowLPH = 0
		assert.Equal(t, garden.Line{
			ID: "one", Name: "The left line", Valve: garden.Valve{Kind: garden.PinValve, Chip: "pinctrl-test", Pin: 17, ActiveLow: true, Latch: &garden.Latch{ClosePin: 18, Pulse: 60 * time.Millisecond}},
			Outlets: []garden.Outlet{{Zone: "big-left", Emitters: 6}}, DU: 0.85, MaxOn: time.Hour, DailyCapL: k(30),
			Injector: garden.Injector{Ratio: 100, Convention: garden.PartsAdded, Switched: true, Chip: "gpiochip9", Pin: 5, ActiveLow: true, MaxRun: 20 * time.Minute, FlowWithin: 45 * time.Second},
		}, g.Lines[0])
		assert.Equal(t, garden.Line{
			ID: "two", Name: "two", Valve: garden.Valve{Kind: garden.RemoteValve, Node: "east-node"},
			Outlets: []garden.Outlet{{Zone: "small", Emitters: 2, FlowLPH: 2}}, DU: 0.9,
		}, g.Lines[1])
	})
	t.Run("supply, limits, hardware", func(t *testing.T) {
		assert.Equal(t, garden.Supply{
			FlowLPH: 60 * 3.785411784, TankL: k(200), TankReserveL: 20, PressureKPa: k(150), ECmS: k(0.5), MeterPulsesPerL: k(450),
			Hours: []garden.DayWindow{{From: 5 * time.Hour, To: 9*time.Hour + 30*time.Minute}, {From: 22 * time.Hour, To: 2 * time.Hour}},
			Meter: garden.Contact{Fitted: true, Chip: "pinctrl-test", Pin: 22, To: garden.ToSupply, Pull: garden.OutsidePull, Debounce: 2 * time.Second},
			Float: garden.Contact{Fitted: true, Chip: "pinctrl-main", Pin: 24, To: garden.ToGround, Pull: garden.BoardPull, Debounce: time.Second},
			Pump:  garden.Pump{Fitted: true, Chip: "pinctrl-test", Pin: 23, ActiveLow: true, FlowWithin: 45 * time.Second, MaxRun: 20 * time.Minute},
		}, g.Supply)
		assert.InDelta(t, 0.254, g.Rain.MMPerTip, 1e-12)
		assert.Equal(t, garden.Contact{Fitted: true, Chip: "pinctrl-main", Pin: 25, To: garden.ToGround, Pull: garden.BoardPull}, g.Rain.Contact)
		assert.InDelta(t, 4, g.Limits.FrostC, 1e-9)
		g.Limits.FrostC = 4
		assert.Equal(t, garden.Limits{MaxOn: 2 * time.Hour, MinRest: 10 * time.Minute, DailyFactor: 3, FrostC: 4, SurvivalShare: 0.05, NoJournalDoses: 2}, g.Limits)
		assert.Equal(t, garden.Hardware{Kind: garden.Board, I2CBus: "/dev/i2c-1", GPIOChip: "pinctrl-main", Burst: 7}, g.Hardware)
	})
}

func TestDefaults(t *testing.T) {
	g, _, err := config.Load("g.yaml", []byte(small))
	require.NoError(t, err)
	assert.Equal(t, garden.DefaultLimits(), g.Limits)
	assert.Equal(t, time.Minute, g.SampleEvery)
	assert.Equal(t, garden.Hardware{Kind: garden.Bench, Burst: 5}, g.Hardware)
	assert.Equal(t, "test", g.Site.ID)
	assert.Equal(t, garden.OpenAir, g.Pots[0].Zones[0].Exposure)
	assert.Equal(t, "chilli", g.Pots[0].Name)
	assert.Zero(t, g.Pots[0].Zones[0].LeachingFraction, "not fed, so nothing is meant to drain")
	assert.True(t, g.Pots[0].Zones[0].LeachByNeed, "but what salts ask for")
}

func TestExamples(t *testing.T) {
	for name, src := range map[string][]byte{"terrace.yaml": testdata.Terrace, "heatwave.yaml": testdata.Heatwave, "garden12.yaml": testdata.Garden12} {
		t.Run(name, func(t *testing.T) {
			g, s, err := config.Load(name, src)
			require.NoError(t, err)
			require.Empty(t, s.Warnings)
			require.Equal(t, garden.Bench, g.Hardware.Kind)
			require.LessOrEqual(t, len(g.ProbeList()), 16, "four converters of four inputs")
		})
	}
	t.Run("the terrace is what the README says", func(t *testing.T) {
		g, _, err := config.Load("terrace.yaml", testdata.Terrace)
		require.NoError(t, err)
		require.Len(t, g.Pots, 6)
		for _, p := range g.Pots {
			assert.GreaterOrEqual(t, p.VolumeL, 20.0-1e-9)
			assert.LessOrEqual(t, p.VolumeL, 150.0+1e-9)
		}
		hand, crops := 0, map[string]bool{}
		g.EachZone(func(_ *garden.Pot, z *garden.Zone) {
			if z.Line == "" {
				hand++
			}
			for _, p := range z.Plants {
				crops[p.Crop] = true
			}
		})
		assert.Equal(t, 1, hand)
		assert.Len(t, crops, 6)
		strawberries, _ := g.Line("strawberries")
		assert.Len(t, strawberries.Outlets, 2)
	})
}

// TestUsualShapes: a volume alone keeps its litres to rounding and gets a shape
// near the dimensions fabric pots are sold with (from memory; 19, 75 and 400 L).
func TestUsualShapes(t *testing.T) {
	for _, c := range []struct {
		size             string
		litres           float64
		diameter, height float64
	}{
		{"19 L", 19, 30, 27}, {"20 gal", 75.70823568, 46, 45}, {"400 L", 400, 90, 63}, {"5 L", 5, 0, 0}, {"1500 L", 1500, 0, 0},
	} {
		t.Run(c.size, func(t *testing.T) {
			g, _, err := config.Load("g.yaml", []byte(replace(t, small, "size: 38 L", "size: "+c.size, "depth: 10 cm", "depth: 3 cm")))
			require.NoError(t, err)
			s := g.Pots[0].Shape
			assert.Equal(t, c.litres, g.Pots[0].VolumeL)
			assert.InEpsilon(t, c.litres, math.Pi/4*s.TopDiameterCM*s.BottomDiameterCM*s.HeightCM/1000, 1e-12)
			if c.height > 0 {
				assert.InEpsilon(t, c.diameter, s.TopDiameterCM, 0.01)
				assert.InEpsilon(t, c.height, s.HeightCM, 0.01)
			}
		})
	}
}

func TestWarnings(t *testing.T) {
	for _, c := range []struct{ name, old, new, want string }{
		{"small pot", "size: 38 L", "size: 15 L", `g.yaml:23:11: warning: pots.chilli.size: outside what the gateway is made for, found 15 L, expected 20 L to 400 L`},
		// That the voltage of a capacitive probe falls as water rises: common practice, no source.
		{"swapped voltages", "2.5 V, water: 10 % }\n        - { volts: 1.3 V", "1.3 V, water: 10 % }\n        - { volts: 2.5 V", `g.yaml:17:7: warning: mixes.light.calibration.points: water rises with the voltage, found 1.3 V 10 % and 2.5 V 60 %, expected it to fall, as with a capacitive probe; swap the voltages, or leave it where your probe is of another kind`},
		{"a probe's swapped voltages", "input: 0x48/0 }", "input: 0x48/0, calibration: { method: least-squares, points: [{ volts: 1.3 V, water: 10 % }, { volts: 2.5 V, water: 60 % }] } }", `g.yaml:27:81: warning: pots.chilli.probes.top.calibration.points: water rises with the voltage, found 1.3 V 10 % and 2.5 V 60 %, expected it to fall, as with a capacitive probe; swap the voltages, or leave it where your probe is of another kind`},
		{"a rising slope is meant", "method: two-point\n      points:\n        - { volts: 2.5 V, water: 10 % }\n        - { volts: 1.3 V, water: 60 % }", "method: linear\n      slope: 30 %/V\n      intercept: 0 %", ""},
		{"no calibration", "    calibration:\n      method: two-point\n      points:\n        - { volts: 2.5 V, water: 10 % }\n        - { volts: 1.3 V, water: 60 % }\n", "", `g.yaml:22:7: warning: pots.chilli.probes.top: has no calibration and decides nothing, expected one here or in mix light`},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, s, err := config.Load("g.yaml", []byte(replace(t, small, c.old, c.new)))
			require.NoError(t, err)
			assert.Equal(t, c.want, s.Warnings.Error())
		})
	}
	t.Run("planted in the future", func(t *testing.T) {
		g, s, err := config.Load("full.yaml", []byte(full))
		require.NoError(t, err)
		assert.Empty(t, config.PlantedAfter(g, s, time.Date(2026, 4, 15, 12, 0, 0, 0, g.Site.Zone)))
		got := config.PlantedAfter(g, s, time.Date(2026, 4, 14, 12, 0, 0, 0, g.Site.Zone))
		line, column := placeOf(t, full, "2026-04-15")
		assert.Equal(t, fmt.Sprintf("full.yaml:%d:%d: ", line, column)+`warning: pots.big.zones.left.plants.1.planted: planted after 2026-04-14, found "2026-04-15", expected a day that has been, or no such key for a grown plant`, got.Error())
	})
}

func TestPosition(t *testing.T) {
	_, s, err := config.Load("full.yaml", []byte(full))
	require.NoError(t, err)
	for _, c := range []struct{ path, at string }{
		{"site.latitude", "33.9 S"},
		{"pots.big.zones.left.refill", "40 %\n        stop"},
		{"zones.big-left.refill", "40 %\n        stop"},
		{"probes.big-left-deep.depth", "40 cm\n            input"},
		{"pots.big.zones.left.probes.big-left-deep.depth", "40 cm\n            input"},
		{"pots.big.zones.left.plants.1.count", "2\n            planted"},
		{"pots.small.zones.main.refill", "small:\n"}, // not written: the pot's key
		{"zones.small.refill", "small:\n"},
		{"lines.two.max-on", "two:\n"},
		{"nowhere.at.all", "site:"},
		{"", "site:"},
	} {
		t.Run(c.path, func(t *testing.T) {
			wantLine, wantColumn := placeOf(t, full, c.at)
			line, column := s.Position(c.path)
			assert.Equal(t, [2]int{wantLine, wantColumn}, [2]int{line, column})
		})
	}
	t.Run("a plan's problem", func(t *testing.T) {
		p := s.Locate(garden.Problem{Path: "pots.small.zones.main.stop", What: "too high", Fatal: true})
		line, column := placeOf(t, full, "small:\n")
		assert.Equal(t, fmt.Sprintf("full.yaml:%d:%d: pots.small.stop: too high", line, column), p.String())
	})
}

// placeOf counts lines and columns up to the first occurrence of part.
func placeOf(t *testing.T, text, part string) (line, column int) {
	t.Helper()
	before, _, ok := strings.Cut(text, part)
	require.True(t, ok, part)
	return 1 + strings.Count(before, "\n"), len(before) - strings.LastIndexByte(before, '\n')
}

func TestReadFile(t *testing.T) {
	_, err := config.ReadFile("/nowhere/garden.yaml")
	require.ErrorContains(t, err, "/nowhere/garden.yaml")
	_, err = config.ReadFile(t.TempDir())
	require.ErrorContains(t, err, "directory")
	src, err := config.ReadFile("../../../../testdata/terrace.yaml")
	require.NoError(t, err)
	require.Equal(t, testdata.Terrace, src)

	// A card's image given by mistake is not read as a whole.
	large := filepath.Join(t.TempDir(), "card.img")
	require.NoError(t, os.WriteFile(large, nil, 0o600))
	require.NoError(t, os.Truncate(large, 64<<20))
	src, err = config.ReadFile(large)
	require.NoError(t, err)
	require.LessOrEqual(t, len(src), 2<<20)
	_, _, err = config.Load("card.img", src)
	require.ErrorContains(t, err, "card.img:1:1: too large a file")
}
