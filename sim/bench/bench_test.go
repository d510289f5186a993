package bench

import (
	"math"
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"
)

func input(t *testing.T, b *Bench, id garden.ProbeID) *Input {
	t.Helper()
	in, ok := b.Input(id)
	require.True(t, ok)
	return in
}

func TestCurvesInvertTheirCalibration(t *testing.T) {
	points := []garden.CalibrationPoint{{Volts: 2.7, Water: 0.02}, {Volts: 2.1, Water: 0.2}, {Volts: 1.6, Water: 0.45}, {Volts: 1.4, Water: 0.7}}
	for _, c := range []struct {
		name string
		cal  garden.Calibration
		// volts at some water fractions, worked out by hand
		want map[float64]float64
	}{
		{"none: the generic probe", garden.Calibration{}, map[float64]float64{0: 2.6, 0.4: 1.8, 0.8: 1.0}},
		{"two points, straight on beyond them", lineCalibration(), map[float64]float64{0.05: 2.5, 0.325: 1.95, 0.60: 1.4, 0.80: 1.0}},
		{"linear with offset", garden.Calibration{Kind: garden.Linear, Slope: -0.5, Intercept: 1.3, OffsetWater: 0.05}, map[float64]float64{0.05: 2.6, 0.55: 1.6}},
		{"rising", garden.Calibration{Kind: garden.Linear, Slope: 0.4, Intercept: -0.2}, map[float64]float64{0.2: 1.0, 0.6: 2.0}},
		{"least squares", garden.Calibration{Kind: garden.LeastSquares, Points: []garden.CalibrationPoint{{Volts: 1, Water: 0.6}, {Volts: 2, Water: 0.3}, {Volts: 2, Water: 0.5}, {Volts: 3, Water: 0.2}}}, map[float64]float64{0.4: 2, 0.6: 1, 0.2: 3}},
		{"interpolated at its points", garden.Calibration{Kind: garden.Interpolated, Points: points}, map[float64]float64{0.02: 2.7, 0.2: 2.1, 0.45: 1.6, 0.7: 1.4}},
		{"the output stage ends", lineCalibration(), map[float64]float64{3: stageLoV, -1: stageHiV}},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := invert(c.cal)
			require.NoError(t, err)
			for w, v := range c.want {
				assert.InDelta(t, v, got.volts(w), 1e-9, "at %g", w)
			}
		})
	}
}

func TestNewRefuses(t *testing.T) {
	for _, c := range []struct {
		name, want string
		spoil      func(*garden.Garden)
	}{
		{"an address", "0x48 to 0x4b", func(g *garden.Garden) { g.Pots[0].Zones[0].Probes[0].Input.Addr = 0x50 }},
		{"a channel", "channel 0 to 3", func(g *garden.Garden) { g.Pots[0].Zones[0].Probes[0].Input.Channel = 4 }},
		{"a shared input", "share input", func(g *garden.Garden) { g.Pots[0].Zones[0].Probes[1].Input.Channel = 0 }},
		{"two points of one water", "share water fraction", func(g *garden.Garden) { g.Mixes[0].Calibration.Points[0].Water = 0.6 }},
		{"one point", "expected 2", func(g *garden.Garden) { g.Mixes[0].Calibration.Points = g.Mixes[0].Calibration.Points[:1] }},
		{"NaN", "not finite", func(g *garden.Garden) { g.Mixes[0].Calibration.Points[1].Volts = garden.Volts(math.NaN()) }},
		{"no slope", "no curve", func(g *garden.Garden) { g.Mixes[0].Calibration = garden.Calibration{Kind: garden.Linear} }},
		{"few for a curve", "3 or more", func(g *garden.Garden) { g.Mixes[0].Calibration.Kind = garden.Interpolated }},
		{"an unknown kind", "unknown kind", func(g *garden.Garden) { g.Mixes[0].Calibration.Kind = "spline" }},
	} {
		t.Run(c.name, func(t *testing.T) {
			g := twoPots()
			c.spoil(g)
			_, err := New(g, newSoil(), NewClock(0), Options{})
			assert.ErrorContains(t, err, c.want)
		})
	}
	_, err := New(nil, nil, nil, Options{})
	assert.Error(t, err)
}

