package calibrate_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"fabricpot/control/garden"
	"fabricpot/sensors"
	"fabricpot/sensors/ads1115"
	"fabricpot/sensors/calibrate"
	"fabricpot/sim/bench"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// tub is a small container of evenly moist mix: the bench's terrace for a
// calibration.
type tub struct {
	now   time.Duration
	water float64
}

func (t *tub) Now() time.Duration                  { return t.now }
func (t *tub) Advance(to time.Duration)            { t.now = to }
func (t *tub) SetValve(garden.LineID, bool)        {}
func (t *tub) WaterAt(zone int, _ float64) float64 { return t.water }
func (t *tub) TempAt(zone int, _ float64) float64  { return 20 }

// rig is a tub with one probe in it, on the bench's converter, read by the real
// driver; and a scale.
type rig struct {
	tub   tub
	clock *bench.Clock
	dev   *ads1115.Dev
	rng   *rand.Rand
}

const (
	tareG, dryG, volumeL = 310.0, 480.0, 3.0
	scaleSigmaG          = 12.0  // of scale, stirring and packing together
	probeSigmaV          = 0.008 // of a conversion
	burst                = 5
)

func newRig(t testing.TB, hidden garden.Calibration, seed uint64) *rig {
	t.Helper()
	g := &garden.Garden{
		Mixes: []garden.Mix{{ID: "m", Calibration: hidden}},
		Pots: []garden.Pot{{ID: "tub", Mix: "m", Shape: garden.Shape{HeightCM: 20, BottomDiameterCM: 14, TopDiameterCM: 14}, VolumeL: volumeL,
			Zones: []garden.Zone{{ID: "tub", Share: 1, Probes: []garden.Probe{{ID: "p", Zone: "tub", DepthCM: 10, Input: garden.Input{Addr: 0x48}}}}}}},
	}
	r := &rig{clock: bench.NewClock(0), rng: rand.New(rand.NewPCG(seed, 99))}
	b, err := bench.New(g, &r.tub, r.clock, bench.Options{Seed: seed, NoiseV: probeSigmaV, TempVPerC: -1})
	require.NoError(t, err)
	r.dev, err = ads1115.New(b.Bus(), 0x48, r.clock, ads1115.Opts{})
	require.NoError(t, err)
	return r
}

// read is the probe's median of a burst at a water fraction.
func (r *rig) read(t testing.TB, water float64) garden.Volts {
	t.Helper()
	r.tub.water = water
	r.clock.Sleep(2 * time.Minute)
	var vs []float64
	for range burst {
		v, err := r.dev.ReadVolts(0)
		require.NoError(t, err)
		vs = append(vs, float64(v))
	}
	return garden.Volts(median(vs))
}

func median(vs []float64) float64 {
	for i := range vs {
		for j := i; j > 0 && vs[j] < vs[j-1]; j-- {
			vs[j], vs[j-1] = vs[j-1], vs[j]
		}
	}
	return vs[len(vs)/2]
}

func (r *rig) weigh(water float64) float64 {
	return tareG + dryG + 1000*volumeL*water + scaleSigmaG*r.rng.NormFloat64()
}

// hidden is an invented probe of a family: where it is dry and wet, and how far
// its curve sags under the straight line between.
func hidden(kind garden.CalibrationKind, rng *rand.Rand) garden.Calibration {
	dryV, wetV := 2.3+0.4*rng.Float64(), 1.1+0.4*rng.Float64()
	c := garden.Calibration{Kind: kind, Points: []garden.CalibrationPoint{
		{Volts: garden.Volts(dryV), Water: 0.02}, {Volts: garden.Volts(wetV), Water: 0.70},
	}}
	if kind == garden.Quadratic {
		mid := 0.36 + 0.06 + 0.05*rng.Float64()
		c.Points = append(c.Points, garden.CalibrationPoint{Volts: garden.Volts((dryV + wetV) / 2), Water: garden.WaterFraction(mid)})
	}
	return c
}

// TestRecoversHiddenCurve: a container dries from 0.62 to 0.08 and is weighed 24
// times with a scale's and a probe's noise. The curve drawn from that is judged
// on 60 further noisy weighings; the noise floor is what the hidden curve itself
// makes of those. The hidden curve is inverted by the bench, apart from the code
// under test.
func TestRecoversHiddenCurve(t *testing.T) {
	kinds := []garden.CalibrationKind{garden.LeastSquares, garden.Quadratic, garden.Inverse}
	const seeds = 200
	var right, within int
	var worst, sumFit, sumFloor float64
	wrong := map[garden.CalibrationKind]map[garden.CalibrationKind]int{}
	for seed := range uint64(seeds) {
		kind := kinds[seed%3]
		truth := hidden(kind, rand.New(rand.NewPCG(seed, 7)))
		perfect, err := sensors.NewCurve(truth)
		require.NoError(t, err)
		r := newRig(t, truth, seed)

		const weighings = 24
		var rows []calibrate.Weighing
		for i := range weighings {
			water := 0.62 - 0.54*float64(i)/(weighings-1)
			rows = append(rows, calibrate.Weighing{GrossG: r.weigh(water), Volts: r.read(t, water)})
		}
		points, err := calibrate.ByWeight(calibrate.Container{TareG: tareG, DryG: dryG, VolumeL: volumeL, ScaleG: 10}, rows)
		require.NoError(t, err, "seed %d", seed)
		fit, err := calibrate.Choose(points)
		require.NoError(t, err, "seed %d", seed)
		if fit.Kind == kind {
			right++
		} else {
			if wrong[kind] == nil {
				wrong[kind] = map[garden.CalibrationKind]int{}
			}
			wrong[kind][fit.Kind]++
		}
		drawn, err := sensors.NewCurve(fit.Calibration)
		require.NoError(t, err)
		var sqFit, sqFloor float64
		const fresh = 60
		for i := range fresh {
			water := 0.08 + 0.54*float64(i)/(fresh-1)
			weighed := (r.weigh(water) - tareG - dryG) / 1000 / volumeL
			v := r.read(t, water)
			a, _ := drawn.Water(v)
			b, _ := perfect.Water(v)
			sqFit += (float64(a) - weighed) * (float64(a) - weighed)
			sqFloor += (float64(b) - weighed) * (float64(b) - weighed)
		}
		ratio := math.Sqrt(sqFit / sqFloor)
		worst = max(worst, ratio)
		if ratio <= 1.2 {
			within++
		}
		sumFit += sqFit
		sumFloor += sqFloor
	}
	t.Logf("%d of %d within 1.2 × the noise floor, pooled %.3f, worst %.3f; family right in %d, wrong: %v", within, seeds, math.Sqrt(sumFit/sumFloor), worst, right, wrong)
	assert.LessOrEqual(t, math.Sqrt(sumFit/sumFloor), 1.2, "RMSE within 1.2 × the noise floor")
	// Chance alone puts some single containers beyond it: with three parameters
	// and 24 weighings the excess is chi-squared, over 1.2 in two of a hundred.
	assert.GreaterOrEqual(t, within, seeds*95/100, "of the single containers")
	assert.GreaterOrEqual(t, right, seeds*9/10, "leave-one-out picks the right family")
}
