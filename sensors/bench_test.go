package sensors_test

import (
	"fmt"
	"math"
	"testing"
	"time"

	"fabricpot/control/garden"
	"fabricpot/sensors"
	"fabricpot/sensors/ads1115"
	"fabricpot/sim/bench"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// still is a terrace whose water the test sets.
type still struct {
	now   time.Duration
	water []float64
	tempC float64
}

func (s *still) Now() time.Duration                      { return s.now }
func (s *still) Advance(to time.Duration)                { s.now = to }
func (s *still) SetValve(garden.LineID, bool)            {}
func (s *still) WaterAt(zone int, depth float64) float64 { return s.water[zone] + 0.004*(depth-10) }
func (s *still) TempAt(int, float64) float64             { return s.tempC }

// pots makes a garden of n pots with a probe each, four to a converter.
func pots(n int) *garden.Garden {
	g := &garden.Garden{
		SampleEvery: time.Minute,
		Mixes: []garden.Mix{{ID: "mix", Calibration: garden.Calibration{Kind: garden.Interpolated, Points: []garden.CalibrationPoint{
			{Volts: 2.62, Water: 0.03}, {Volts: 2.1, Water: 0.2}, {Volts: 1.7, Water: 0.4}, {Volts: 1.45, Water: 0.6}, {Volts: 1.3, Water: 0.8}}}}},
	}
	for i := range n {
		id := fmt.Sprint("pot", i)
		g.Pots = append(g.Pots, garden.Pot{ID: garden.PotID(id), Mix: "mix", VolumeL: 40, Shape: garden.Shape{HeightCM: 35, BottomDiameterCM: 38, TopDiameterCM: 38},
			Zones: []garden.Zone{{ID: garden.ZoneID(id), Share: 1, Probes: []garden.Probe{{
				ID: garden.ProbeID(id), DepthCM: 10, Input: garden.Input{Addr: 0x48 + uint16(i/4), Channel: i % 4}}}}}})
	}
	return g
}

// gateway is the real driver and sampler on a bench.
type gateway struct {
	soil  *still
	clk   *bench.Clock
	bench *bench.Bench
	s     *sensors.Sampler
	out   []garden.Reading
}

func assemble(t testing.TB, n int, o bench.Options, so sensors.Options) *gateway {
	t.Helper()
	g := pots(n)
	w := &gateway{soil: &still{tempC: 20}, clk: bench.NewClock(0)}
	for i := range n {
		w.soil.water = append(w.soil.water, 0.25+0.03*float64(i))
	}
	var err error
	w.bench, err = bench.New(g, w.soil, w.clk, o)
	require.NoError(t, err)
	w.s, err = sensors.NewSampler(g, func(in garden.Input) (sensors.VoltReader, error) {
		d, err := ads1115.New(w.bench.BusNamed(in.Bus), in.Addr, w.clk, ads1115.Opts{})
		if err != nil {
			return nil, err
		}
		return d, nil
	}, so)
	require.NoError(t, err)
	return w
}

// tick lets the rest of a minute pass and samples.
func (w *gateway) tick() []garden.Reading {
	w.clk.RunUntil(w.clk.Now().Truncate(time.Minute) + time.Minute)
	w.bench.Advance()
	w.out = w.s.Sample(garden.Moment{Mono: w.clk.Now()}, w.out)
	return w.out
}

func TestTheDriverReadsTheBenchsSoil(t *testing.T) {
	for _, slow := range []float64{0, 0.1} {
		t.Run(fmt.Sprintf("clock %g slow", slow), func(t *testing.T) {
			w := assemble(t, 14, bench.Options{Seed: 1}, sensors.Options{})
			for a := range uint16(4) {
				w.bench.BusNamed("").Chip(0x48 + a).SlowBy(slow)
			}
			before := w.bench.BusNamed("").Steps()
			for i, r := range w.tick() {
				assert.Equal(t, garden.Good, r.Quality, "%s: %s", r.Probe, r.Fault)
				// 2 mV of noise, and at the wet end 133 mV to the tenth.
				assert.InDelta(t, w.soil.water[i], float64(r.Water), 0.006, "%s", r.Probe)
			}
			t.Logf("%d transactions, %v of virtual time", w.bench.BusNamed("").Steps()-before, w.clk.Now()-time.Minute)
		})
	}
}

// Without noise the driver must see each code the chip holds: nothing between
// soil and reading but the count's width, on every channel.
func TestTheDriverSeesEveryCountExactly(t *testing.T) {
	w := assemble(t, 14, bench.Options{NoiseV: -1, TempVPerC: -1, SensingCM: -1}, sensors.Options{})
	for k := range 20 {
		for i := range w.soil.water {
			w.soil.water[i] = 0.1 + 0.03*float64(k)
		}
		for _, r := range w.tick() {
			require.Equal(t, garden.Good, r.Quality)
			// The bench inverts by short chords, which costs up to 2e-4.
			assert.InDelta(t, 0.1+0.03*float64(k), float64(r.Water), 3e-4)
			counts := float64(r.Volts) / 125e-6
			assert.InDelta(t, math.Round(counts), counts, 1e-6, "a whole number of counts")
		}
	}
}

func TestEveryStepOfASampleMayFail(t *testing.T) {
	for n := uint64(1); n <= 20; n++ {
		w := assemble(t, 1, bench.Options{Seed: n}, sensors.Options{})
		w.bench.BusNamed("").FailStep(n)
		first := w.tick()[0]
		if n <= 2 { // the constructor's own two transactions
			assert.Equal(t, garden.Missing, first.Fault, "step %d", n)
			w.tick()
			w.tick()
		}
		r := w.tick()[0]
		assert.Equal(t, garden.Good, r.Quality, "step %d: %s", n, r.Fault)
		assert.InDelta(t, 0.25, float64(r.Water), 0.01)
	}
}

func TestABrownOutAtEveryStepNeverBecomesAReading(t *testing.T) {
	for n := uint64(1); n <= 20; n++ {
		w := assemble(t, 1, bench.Options{Seed: n}, sensors.Options{Burst: 1})
		bus := w.bench.BusNamed("")
		bus.BeforeStep(func(step uint64, _ uint16) error {
			if step == n {
				bus.Chip(0x48).BrownOut()
			}
			return nil
		})
		for range 8 {
			r := w.tick()[0]
			if r.Fault != garden.Missing {
				assert.InDelta(t, 0.25, float64(r.Water), 0.012, "step %d", n)
			}
		}
		assert.Equal(t, garden.Good, w.out[0].Quality, "step %d", n)
	}
}

func TestFaultsOfTheBenchAreNamed(t *testing.T) {
	for _, c := range []struct {
		name   string
		fault  bench.InputFault
		amount float64
		want   garden.ReadingFault
		q      garden.Quality
		within time.Duration
	}{
		{"open", bench.Open, 0, garden.OpenCircuit, garden.Bad, time.Minute},
		{"short", bench.Short, 0, garden.ShortCircuit, garden.Bad, time.Minute},
		{"water in the plug", bench.WetPlug, 0.5, garden.TooFast, garden.Bad, time.Minute},
		{"pulled out", bench.OutOfMix, 0, garden.TooFast, garden.Bad, time.Minute},
		{"noise", bench.NoisyInput, 0.15, garden.Noisy, garden.Uncertain, 10 * time.Minute},
		{"stuck", bench.Stuck, 0, garden.FlatLine, garden.Bad, 3*time.Hour + 2*time.Minute},
		{"drift", bench.Drifting, 0.2, garden.OutOfSpan, garden.Uncertain, 8 * time.Hour},
	} {
		t.Run(c.name, func(t *testing.T) {
			w := assemble(t, 4, bench.Options{Seed: 7}, sensors.Options{MaxRise: 0.55})
			w.soil.water[2] = 0.42
			for range 5 {
				require.Equal(t, garden.Good, w.tick()[2].Quality)
			}
			in, _ := w.bench.Input("pot2")
			in.Fail(c.fault, c.amount)
			since := w.clk.Now()
			for w.tick()[2].Fault != c.want {
				require.Less(t, w.clk.Now()-since, c.within+time.Second, "last: %+v", w.out[2])
			}
			t.Logf("%s after %v", c.want, (w.clk.Now() - since).Round(time.Second))
			assert.Equal(t, c.q, w.out[2].Quality)
			for _, i := range []int{0, 1, 3} {
				assert.Equal(t, garden.Good, w.out[i].Quality, "its neighbours go on")
			}
			in.Fail(bench.Healthy, 0)
			for range 5 {
				w.tick()
			}
			assert.Equal(t, garden.Good, w.out[2].Quality, "%s", w.out[2].Fault)
		})
	}
}

func TestADeadChipAndAStuckBus(t *testing.T) {
	w := assemble(t, 8, bench.Options{Seed: 1}, sensors.Options{})
	bus := w.bench.BusNamed("")
	w.tick()
	bus.Chip(0x49).SetAbsent(true)
	for range 10 {
		w.tick()
	}
	for i, r := range w.out {
		if i < 4 {
			assert.Equal(t, garden.Good, r.Quality)
		} else {
			assert.Equal(t, garden.Bad, r.Quality)
			assert.Equal(t, garden.Missing, r.Fault)
		}
	}
	bus.Chip(0x49).SetAbsent(false)
	bus.SetStuck(true)
	for range 10 {
		w.tick()
	}
	for _, r := range w.out {
		assert.Equal(t, garden.Missing, r.Fault)
	}
	bus.SetStuck(false)
	for range 12 {
		w.tick()
	}
	for _, r := range w.out {
		assert.Equal(t, garden.Good, r.Quality, "%s", r.Fault)
	}
}

func TestANoisyWeekOfStillSoilRaisesNothing(t *testing.T) {
	w := assemble(t, 14, bench.Options{Seed: 5, OffsetV: 0.01, Gain: 0.01}, sensors.Options{})
	for range 7 * 24 * 60 {
		for _, r := range w.tick() {
			if r.Quality != garden.Good {
				t.Fatalf("%s at %v: %s", r.Probe, w.clk.Now(), r.Fault)
			}
		}
	}
}

func TestOneSeedOneResult(t *testing.T) {
	run := func(seed uint64) (out []garden.Reading) {
		w := assemble(t, 6, bench.Options{Seed: seed}, sensors.Options{})
		for range 20 {
			out = append(out, w.tick()...)
		}
		return out
	}
	assert.Equal(t, run(3), run(3))
	assert.NotEqual(t, run(3), run(4))
}

func TestSamplingTheBenchAllocatesNothing(t *testing.T) {
	w := assemble(t, 14, bench.Options{Seed: 1}, sensors.Options{})
	w.tick()
	assert.Zero(t, testing.AllocsPerRun(100, func() { w.tick() }))
}

// A tick of fourteen probes through driver, bus, register file and hidden
// curves; the soil itself stands still.
func BenchmarkSample14(b *testing.B) {
	for _, burst := range []int{1, 3, 5} {
		b.Run(fmt.Sprint("burst", burst), func(b *testing.B) {
			w := assemble(b, 14, bench.Options{Seed: 1}, sensors.Options{Burst: burst})
			w.tick()
			b.ReportAllocs()
			b.ResetTimer()
			for b.Loop() {
				w.tick()
			}
		})
	}
}