func TestInputSeesItsDepth(t *testing.T) {
	o := exact()
	o.SensingCM = 6
	b, s, _ := bench(t, o)
	s.perCM = 0.01
	assert.InDelta(t, 0.50, input(t, b, "chard").Water(), 1e-12, "a straight profile averages to its middle")
	b, s, _ = bench(t, exact())
	s.perCM = 0.01
	assert.InDelta(t, 0.50, input(t, b, "chard").Water(), 1e-12)
	assert.InDelta(t, 2.5-(0.50-0.05)*2, input(t, b, "chard").volts(), 1e-12, "volts fall as water rises")
}

func TestSoilIsLookedUpOncePerState(t *testing.T) {
	b, s, clk := bench(t, exact())
	in := input(t, b, "chard")
	in.volts()
	before := s.lookups
	for range 10 {
		clk.Sleep(time.Second)
		in.volts()
	}
	assert.Equal(t, before, s.lookups)
	assert.Zero(t, s.advanced)
	clk.Sleep(50 * time.Second)
	in.volts()
	assert.Equal(t, time.Minute, s.now, "a terrace nobody advances is caught up with")
	assert.Greater(t, s.lookups, before)
	b.Advance()
	assert.Equal(t, 1, s.advanced, "already there")
}

func TestHiddenErrorsAreSeeded(t *testing.T) {
	series := func(seed uint64) []float64 {
		b, s, _ := bench(t, Options{Seed: seed, OffsetV: 0.02, Gain: 0.02})
		s.tempC = 30
		var out []float64
		for range 4 {
			for _, in := range b.inputs {
				out = append(out, in.volts())
			}
		}
		return out
	}
	assert.Equal(t, series(1), series(1))
	assert.NotEqual(t, series(1), series(2))
}

func TestTemperatureShiftsTheReading(t *testing.T) {
	g := twoPots()
	g.Mixes[0].Calibration.TempCoeff, g.Mixes[0].Calibration.TempRefC = -0.001, 20
	s := newSoil()
	s.tempC = 30
	b, err := New(g, s, NewClock(0), exact())
	require.NoError(t, err)
	// Ten degrees over: 0.01 less apparent water, 20 mV more at -2 V per unit.
	assert.InDelta(t, 1.82, input(t, b, "chard").volts(), 1e-9)
	assert.Equal(t, garden.Known(30), b.ProbeTempC(0))
	assert.False(t, b.ProbeTempC(3).Known)
}

func TestInputFaults(t *testing.T) {
	for _, c := range []struct {
		name   string
		fault  InputFault
		amount float64
		want   float64
	}{
		{"open", Open, 0, 3.3},
		{"short", Short, 0, 0},
		{"wet plug", WetPlug, 0.25, 0.45},
		{"drift over two hours", Drifting, 0.05, 1.9},
		{"out of the mix", OutOfMix, 0, 2.66},
		{"healthy", Healthy, 0, 1.8},
	} {
		t.Run(c.name, func(t *testing.T) {
			b, _, clk := bench(t, exact())
			in := input(t, b, "chard")
			in.Fail(c.fault, c.amount)
			clk.Sleep(2 * time.Hour)
			assert.InDelta(t, c.want, in.volts(), 1e-9)
			in.Fail(Healthy, 0)
			assert.InDelta(t, 1.8, in.volts(), 1e-9)
		})
	}
	t.Run("stuck to the last bit", func(t *testing.T) {
		b, s, clk := bench(t, Options{Seed: 3})
		in := input(t, b, "chard")
		in.Fail(Stuck, 0)
		first := in.volts()
		clk.Sleep(time.Hour)
		s.water[0] = 0.2
		for range 5 {
			assert.Equal(t, first, in.volts())
		}
	})
	t.Run("noise", func(t *testing.T) {
		b, _, _ := bench(t, exact())
		in := input(t, b, "chard")
		in.Fail(NoisyInput, 0.1)
		var sq float64
		for range 2000 {
			sq += math.Pow(in.volts()-1.8, 2)
		}
		assert.InDelta(t, 0.1, math.Sqrt(sq/2000), 0.01)
	})
	t.Run("swapped plugs", func(t *testing.T) {
		b, _, _ := bench(t, exact())
		require.True(t, b.Swap("chard", "chilli"))
		assert.InDelta(t, 2.0, input(t, b, "chard").volts(), 1e-9, "it now hears the chilli's 0.30")
		assert.InDelta(t, 1.8, input(t, b, "chilli").volts(), 1e-9)
		assert.False(t, b.Swap("chard", "nobody"))
	})
}

