package sensors_test

import (
	"fmt"
	"testing"
	"time"

	"fabricpot/control/garden"
	"fabricpot/sensors"
	"fabricpot/sensors/ads1115"
	"fabricpot/sim/bench"
	"fabricpot/sim/terrace"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"
)

// wateredGarden has a small pot and a large one with a shallow and a deep probe
// each. Retention parameters are illustrative.
func wateredGarden() *garden.Garden {
	g := &garden.Garden{
		Site:        garden.Site{Name: "t", ID: "t", LatDeg: 40.64, LonDeg: 22.94, ElevationM: 45, Zone: time.UTC},
		SampleEvery: time.Minute,
		Supply:      garden.Supply{FlowLPH: 200},
		Mixes: []garden.Mix{{ID: "light",
			Retention: garden.Retention{Model: garden.VanGenuchten, ThetaR: 0.10, ThetaS: 0.88, AlphaPerCM: 0.15, N: 1.6, KsCMH: 30},
			Calibration: garden.Calibration{Kind: garden.TwoPoint, Points: []garden.CalibrationPoint{
				{Volts: 2.55, Water: 0.10}, {Volts: 1.35, Water: 0.60}}}}},
	}
	for i, p := range []struct {
		id            string
		height, width float64
		deep          float64
		crop          string
	}{{"chilli", 26, 31, 20, "chilli"}, {"aubergine", 45, 46, 36, "aubergine"}} {
		volume := p.height * p.width * p.width * 3.14159 / 4 / 1000
		zone := garden.ZoneID(p.id)
		probe := func(name string, depth float64, ch int) garden.Probe {
			return garden.Probe{ID: garden.ProbeID(p.id + "-" + name), Zone: zone, DepthCM: depth, Input: garden.Input{Addr: 0x48, Channel: ch}}
		}
		g.Pots = append(g.Pots, garden.Pot{ID: garden.PotID(p.id), Mix: "light", VolumeL: volume,
			Shape: garden.Shape{HeightCM: p.height, BottomDiameterCM: p.width, TopDiameterCM: p.width},
			Zones: []garden.Zone{{ID: zone, Pot: garden.PotID(p.id), Share: 1, Line: garden.LineID(p.id), Exposure: garden.WindyPaved,
				Plants: []garden.Plant{{Crop: p.crop, Count: 1}},
				Probes: []garden.Probe{probe("shallow", 10, 2*i), probe("deep", p.deep, 2*i+1)}}}})
		g.Lines = append(g.Lines, garden.Line{ID: garden.LineID(p.id), DU: 0.85, Valve: garden.Valve{Kind: garden.PinValve, Pin: 10 + i, ActiveLow: i == 0},
			Outlets: []garden.Outlet{{Zone: zone, Emitters: 6, FlowLPH: 4}}})
	}
	return g
}

// Three weeks of hot, dry weather on simulated soil, watered to run-through
// every fourth morning by the pins: wetting fronts, draining and drying must
// raise no bad reading, and a good one must be near the truth.
func TestWateringAndDryingRaiseNothing(t *testing.T) {
	g := wateredGarden()
	start := time.Date(2031, 7, 1, 0, 0, 0, 0, time.UTC)
	var rows []garden.DayWeather
	for d := range 21 {
		rows = append(rows, garden.DayWeather{Date: start.AddDate(0, 0, d), TMinC: garden.Known(22), TMaxC: garden.Known(35), RainMM: garden.Known(0)})
	}
	ter, err := terrace.New(g, start, terrace.DefaultOptions(11, rows))
	require.NoError(t, err)
	clk := bench.NewClock(0)
	b, err := bench.New(g, ter, clk, bench.Options{Seed: 11})
	require.NoError(t, err)
	s, err := sensors.NewSampler(g, func(in garden.Input) (sensors.VoltReader, error) {
		return ads1115.New(b.BusNamed(in.Bus), in.Addr, clk, ads1115.Opts{})
	}, sensors.Options{TempC: b.ProbeTempC})
	require.NoError(t, err)
	for _, l := range g.Lines {
		open, shut := gpio.High, gpio.Low
		if l.Valve.ActiveLow {
			open, shut = shut, open
		}
		pin := b.Pin(l.ID)
		for day := 0; day < 21; day += 4 {
			for pulse := range 3 {
				at := time.Duration(day)*24*time.Hour + 6*time.Hour + time.Duration(pulse)*40*time.Minute
				clk.At(at, func() { require.NoError(t, pin.Out(open)) })
				clk.At(at+12*time.Minute, func() { require.NoError(t, pin.Out(shut)) })
			}
		}
	}
	var out []garden.Reading
	counts := map[string]int{}
	worst := map[garden.Quality]float64{}
	var lowest, highest garden.WaterFraction = 1, 0
	for minute := 1; minute <= 21*24*60; minute++ {
		clk.RunUntil(time.Duration(minute) * time.Minute)
		b.Advance()
		out = s.Sample(garden.Moment{Mono: clk.Now(), Wall: start.Add(clk.Now())}, out)
		for _, r := range out {
			counts[fmt.Sprint(r.Quality, " ", r.Fault)]++
			in, _ := b.Input(r.Probe)
			worst[r.Quality] = max(worst[r.Quality], float64(r.Water)-in.Water(), in.Water()-float64(r.Water))
			lowest, highest = min(lowest, r.Water), max(highest, r.Water)
		}
	}
	t.Logf("%v, furthest from the truth %v, water %.2f to %.2f, %d transactions", counts, worst, lowest, highest, b.BusNamed("").Steps())
	for name, n := range counts {
		assert.NotContains(t, name, "bad", "%d samples", n)
	}
	assert.Less(t, float64(lowest), 0.25, "it really dried")
	assert.Greater(t, float64(highest), 0.55, "it really got wet")
	assert.Less(t, worst[garden.Good], 0.012, "noise and hidden temperature together")
	assert.InDelta(t, ter.LineLitres("aubergine"), 6*3*0.2*24, 20, "the pins moved the water they were opened for")
}
