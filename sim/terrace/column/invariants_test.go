package column

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fabricpot/control/garden"
)

func soils() map[string]garden.Retention {
	return map[string]garden.Retention{
		"loose, van Genuchten": peatPerlite(),
		"fine, van Genuchten":  {Model: garden.VanGenuchten, ThetaR: .10, ThetaS: .93, AlphaPerCM: .06, N: 1.60, KsCMH: 15},
		"coarse, n = 2":        {Model: garden.VanGenuchten, ThetaR: .10, ThetaS: .85, AlphaPerCM: .20, N: 2, KsCMH: 120},
		"Brooks-Corey":         {Model: garden.BrooksCorey, ThetaR: .10, ThetaS: .70, HbCM: 5, Lambda: .5, KsCMH: 20},
		"exponential":          {Model: garden.Exponential, ThetaR: .15, ThetaS: .90, AlphaPerCM: .05, KsCMH: 30},
	}
}

// Closed forms of the height-average of the retention curve in a drained pot:
// mean = θr + (θs-θr)·asinh(αH)/(αH) for van Genuchten with n = 2,
// (1-exp(-αH))/(αH) for the exponential curve, and for Brooks and Corey
// [hb + hb^λ(H^(1-λ)-hb^(1-λ))/(1-λ)]/H (integrals done by hand).
func TestRestIsContainerCapacity(t *testing.T) {
	for _, tc := range []struct {
		soil   string
		height float64
		want   float64
	}{
		{"coarse, n = 2", 20, .10 + .75*math.Asinh(4)/4},
		{"coarse, n = 2", 40, .10 + .75*math.Asinh(8)/8},
		{"exponential", 30, .15 + .75*(1-math.Exp(-1.5))/1.5},
		{"Brooks-Corey", 20, .55},
		{"Brooks-Corey", 40, .10 + .60*(5+math.Sqrt(5)*(math.Sqrt(40)-math.Sqrt(5))/.5)/40},
	} {
		c := newColumn(t, soils()[tc.soil], Config{HeightCM: tc.height, Cells: 40})
		assert.InDelta(t, tc.want, c.Mean(), 6e-4, "%s, %v cm", tc.soil, tc.height)
		before := c.Mean()
		for range 48 {
			c.Step(1, 0, 0, 0)
		}
		assert.InDelta(t, before, c.Mean(), 1e-9, "%s stays at rest", tc.soil)
	}
}

// Invariants that need no source.
func TestNothingDrainsBeforeTheFloorIsSaturated(t *testing.T) {
	for name, r := range soils() {
		t.Run(name, func(t *testing.T) {
			c := newColumn(t, r, Config{HeightCM: 40, MaxPondCM: 3})
			c.Rest(60)
			seen := false
			for range 48 * 60 {
				before := c.Totals().Drained
				c.Step(1./60, 0, 1, 0)
				if c.Totals().Drained > before {
					// Suction at the floor, carried down from the cell above it.
					assert.LessOrEqual(t, c.Suction(c.n-1), c.dz/2+1e-6)
					seen = true
				}
				require.GreaterOrEqual(t, c.DrainRate(), -1e-12, "water came in through the floor")
			}
			assert.True(t, seen, "two days of 1 cm/h must run through")
			assert.InDelta(t, 1, c.DrainRate(), 1e-3, "what comes in goes out")
		})
	}
}

func TestSteadyFluxAtUnitGradientIsKs(t *testing.T) {
	for name, r := range soils() {
		c := newColumn(t, r, Config{HeightCM: 40, MaxPondCM: 0})
		for range 24 * 60 {
			c.Step(1./60, 0, 1.5*r.KsCMH, 0)
		}
		assert.InEpsilon(t, r.KsCMH, c.DrainRate(), 1e-3, name)
		assert.InDelta(t, r.ThetaS, c.Mean(), 1e-3, name)
		assert.Greater(t, c.Totals().RunOff, 0.0, name)
	}
}

