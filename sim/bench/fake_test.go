package bench

import (
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/require"
)

// soil is a terrace of our own making: water rises by a given slope with depth.
type soil struct {
	now      time.Duration
	water    map[int]float64
	perCM    float64
	tempC    float64
	open     map[garden.LineID]bool
	advanced int
	lookups  int
}

func (s *soil) Now() time.Duration { return s.now }
func (s *soil) Advance(to time.Duration) {
	s.now = to
	s.advanced++
}
func (s *soil) SetValve(line garden.LineID, open bool) { s.open[line] = open }
func (s *soil) WaterAt(zone int, depthCM float64) float64 {
	s.lookups++
	return s.water[zone] + s.perCM*depthCM
}
func (s *soil) TempAt(int, float64) float64 { return s.tempC }

func newSoil() *soil {
	return &soil{water: map[int]float64{0: 0.40, 1: 0.30}, open: map[garden.LineID]bool{}, tempC: 20}
}

// line: 2.6 V dry, falling 2 V over the whole scale.
func lineCalibration() garden.Calibration {
	return garden.Calibration{Kind: garden.TwoPoint, Points: []garden.CalibrationPoint{{Volts: 2.5, Water: 0.05}, {Volts: 1.4, Water: 0.60}}}
}

func twoPots() *garden.Garden {
	probe := func(id, zone string, addr uint16, ch int) garden.Probe {
		return garden.Probe{ID: garden.ProbeID(id), Zone: garden.ZoneID(zone), DepthCM: 10, Input: garden.Input{Addr: addr, Channel: ch}}
	}
	pot := func(id string, probes ...garden.Probe) garden.Pot {
		return garden.Pot{
			ID: garden.PotID(id), Mix: "mix", VolumeL: 30,
			Shape: garden.Shape{HeightCM: 30, BottomDiameterCM: 36, TopDiameterCM: 36},
			Zones: []garden.Zone{{ID: garden.ZoneID(id), Pot: garden.PotID(id), Share: 1, Probes: probes, Line: garden.LineID(id)}},
		}
	}
	return &garden.Garden{
		Mixes: []garden.Mix{{ID: "mix", Calibration: lineCalibration()}},
		Pots: []garden.Pot{
			pot("chard", probe("chard", "chard", 0x48, 0), probe("chard-deep", "chard", 0x48, 3)),
			pot("chilli", probe("chilli", "chilli", 0x4A, 1)),
		},
		Lines: []garden.Line{
			{ID: "chard", Valve: garden.Valve{Kind: garden.PinValve, Pin: 17}},
			{ID: "chilli", Valve: garden.Valve{Kind: garden.PinValve, Pin: 27, ActiveLow: true}},
		},
		Hardware: garden.Hardware{Kind: garden.Bench, I2CBus: "/dev/i2c-1"},
	}
}

// exact is hardware without any hidden error.
func exact() Options { return Options{NoiseV: -1, TempVPerC: -1, SensingCM: -1} }

func bench(t *testing.T, o Options) (*Bench, *soil, *Clock) {
	t.Helper()
	s, clk := newSoil(), NewClock(0)
	b, err := New(twoPots(), s, clk, o)
	require.NoError(t, err)
	return b, s, clk
}
