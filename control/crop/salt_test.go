package crop_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fabricpot/control/crop"
	"fabricpot/control/garden"
)

// Thresholds and slopes of E. V. Maas (1990), from the list of herbaceous crops of the
// U.S. Salinity Laboratory (read). What it has no figures for is not listed.
func TestSaltToleranceAgainstMaas(t *testing.T) {
	for name, want := range map[string][2]float64{
		"bush bean": {1.0, 19}, "broccoli": {2.8, 9.2}, "cucumber": {2.5, 13}, "eggplant": {1.1, 6.9}, "lettuce": {1.3, 13},
		"onion": {1.2, 16}, "sweet pepper": {1.5, 14}, "chilli": {1.5, 14}, "potato": {1.7, 12}, "strawberry": {1, 33}, "tomato": {2.5, 9.9},
		"chard": {4.0, 9.0},
	} {
		got, ok := crop.SaltToleranceOf(name)
		require.True(t, ok, name)
		assert.Equal(t, want, [2]float64{got.ThresholdMS, got.SlopePC}, name)
		assert.NotEmpty(t, got.Source)
	}
	for _, name := range []string{"basil", "fern", ""} {
		_, ok := crop.SaltToleranceOf(name)
		assert.False(t, ok, name)
	}
}

// A threshold of 4 and a slope of 20 lose 20 % at 5, 40 % at 6, everything at 9 dS/m:
// worked example of a university's course on salinity (CIVE 633, manual 71, read).
func TestHarvestUnderSalt(t *testing.T) {
	s := crop.SaltTolerance{ThresholdMS: 4, SlopePC: 20}
	for ece, lost := range map[float64]float64{0: 0, 4: 0, 5: 0.2, 6: 0.4, 7: 0.6, 8: 0.8, 9: 1, 12: 1} {
		assert.InDelta(t, lost, s.Lost(ece), 1e-12, "%v", ece)
	}
}

// An avocado's 0.4 dS/m takes water of 0.6 with a leaching requirement of 0.43: worked
// example of the instructions to an irrigation calculator for avocados, which give
// Rhoades' equation (avocadosource.com, read).
func TestLeachingRequirement(t *testing.T) {
	lr, err := crop.LeachingRequirement(0.6, 0.4)
	require.NoError(t, err)
	assert.InDelta(t, 0.43, lr, 0.005)
	lr, err = crop.LeachingRequirement(0, 1)
	require.NoError(t, err)
	assert.Zero(t, lr)
	for _, bad := range [][2]float64{{-1, 1}, {math.NaN(), 1}, {1, 0}, {1, math.Inf(1)}, {3, 1}, {5, 1}, {9, 1}} {
		_, err := crop.LeachingRequirement(bad[0], bad[1])
		assert.Error(t, err, "%v", bad)
	}
	rapid.Check(t, func(t *rapid.T) {
		// More salt in the water never asks for less, a hardier crop never for more.
		water, ece := rapid.Float64Range(0, 2).Draw(t, "water"), rapid.Float64Range(1, 5).Draw(t, "ece")
		at := func(w, e float64) float64 {
			lr, err := crop.LeachingRequirement(w, e)
			require.NoError(t, err)
			require.True(t, lr >= 0 && lr < 1)
			return lr
		}
		require.LessOrEqual(t, at(water, ece), at(water*1.1, ece))
		require.GreaterOrEqual(t, at(water, ece), at(water, ece*1.1))
	})
}

func TestZoneLeaching(t *testing.T) {
	own := []garden.OwnCrop{{Name: "tomato"}}
	of := func(water float64, crops ...string) (float64, string, bool) {
		z := garden.Zone{}
		for _, c := range crops {
			z.Plants = append(z.Plants, garden.Plant{Crop: c})
		}
		return crop.ZoneLeaching(&z, own, garden.Known(water))
	}
	share, who, ok := of(0.5, "cucumber", "Bush-Bean", "basil")
	require.True(t, ok)
	assert.InDelta(t, 0.5/4.5, share, 1e-12, "the most sensitive counts")
	assert.Equal(t, "bush bean", who)
	_, who, ok = of(0.5, "bush bean", "strawberry", "onion")
	require.True(t, ok)
	assert.Equal(t, "strawberry", who, "of one threshold the steeper loss counts")
	for _, crops := range [][]string{{}, {"basil"}, {"fern"}, {"tomato"}} {
		_, _, ok = of(0.5, crops...)
		assert.False(t, ok, "%v: nobody knows what it takes", crops)
	}
	_, _, ok = of(0, "bush bean")
	assert.False(t, ok, "rain water")
	_, _, ok = crop.ZoneLeaching(&garden.Zone{Plants: []garden.Plant{{Crop: "bush bean"}}}, nil, garden.Measured{})
	assert.False(t, ok, "water of which nothing is known")
	share, _, ok = of(9, "bush bean")
	require.True(t, ok)
	assert.EqualValues(t, 1, share, "no share of such water helps")
}

// The first to suffer: at 8 % chilli (1.5 + 8/14) comes before aubergine (1.1 + 8/6.9),
// though its threshold is the higher (Maas).
func TestSaltLimitIsThatOfTheFirstToSuffer(t *testing.T) {
	z := &garden.Zone{}
	limit := func(lost float64, crops ...string) (float64, bool) {
		z.Plants = nil
		for _, c := range crops {
			z.Plants = append(z.Plants, garden.Plant{Crop: c})
		}
		return crop.SaltLimit(z, []garden.OwnCrop{{Name: "lettuce"}}, lost)
	}
	for _, order := range [][]string{{"aubergine", "basil", "chilli"}, {"chilli", "aubergine", "basil"}} {
		ms, ok := limit(8, order...)
		require.True(t, ok)
		assert.InDelta(t, 1.5+8.0/14, ms, 1e-12)
		ms, _ = limit(0, order...)
		assert.Equal(t, 1.1, ms)
	}
	for _, none := range [][]string{nil, {"basil"}, {"lettuce"}} {
		_, ok := limit(8, none...)
		assert.False(t, ok, "%v: nobody has measured it, or another of that name", none)
	}
}

// What an ECe costs is told of those that suffer most there, not of the most sensitive: at
// 2.0 mS/cm chilli loses 14 · 0.5 = 7 % and aubergine 6.9 · 0.9 = 6.2 %, at 1.5 aubergine
// alone 2.8 % (Maas).
func TestSaltCostIsThatOfWhoSuffersMost(t *testing.T) {
	z := &garden.Zone{Plants: []garden.Plant{{Crop: "basil"}, {Crop: "aubergine"}, {Crop: "chilli"}}}
	lost, who := crop.SaltCost(z, nil, 2)
	assert.InDelta(t, 0.07, lost, 1e-12)
	assert.Equal(t, "chilli", who)
	lost, who = crop.SaltCost(z, nil, 1.5)
	assert.InDelta(t, 0.069*0.4, lost, 1e-12)
	assert.Equal(t, "aubergine", who)
	lost, who = crop.SaltCost(&garden.Zone{Plants: z.Plants[:1]}, nil, 9)
	assert.Zero(t, lost)
	assert.Empty(t, who, "nobody has measured it")
}