// A taper is wetter than a cylinder where it narrows to the floor less wet mix.
func TestTaperWeighsByArea(t *testing.T) {
	cyl := newColumn(t, peatPerlite(), Config{HeightCM: 30})
	wideTop := newColumn(t, peatPerlite(), Config{HeightCM: 30, BottomDiameterCM: 20, TopDiameterCM: 40})
	assert.Less(t, wideTop.Mean(), cyl.Mean())
	var vol float64
	for _, l := range wideTop.layers {
		vol += l.vol
	}
	assert.InDelta(t, 30, vol, 1e-12, "volumes sum to the height")
	// Simpson's rule on the frustum, independent of the cells.
	s := wideTop.soil
	var sum, area float64
	for i := range 3001 {
		z := float64(i) / 100
		w := map[bool]float64{true: 4, false: 2}[i%2 == 1]
		if i == 0 || i == 3000 {
			w = 1
		}
		d := 20 + 20*z/30
		sum += w * d * d * s.exactTheta(z)
		area += w * d * d
	}
	assert.InDelta(t, sum/area, wideTop.Mean(), 5e-4)
}

func imbalance(c *Column, start float64) float64 {
	x := c.Totals()
	return start + x.In - x.Drained - x.RunOff - x.Uptake - x.Evaporate - c.Stored()
}

// Whatever falls, however long the steps, water is conserved to rounding and no
// cell leaves the range of water a mix can hold.
func TestWaterIsConserved(t *testing.T) {
	names := []string{"loose, van Genuchten", "fine, van Genuchten", "coarse, n = 2", "Brooks-Corey", "exponential"}
	rapid.Check(t, func(rt *rapid.T) {
		r := soils()[rapid.SampledFrom(names).Draw(rt, "soil")]
		c := newColumn(t, r, Config{HeightCM: rapid.Float64Range(8, 70).Draw(rt, "height"), MaxPondCM: 2,
			BottomDiameterCM: rapid.Float64Range(20, 40).Draw(rt, "bottom"), TopDiameterCM: 30,
			Solutes: []Solute{RainTag(), {Name: "salt", Water: 2, Start: 1}}})
		c.Rest(rapid.Float64Range(0, 2000).Draw(rt, "dryness"))
		start, salt := c.Stored(), c.Mass(1)
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(rt, "seed"), 1))
		for range 150 {
			rain, water := 0.0, 0.0
			if rng.IntN(3) == 0 {
				rain = 3 * rng.ExpFloat64()
			}
			if rng.IntN(3) == 0 {
				water = 20 * rng.ExpFloat64()
			}
			hours := math.Pow(10, -3+3*rng.Float64())
			c.SetDemand(Demand{Transpiration: .2 * rng.Float64(), Surface: .1 * rng.Float64(), Wall: .05, ForHours: hours})
			c.Step(hours, rain, water, 0.3*float64(rng.IntN(2)))
			for i := range c.layers {
				w := c.layers[i].w
				if !(w > r.ThetaR-1e-3 && w < r.ThetaS+2e-3) {
					rt.Fatalf("cell %d holds %v after a step of %v h, %v and %v cm/h", i, w, hours, rain, water)
				}
			}
		}
		passed := c.Totals().In + c.Totals().Uptake + c.Totals().Evaporate + c.Totals().Drained
		if e := math.Abs(imbalance(c, start)); e > 1e-12*passed+1e-12 {
			rt.Fatalf("imbalance %v cm of %v passed", e, passed)
		}
		c.moveSolutes()
		d := c.Carried(1)
		if e := math.Abs(salt + d.In - d.Drained - d.RunOff - d.Uptake - d.Evaporated - c.Mass(1)); e > 1e-9*(salt+d.In) {
			rt.Fatalf("salt off by %v of %v", e, salt+d.In)
		}
		for k := range 2 {
			for i := range c.n {
				if x := c.Concentration(k, i); !(x > -1e-9) {
					rt.Fatalf("concentration %v of solute %d in cell %d", x, k, i)
				}
			}
		}
	})
}

