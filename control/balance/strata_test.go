package balance

import (
	"testing"

	"fabricpot/control/garden"
	"fabricpot/control/medium"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// peatPerlite is an illustrative mix (invented, plausible) in a 45 cm pot.
func peatPerlite(t require.TestingT) (Strata, float64) {
	curve, err := medium.NewCurve(garden.Retention{Model: garden.VanGenuchten, ThetaR: 0.10, ThetaS: 0.88, AlphaPerCM: 0.15, N: 1.60})
	require.NoError(t, err)
	shape := garden.Shape{HeightCM: 45, BottomDiameterCM: 46, TopDiameterCM: 46}
	cc, err := medium.Capacity(curve, shape)
	require.NoError(t, err)
	return NewStrata(curve, curve.Porosity(), shape, cc, 60, 800), cc
}

func TestStrataHoldContainerCapacity(t *testing.T) {
	s, cc := peatPerlite(t)
	var c Column
	c.Fill(&s, cc)
	assert.InDelta(t, cc, c.Mean(&s), 1e-12)
	assert.InDelta(t, 0, c.Deficit(&s, 1), 1e-12)
	// Wetter at the floor than at the top, as a drained pot is.
	for k := 1; k < Slices; k++ {
		assert.Greater(t, s.Capacity[k], s.Capacity[k-1])
	}
	// A perfect probe 10 cm under the surface of this pot reads 0.381 at
	// container capacity (computed independently from the retention curve).
	assert.InDelta(t, 0.381, s.CapacityAt(10.0/45), 0.004)
}

// TestTooLittleTooOften is why the ledger has slices: small doses wet the top
// again and again while the depth dries, and a probe near the top sees nothing
// of it.
func TestTooLittleTooOften(t *testing.T) {
	s, cc := peatPerlite(t)
	var c Column
	c.Fill(&s, cc)
	for range 30 {
		for range 24 {
			c.Lose(&s, 0.04/24, 0, 1)
			c.Settle(&s, 1)
		}
		c.Gain(&s, 0.03)
		c.Settle(&s, 6)
	}
	assert.Greater(t, c.At(0.1), s.CapacityAt(0.1)-0.06, "the top looks well watered")
	assert.Less(t, c.At(0.9), s.CapacityAt(0.9)-0.25, "the depth does not")
	assert.Greater(t, c.Deficit(&s, 1), 0.1)

	// Giving what the ledger misses brings it all back, with nothing to spare.
	c.Gain(&s, c.Deficit(&s, 1))
	drained := c.Settle(&s, 24)
	for range 200 {
		drained += c.Settle(&s, 1)
	}
	assert.InDelta(t, 0, c.Deficit(&s, 1), 0.002)
	assert.InDelta(t, 0, drained, 0.002)
}

func TestSeeReachesNoFurtherThanItShould(t *testing.T) {
	s, cc := peatPerlite(t)
	var c Column
	c.Fill(&s, cc)
	surprise := c.See(&s, 0.25, c.At(0.25)-0.10, 1)
	assert.InDelta(t, -0.10, surprise, 1e-9)
	assert.InDelta(t, s.CapacityAt(0.25)-0.10, c.At(0.25), 0.04)
	assert.InDelta(t, s.Capacity[Slices-1], c.Theta[Slices-1], 1e-3, "the floor is not the shallow probe's business")

	wet := c
	wet.See(&s, 0.25, s.Porosity, 1)
	assert.LessOrEqual(t, wet.At(0.25), s.CapacityAt(0.25)+0.04, "water on its way down is not counted twice")
}

// TestColumnKeepsItsLitres: whatever comes and goes, the ledger adds up and
// stays between nothing and its pores.
func TestColumnKeepsItsLitres(t *testing.T) {
	s, cc := peatPerlite(t)
	rapid.Check(t, func(t *rapid.T) {
		var c Column
		c.Fill(&s, cc*rapid.Float64Range(0.3, 1.1).Draw(t, "start"))
		held := c.Mean(&s)
		for range rapid.IntRange(1, 40).Draw(t, "steps") {
			held -= c.Lose(&s, rapid.Float64Range(0, 0.2).Draw(t, "transpired"), rapid.Float64Range(0, 0.05).Draw(t, "evaporated"),
				rapid.Float64Range(0, 1).Draw(t, "root"))
			in := rapid.Float64Range(0, 0.6).Draw(t, "in")
			held += in - c.Gain(&s, in)
			held -= c.Settle(&s, rapid.Float64Range(0, 12).Draw(t, "hours"))
			assert.InDelta(t, held, c.Mean(&s), 1e-9)
			for k := range Slices {
				assert.GreaterOrEqual(t, c.Theta[k], 0.0)
				assert.LessOrEqual(t, c.Theta[k], s.Porosity+1e-9)
			}
		}
	})
}
