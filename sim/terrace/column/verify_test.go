package column

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/control/garden"
)

func peatPerlite() garden.Retention {
	// Illustrative mix, invented but plausible.
	return garden.Retention{Model: garden.VanGenuchten, ThetaR: .10, ThetaS: .88, AlphaPerCM: .15, N: 1.60, KsCMH: 30}
}

func newColumn(t testing.TB, r garden.Retention, cfg Config) *Column {
	t.Helper()
	s, err := NewSoil(r)
	require.NoError(t, err)
	cfg.Soil = s
	c, err := New(cfg)
	require.NoError(t, err)
	return c
}

// A saturated pot drains to container capacity. Reference: independently
// computed for this project with another finite-volume modified-Picard program
// (200 cells, zero suction at the floor, Mualem's l = 0.5); the final state by
// quadrature of the retention curve.
func TestDrainsToContainerCapacity(t *testing.T) {
	for _, tc := range []struct {
		name            string
		cells           int
		tolMean, tolEnd float64
	}{
		{"200 cells", 200, 1.5e-3, 2e-5},
		{"20 cells as the terrace uses", 20, 1.5e-3, 3e-4},
	} {
		t.Run(tc.name, func(t *testing.T) {
			c := newColumn(t, peatPerlite(), Config{HeightCM: 20, Cells: tc.cells})
			for i := range c.Cells() {
				c.SetSuction(i, 0.01)
			}
			start := c.Stored()
			now := 0.0
			for _, want := range []struct{ hours, mean, drained float64 }{
				{0.25, .77374, 2.125}, {1, .70677, 3.464}, {6, .65388, 4.522}, {24, .64746, 4.651},
			} {
				for now < want.hours-1e-9 {
					c.Step(.1/60, 0, 0, 0)
					now += .1 / 60
				}
				assert.InDelta(t, want.mean, c.Mean(), tc.tolMean, "mean water after %v h", want.hours)
				assert.InDelta(t, want.drained, c.Totals().Drained, 20*tc.tolMean, "drained after %v h", want.hours)
			}
			for range 400 {
				c.Step(1, 0, 0, 0)
			}
			assert.InDelta(t, .647392, c.Mean(), tc.tolEnd, "container capacity")
			assert.InDelta(t, start-c.Stored(), c.Totals().Drained, 1e-11)
		})
	}
}

// Steady flow to a water table in a soil with K = Ks·exp(αψ):
// exp(αψ) = exp(-αz)(1-q/Ks) + q/Ks, z up, q > 0 downward (Gardner 1958, Soil
// Science 85:228-232; formula from memory, derivation checked by hand).
func TestGardnerSteadyProfile(t *testing.T) {
	const ks, alpha = 10., .05
	for _, q := range []float64{0, 0.5, 1, 5, -0.05} {
		c := newColumn(t, garden.Retention{Model: garden.Exponential, ThetaR: .15, ThetaS: .90, AlphaPerCM: alpha, KsCMH: ks},
			Config{HeightCM: 100, Cells: 200, Bottom: WaterTable})
		if q < 0 {
			c.layers[0].sink = -q
		}
		for range 3000 {
			c.Step(1, math.Max(q, 0), 0, 0)
		}
		for i := range c.Cells() {
			z := 100 - (float64(i)+.5)*c.dz
			want := -math.Log(math.Exp(-alpha*z)*(1-q/ks)+q/ks) / alpha
			assert.InEpsilon(t, want, c.Suction(i), 2e-3, "q = %v, z = %v", q, z)
		}
		assert.InDelta(t, q, c.DrainRate(), 1e-6*ks)
	}
}

// srivastavaYeh is the exact transient solution of Srivastava and Yeh 1991
// (Water Resources Research 27:753-762) for one layer, K/Ks at height z cm and
// time t h, flux qa → qb (both over Ks) at the top. Formula from memory.
func srivastavaYeh(z, t, length, alpha, ks, span, qa, qb float64) float64 {
	l, zz, tt := alpha*length, alpha*z, alpha*ks*t/span
	k := qb - (qb-1)*math.Exp(-zz)
	var sum float64
	for n := 1; n <= 400; n++ {
		// tan(λL) + 2λ = 0 has one root in ((n-½)π/L, nπ/L).
		lo, hi := (float64(n)-.5)*math.Pi/l, float64(n)*math.Pi/l
		for range 100 {
			mid := (lo + hi) / 2
			if math.Sin(mid*l)+2*mid*math.Cos(mid*l) > 0 == (n%2 == 1) {
				lo = mid
			} else {
				hi = mid
			}
		}
		r := (lo + hi) / 2
		sum += math.Sin(r*zz) * math.Sin(r*l) * math.Exp(-r*r*tt) / (1 + l/2 + 2*r*r*l)
	}
	return k - 4*(qb-qa)*math.Exp((l-zz)/2)*math.Exp(-tt/4)*sum
}

func TestSrivastavaYehWetting(t *testing.T) {
	const length, alpha, ks, thetaS, thetaR = 100., .1, 1., .40, .06
	theta := func(k float64) float64 { return thetaR + (thetaS-thetaR)*k }
	c := newColumn(t, garden.Retention{Model: garden.Exponential, ThetaR: thetaR, ThetaS: thetaS, AlphaPerCM: alpha, KsCMH: ks},
		Config{HeightCM: length, Cells: 200, Bottom: WaterTable})
	for i := range c.Cells() {
		z := length - (float64(i)+.5)*c.dz
		k := 0.1 + 0.9*math.Exp(-alpha*z)
		c.SetSuction(i, -math.Log(k)/alpha)
	}
	now := 0.0
	for _, at := range []float64{1, 5, 20} {
		for now < at-1e-9 {
			c.Step(1./60, .9, 0, 0)
			now += 1. / 60
		}
		for _, z := range []float64{20.25, 50.25, 80.25, 95.25, 99.75} {
			want := theta(srivastavaYeh(z, at, length, alpha, ks, thetaS-thetaR, .1, .9))
			assert.InDelta(t, want, c.WaterAt(length-z), 1.5e-3, "t = %v h, z = %v cm", at, z)
		}
	}
	// Values computed independently for this project, at the listed heights.
	assert.InDelta(t, .2024, c.WaterAt(80), 1.5e-3)
	assert.InDelta(t, .2576, c.WaterAt(50), 1.5e-3)
	assert.InDelta(t, .3348, c.WaterAt(20), 1.5e-3)
}