func TestRainTagTellsTheSourcesApart(t *testing.T) {
	c := newColumn(t, peatPerlite(), Config{HeightCM: 30, MaxPondCM: 3, Solutes: []Solute{RainTag()}})
	pour := func(hours, rain, water float64) {
		for m := range int(hours * 60) {
			if m%10 == 0 {
				c.SetDemand(Demand{ForHours: 1. / 6})
			}
			c.Step(1./60, rain, water, 0)
		}
		c.SetDemand(Demand{ForHours: 1})
	}
	start := c.Stored()
	pour(2, 0, 2)
	assert.Zero(t, c.Carried(0).Drained, "no rain yet")
	pour(200, 2, 0)
	other := c.Totals().Drained - c.Carried(0).Drained
	assert.InDelta(t, start+4, other, 1e-4, "what was there and what was poured has left, no more")
	for i := range c.n {
		assert.InDelta(t, 1, c.Concentration(0, i), 1e-6, "flushed with rain, cell %d", i)
	}
}

// Roots: full to 60 cm, half at 430, nothing at 800 cm of suction throughout.
func TestUptakeAnswersToSuction(t *testing.T) {
	for _, tc := range []struct{ suction, want float64 }{{20, 1}, {59, 1}, {245, .75}, {430, .5}, {615, .25}, {820, 0}} {
		c := newColumn(t, peatPerlite(), Config{HeightCM: 30})
		for i := range c.n {
			c.SetSuction(i, tc.suction)
		}
		got := c.SetDemand(Demand{Transpiration: .01, ForHours: 1. / 6})
		assert.InDelta(t, .01*tc.want, got.Transpiration, .01*.01, "at %v cm", tc.suction)
	}
	t.Run("a dry top does not stress a plant whose depth is moist", func(t *testing.T) {
		c := newColumn(t, peatPerlite(), Config{HeightCM: 30})
		for i := range 6 {
			c.SetSuction(i, 900)
		}
		got := c.SetDemand(Demand{Transpiration: .05, ForHours: 1. / 6})
		assert.InDelta(t, .05, got.Transpiration, 1e-12)
		assert.Zero(t, c.layers[0].uptake)
	})
}

func TestEvaporationEndsWithADrySurface(t *testing.T) {
	c := newColumn(t, peatPerlite(), Config{HeightCM: 30})
	first, last := 0.0, 0.0
	for i := range 6 * 24 * 40 {
		last = c.SetDemand(Demand{Surface: .03, ForHours: 1. / 6}).Surface
		if i == 0 {
			first = last
		}
		c.Step(1./6, 0, 0, 0)
	}
	assert.InDelta(t, .03, first, 1e-9, "wet: all that is asked")
	assert.Less(t, last, .003, "forty days on: a tenth at most")
	assert.Greater(t, c.Mean(), .15, "and it has protected what is below")
}

func TestRefusesBadInput(t *testing.T) {
	good := peatPerlite()
	for name, change := range map[string]func(*garden.Retention){
		"n":       func(r *garden.Retention) { r.N = 1 },
		"alpha":   func(r *garden.Retention) { r.AlphaPerCM = math.NaN() },
		"theta_s": func(r *garden.Retention) { r.ThetaS = r.ThetaR },
		"theta_r": func(r *garden.Retention) { r.ThetaR = -.1 },
		"cm/h":    func(r *garden.Retention) { r.KsCMH = math.Inf(1) },
		"model":   func(r *garden.Retention) { r.Model = "guess" },
	} {
		r := good
		change(&r)
		_, err := NewSoil(r)
		assert.ErrorContains(t, err, name)
	}
	s, err := NewSoil(good)
	require.NoError(t, err)
	for _, cfg := range []Config{{}, {Soil: s}, {Soil: s, HeightCM: 30, Cells: 1}, {Soil: s, HeightCM: math.NaN()},
		{Soil: s, HeightCM: 30, TopDiameterCM: 30}, {Soil: s, HeightCM: 30, MaxPondCM: -1}} {
		_, err := New(cfg)
		assert.Error(t, err)
	}
}

func TestStepAllocatesNothing(t *testing.T) {
	c := newColumn(t, peatPerlite(), Config{HeightCM: 30, MaxPondCM: 3, Solutes: []Solute{RainTag()}})
	n := 0
	assert.Zero(t, testing.AllocsPerRun(200, func() {
		n++
		c.SetDemand(Demand{Transpiration: .1, Surface: .02, ForHours: 1. / 60})
		c.Step(1./60, 0, float64(n%50)/5, 0)
	}))
}
