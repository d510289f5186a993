package hydraulics_test

import (
	"math"
	"testing"

	"fabricpot/control/hydraulics"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// q = k·hˣ is read in several engineering texts; the figures are computed
// independently from it.
func TestEmitter(t *testing.T) {
	e, err := hydraulics.NewEmitter(4, 10, 0.5)
	require.NoError(t, err)
	assert.InDelta(t, 1.26491, e.K, 5e-6)
	for head, lph := range map[float64]float64{5: 2.8284, 8: 3.5777, 10: 4, 12: 4.3818, 15: 4.8990, 0: 0, -1: 0} {
		assert.InDelta(t, lph, e.LPH(head), 5e-5, "at %v m", head)
	}
	t.Run("exponent from two measurements", func(t *testing.T) {
		f, err := hydraulics.FitEmitter(4, 10, 3.58, 8)
		require.NoError(t, err)
		assert.InDelta(t, 0.4971, f.X, 5e-5)
		assert.InDelta(t, 4, f.LPH(10), 1e-12)
	})
	t.Run("a fifth less head", func(t *testing.T) {
		for x, share := range map[float64]float64{0: 1, 0.05: 0.9889, 0.5: 0.8944, 0.7: 0.8554, 1: 0.8} {
			assert.InDelta(t, share, hydraulics.FlowShare(0.8, x), 5e-5, "x %v", x)
		}
		assert.Zero(t, hydraulics.FlowShare(-0.1, 0.5))
	})
	t.Run("refused", func(t *testing.T) {
		for name, f := range map[string]func() error{
			"no flow":      func() error { _, err := hydraulics.NewEmitter(0, 10, 0.5); return err },
			"exponent 2":   func() error { _, err := hydraulics.NewEmitter(4, 10, 2); return err },
			"NaN head":     func() error { _, err := hydraulics.NewEmitter(4, math.NaN(), 0.5); return err },
			"one pressure": func() error { _, err := hydraulics.FitEmitter(4, 10, 3.9, 9.9); return err },
			"less at more": func() error { _, err := hydraulics.FitEmitter(3, 10, 4, 8); return err },
			"infinite":     func() error { _, err := hydraulics.FitEmitter(math.Inf(1), 10, 4, 8); return err },
		} {
			assert.ErrorContains(t, f(), "hydraulics:", name)
		}
	})
}

// The formulas of DUlq and Christiansen's CU are read in extension texts; these
// figures are worked by hand.
func TestUniformity(t *testing.T) {
	for name, c := range map[string]struct {
		caught []float64
		du, cu float64
	}{
		// Mean 100; lowest two of eight 80 and 90; deviations 20+20+10+5+0+0+5+10 = 70 of 800.
		"eight":            {[]float64{80, 120, 90, 95, 100, 100, 105, 110}, 85, 91.25},
		"all alike":        {[]float64{50, 50, 50, 50}, 100, 100},
		"one clogged":      {[]float64{0, 100, 100, 100}, 0, 50},
		"two":              {[]float64{90, 110}, 90, 90},
		"six, a half more": {[]float64{60, 90, 100, 110, 120, 120}, 70, 83 + 1.0/3},
	} {
		t.Run(name, func(t *testing.T) {
			u, err := hydraulics.Measure(c.caught)
			require.NoError(t, err)
			assert.InDelta(t, c.du, u.DUlq, 1e-9)
			assert.InDelta(t, c.cu, u.CU, 1e-9)
		})
	}
	t.Run("any unit and order", rapid.MakeCheck(func(t *rapid.T) {
		x := rapid.SliceOfN(rapid.Float64Range(0.1, 1000), 2, 40).Draw(t, "caught")
		scaled := make([]float64, len(x))
		for i, v := range x {
			scaled[len(x)-1-i] = 3 * v
		}
		a, err := hydraulics.Measure(x)
		require.NoError(t, err)
		b, err := hydraulics.Measure(scaled)
		require.NoError(t, err)
		assert.InDelta(t, a.DUlq, b.DUlq, 1e-9)
		assert.InDelta(t, a.CU, b.CU, 1e-9)
		assert.LessOrEqual(t, a.DUlq, 100+1e-9)
		assert.GreaterOrEqual(t, a.DUlq, 100*a.Min/a.Mean-1e-9)
	}))
	t.Run("refused", func(t *testing.T) {
		for name, x := range map[string][]float64{"none": nil, "one": {5}, "dry": {0, 0}, "negative": {1, -1}, "NaN": {1, math.NaN()}, "infinite": {1, math.Inf(1)}} {
			_, err := hydraulics.Measure(x)
			assert.Error(t, err, name)
		}
	})
}

// EU = 100(1−1.27·CV/√Np)·qmin/qavg (Keller and Karmeli, ASAE EP405; read in a
// secondary text); by hand: 1−1.27·0.05/2 = 0.96825, times 3.6/4.
func TestEmissionUniformity(t *testing.T) {
	eu, err := hydraulics.EmissionUniformity(0.05, 4, 3.6, 4)
	require.NoError(t, err)
	assert.InDelta(t, 87.1425, eu, 1e-9)
	assert.Equal(t, "good", hydraulics.Judged(eu))
	_, err = hydraulics.EmissionUniformity(0.05, 0, 3.6, 4)
	assert.Error(t, err)
	_, err = hydraulics.EmissionUniformity(0.05, 1, 5, 4)
	assert.ErrorContains(t, err, "exchange")
}

// Losses of small polyethylene pipe at 20 °C, m, computed independently; the
// Hazen-Williams figures with C 150 are what many tables print.
func TestPipe(t *testing.T) {
	for _, c := range []struct{ mm, lph, length, hw, dw float64 }{
		{13.6, 100, 10, 0.0447, 0.0626},
		{13.6, 200, 20, 0.3226, 0.4073},
		{16, 400, 30, 0.7917, 0.9367},
		{19, 600, 30, 0.7264, 0.8389},
		{26, 1200, 50, 0.9486, 1.0574},
	} {
		p := hydraulics.Pipe{InsideMM: c.mm, LengthM: c.length, WaterC: 20}
		f, err := p.At(c.lph)
		require.NoError(t, err)
		assert.InDelta(t, c.dw, f.LossM, 2e-4, "Darcy-Weisbach, %v mm", c.mm)
		// Blasius 1913, f = 0.3164/Re^0.25 for a smooth wall (from memory): an
		// explicit formula that knows nothing of Colebrook's.
		blasius := 0.3164 / math.Pow(f.Reynolds, 0.25)
		assert.InEpsilon(t, blasius, f.Friction, 0.035, "Blasius, Re %v", f.Reynolds)
		hw, err := p.HazenWilliams(c.lph, 150)
		require.NoError(t, err)
		assert.InDelta(t, c.hw, hw, 5e-5)
		assert.Less(t, hw, f.LossM, "Hazen-Williams with C 150 is too low in hose")
	}
	t.Run("Reynolds", func(t *testing.T) {
		f, err := hydraulics.Pipe{InsideMM: 13.6, LengthM: 10, WaterC: 20}.At(100)
		require.NoError(t, err)
		assert.InDelta(t, 2590, f.Reynolds, 2)
	})
	t.Run("large pipe by Hazen-Williams", func(t *testing.T) {
		// 0.1 m³/s, 0.3 m, C 100, 1000 m: computed independently.
		hw, err := hydraulics.Pipe{InsideMM: 300, LengthM: 1000, WaterC: 20}.HazenWilliams(3.6e5, 100)
		require.NoError(t, err)
		assert.InDelta(t, 10.4422, hw, 5e-4)
	})
	t.Run("laminar is Poiseuille's", func(t *testing.T) {
		// h = 128νLQ/(πgd⁴), Hagen-Poiseuille, by its own formula.
		f, err := hydraulics.Pipe{InsideMM: 4, LengthM: 2, WaterC: 20}.At(8)
		require.NoError(t, err)
		want := 128 * hydraulics.KinematicViscosity(20) * 2 * (8 / 3.6e6) / (math.Pi * 9.80665 * math.Pow(0.004, 4))
		assert.InEpsilon(t, want, f.LossM, 1e-12)
	})
}

// Viscosity of water, handbook values from memory.
func TestViscosity(t *testing.T) {
	for c, nu := range map[float64]float64{10: 1.307e-6, 20: 1.004e-6, 30: 0.801e-6, 40: 0.658e-6} {
		assert.InEpsilon(t, nu, hydraulics.KinematicViscosity(c), 0.01, "%v °C", c)
	}
}

// Christiansen's F with m 1.852: tables from memory, and the exact sum
// Σ(i/N)^m/N worked here.
func TestLateral(t *testing.T) {
	for n, f := range map[int]float64{1: 1, 2: 0.6391, 5: 0.4568, 10: 0.4022, 20: 0.3760, 50: 0.3607, 100: 0.3556} {
		assert.InDelta(t, f, hydraulics.ChristiansenF(n, hydraulics.HazenWilliamsM), 5e-5, "N %d", n)
	}
	var sum float64
	for i := 1; i <= 10; i++ {
		sum += math.Pow(float64(i)/10, hydraulics.HazenWilliamsM) / 10
	}
	assert.InDelta(t, 0.40217, sum, 5e-6)
	assert.InDelta(t, sum, hydraulics.ChristiansenF(10, hydraulics.HazenWilliamsM), 1e-4)

	t.Run("summed sections agree with F where all are turbulent", func(t *testing.T) {
		p := hydraulics.Pipe{InsideMM: 16, LengthM: 30, WaterC: 20}
		whole, err := p.At(1500)
		require.NoError(t, err)
		lateral, err := p.Lateral(1500, 10)
		require.NoError(t, err)
		assert.InDelta(t, hydraulics.ChristiansenF(10, 1.75), lateral/whole.LossM, 0.012)
		one, err := p.Lateral(1500, 1)
		require.NoError(t, err)
		assert.InEpsilon(t, whole.LossM, one, 1e-12)
	})
	t.Run("more flow or length, more loss; more width, less", rapid.MakeCheck(func(t *rapid.T) {
		p := hydraulics.Pipe{InsideMM: rapid.Float64Range(4, 40).Draw(t, "mm"), LengthM: rapid.Float64Range(1, 100).Draw(t, "m"), WaterC: 20}
		q := rapid.Float64Range(1, 2000).Draw(t, "lph")
		wide, long := p, p
		wide.InsideMM *= 1.3
		long.LengthM *= 1.1
		base, err := p.At(q)
		require.NoError(t, err)
		more, err := p.At(q * 1.05)
		require.NoError(t, err)
		w, err := wide.At(q)
		require.NoError(t, err)
		l, err := long.At(q)
		require.NoError(t, err)
		assert.Greater(t, more.LossM, base.LossM)
		assert.Less(t, w.LossM, base.LossM)
		assert.Greater(t, l.LossM, base.LossM)
	}))
	t.Run("refused", func(t *testing.T) {
		for name, p := range map[string]hydraulics.Pipe{
			"no width": {LengthM: 1, WaterC: 20}, "ice": {InsideMM: 16, LengthM: 1, WaterC: -1},
			"NaN": {InsideMM: math.NaN(), LengthM: 1, WaterC: 20}, "endless": {InsideMM: 16, LengthM: math.Inf(1), WaterC: 20},
		} {
			_, err := p.At(100)
			assert.ErrorContains(t, err, "hydraulics:", name)
		}
		_, err := hydraulics.Pipe{InsideMM: 16, LengthM: 1, WaterC: 20}.Lateral(100, 0)
		assert.Error(t, err)
	})
}