func TestPinsSwitchTheTerrace(t *testing.T) {
	b, s, clk := bench(t, exact())
	chard, chilli := b.Pin("chard"), b.Pin("chilli")
	assert.Equal(t, "In", chard.Function(), "before the first Out it floats")
	clk.Sleep(10 * time.Second)
	require.NoError(t, chard.Out(gpio.High))
	require.NoError(t, chilli.Out(gpio.High))
	assert.True(t, s.open["chard"])
	assert.False(t, s.open["chilli"], "active low: high is shut")
	assert.Equal(t, 10*time.Second, s.now, "water flows from the moment of the change")
	clk.Sleep(time.Second)
	require.NoError(t, chilli.Out(gpio.Low))
	require.NoError(t, chilli.Out(gpio.Low))
	assert.True(t, s.open["chilli"])
	assert.True(t, chilli.Energised())
	require.NoError(t, chard.Out(gpio.Low))
	assert.False(t, s.open["chard"])
	assert.Equal(t, []PinEvent{{10 * time.Second, gpio.High, true}, {11 * time.Second, gpio.Low, false}}, chard.History())
	assert.Equal(t, []PinEvent{{10 * time.Second, gpio.High, false}, {11 * time.Second, gpio.Low, true}}, chilli.History())
	assert.Equal(t, uint64(3), chilli.Calls())
	assert.Equal(t, "Out/Low", chilli.Function())
	assert.Equal(t, 27, chilli.Number())
	assert.Error(t, chard.PWM(gpio.DutyHalf, 0))
	require.NoError(t, chard.Halt())
}

func TestPinFaults(t *testing.T) {
	t.Run("the pin fails and says so", func(t *testing.T) {
		b, s, _ := bench(t, exact())
		p := b.Pin("chard")
		require.NoError(t, p.Out(gpio.High))
		p.Fail(PinFails)
		require.ErrorIs(t, p.Out(gpio.Low), ErrPin)
		assert.True(t, s.open["chard"], "the water runs on")
		p.Fail(PinHealthy)
		require.NoError(t, p.Out(gpio.Low))
		assert.False(t, s.open["chard"])
	})
	t.Run("the valve does not open", func(t *testing.T) {
		b, s, _ := bench(t, exact())
		p := b.Pin("chard")
		p.Fail(ValveStaysShut)
		require.NoError(t, p.Out(gpio.High))
		assert.False(t, s.open["chard"])
		assert.True(t, p.Energised())
		assert.False(t, p.Flowing())
		p.Fail(PinHealthy)
		assert.True(t, s.open["chard"], "still energised, it opens when it comes free")
	})
	t.Run("the valve does not close", func(t *testing.T) {
		b, s, _ := bench(t, exact())
		p := b.Pin("chard")
		require.NoError(t, p.Out(gpio.High))
		p.Fail(ValveStaysOpen)
		require.NoError(t, p.Out(gpio.Low))
		assert.True(t, s.open["chard"])
		p.Fail(PinHealthy)
		assert.False(t, s.open["chard"])
	})
	t.Run("a line the garden does not have", func(t *testing.T) {
		b, _, _ := bench(t, exact())
		p := b.Pin("nobody")
		p.Fail(ValveStaysOpen)
		assert.ErrorContains(t, p.Out(gpio.Low), `no line "nobody"`)
	})
	t.Run("a watcher sees each change", func(t *testing.T) {
		b, _, _ := bench(t, exact())
		var seen []PinEvent
		b.Pin("chard").Watch(func(e PinEvent) { seen = append(seen, e) })
		require.NoError(t, b.Pin("chard").Out(gpio.High))
		assert.Len(t, seen, 1)
	})
}
