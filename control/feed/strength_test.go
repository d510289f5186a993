package feed

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fabricpot/control/garden"
)

// Oxide factors computed independently from atomic masses; the inverse pair
// checks the arithmetic the other way round.
func TestOxideFactors(t *testing.T) {
	assert.InDelta(t, 0.436427, PPerP2O5, 5e-7)
	assert.InDelta(t, 2.291335, 1/PPerP2O5, 5e-6)
	// 0.830151: four digits round to 0.8302; the often printed 0.8301 truncates.
	assert.InDelta(t, 0.830151, KPerK2O, 5e-7)
	assert.InDelta(t, 1.204600, 1/KPerK2O, 5e-6)

	t.Run("pure potassium nitrate", func(t *testing.T) {
		// Computed independently: KNO3 is 13.85 % N and 38.67 % K (46.58 % K2O).
		kno3 := massK + massN + 3*massO
		e := Elements(garden.Analysis{N: 100 * massN / kno3, K2O: 46.58})
		assert.InDelta(t, 13.85, e.N, 0.005)
		assert.InDelta(t, 38.67, e.K, 0.005)
	})
}

func TestPrintedExamples(t *testing.T) {
	// University of Massachusetts Extension, fact sheet "Fertilizer
	// Calculations for Greenhouse Crops" (READ). The sheet rounds ounces up, so
	// its 13½ and 18 oz give 202.2 ppm where it prints 200.
	for _, c := range []struct {
		name            string
		percent, oz     float64
		printed, actual float64
	}{
		{"13.5 oz of 20 % N in 100 gal", 20, 13.5, 200, 202.2},
		{"18 oz of 15 % N in 100 gal", 15, 18, 200, 202.2},
		// Texas A&M AgriLife IPM, "Nutrition and fertility" (READ): calcium
		// nitrate 15 %, 1 oz per 100 gal = 11.25 ppm by the rule of 75.
		{"1 oz of 15 % N in 100 gal", 15, 1, 11.25, 11.234},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := PPM(FromOuncesPer100Gal(c.oz), c.percent)
			assert.InDelta(t, c.actual, got, 0.05)
			assert.InEpsilon(t, c.printed, got, 0.012)
		})
	}
	for _, c := range []struct {
		name                   string
		ppm, percent, want, by float64
	}{
		// UMass, as above: 13.333 and 17.78 oz by the rule of 75, exact factor
		// 74.8915 (computed) makes them 0.145 % more.
		{"200 ppm from 20 % N", 200, 20, 13.333, 0.03},
		{"200 ppm from 15 % N", 200, 15, 17.78, 0.03},
		// Texas A&M, as above: printed 22 oz, 22.22 by its rule.
		{"250 ppm from 15 % N", 250, 15, 22.22, 0.04},
	} {
		t.Run(c.name, func(t *testing.T) {
			g, err := GramsPerLitre(c.ppm, c.percent)
			require.NoError(t, err)
			assert.InDelta(t, c.want, OuncesPer100Gal(g), c.by)
		})
	}
	t.Run("stock of 5 gal", func(t *testing.T) {
		// UMass question 1b (READ): 101.25 oz in 5 gal of stock. The ratio
		// 1:150 is the one the printed figures imply: 5 × 150 gal at 13.5 oz.
		stock, err := StockGramsPerLitre(FromOuncesPer100Gal(13.5), 150, garden.PartsOfFinal)
		require.NoError(t, err)
		assert.InDelta(t, 101.25, stock*5*LitresPerGallon/GramsPerOunce, 1e-9)
	})
	t.Run("exact factor", func(t *testing.T) {
		// Computed from the definitions of ounce and gallon.
		assert.InDelta(t, 74.8915, 100*PPMPerOunce, 5e-5)
		assert.InDelta(t, 0.00145, 0.75/PPMPerOunce-1, 5e-6)
	})
}

// The same Texas A&M page (READ) misprints its ammonium nitrate example:
// "0.33 × 75 = 29.75" and, built on it, 5 oz beside 13 oz of calcium nitrate
// for 150 ppm from each, and 7 oz for 200 ppm. We must not agree.
func TestMisprintIsNotReproduced(t *testing.T) {
	perOunce := PPM(FromOuncesPer100Gal(1), 33)
	assert.InDelta(t, 24.75, perOunce, 0.04)
	assert.Greater(t, math.Abs(perOunce-29.75), 4.0)

	g, err := GramsPerLitre(150, 33)
	require.NoError(t, err)
	assert.InDelta(t, 6.07, OuncesPer100Gal(g), 0.01)
	g, err = GramsPerLitre(200, 33)
	require.NoError(t, err)
	assert.InDelta(t, 8.09, OuncesPer100Gal(g), 0.01)

	blend := Blend{
		Products: []garden.Product{{ID: "an", Analysis: garden.Analysis{N: 33}}, {ID: "cn", Analysis: garden.Analysis{N: 15}}},
		GPerL:    []float64{FromOuncesPer100Gal(5), FromOuncesPer100Gal(13)},
	}
	assert.InDelta(t, 269.6, blend.PPM().N, 0.05, "the printed blend gives this and not 300 ppm")
}

// 150 ppm N, computed independently from labels and atomic masses.
func TestSITable(t *testing.T) {
	for _, c := range []struct {
		label              string
		gPerL, p, k, stock float64
	}{
		{"20-20-20", 0.7500, 65.46, 124.52, 75.0},
		{"24-8-16", 0.6250, 21.82, 83.01, 62.5},
		{"15-5-15", 1.0000, 21.82, 124.52, 100.0},
	} {
		t.Run(c.label, func(t *testing.T) {
			a, err := ParseAnalysis(c.label)
			require.NoError(t, err)
			got, err := Calculate(Question{Analysis: a, NPPM: 150, Ratio: garden.Known(100), Litres: garden.Known(20)})
			require.NoError(t, err)
			assert.InDelta(t, c.gPerL, got.GPerL, 5e-5)
			assert.InDelta(t, c.p, got.PPPM, 0.006)
			assert.InDelta(t, c.k, got.KPPM, 0.006)
			require.NotNil(t, got.StockGPerL)
			assert.InDelta(t, c.stock, *got.StockGPerL, 1e-9)
			assert.InDelta(t, 20*c.gPerL, *got.Grams, 1e-9)
			assert.InDelta(t, 0.2, *got.StockLitres, 1e-12)
		})
	}
}

// University of Massachusetts (READ): "1 gallon of concentrate delivers 100
// gallons of final solution". A device that adds 1 to 100 parts makes 101, and
// the 200 ppm become 198.02 (computed).
func TestRatioConventions(t *testing.T) {
	final, err := StockGramsPerLitre(1, 100, garden.PartsOfFinal)
	require.NoError(t, err)
	added, err := FinalParts(100, garden.PartsAdded)
	require.NoError(t, err)
	assert.InDelta(t, 198.02, 200*final/added, 0.005)
	same, err := FinalParts(100, "")
	require.NoError(t, err)
	assert.Equal(t, 100.0, same)
}

func TestEC(t *testing.T) {
	// Purdue Extension HO-286-W (READ): EC = water + slope · ppm N; its
	// 15-5-15 label chart: 0.74 mS/cm per 100 ppm N.
	got, err := EC(0.5, 0.74, 150)
	require.NoError(t, err)
	assert.InDelta(t, 1.61, got, 1e-12)
	back, err := PPMFromEC(got, 0.5, 0.74)
	require.NoError(t, err)
	assert.InDelta(t, 150, back, 1e-9)
	// University of New Hampshire (READ): the clear water's EC does not feed.
	none, err := PPMFromEC(0.5, 0.5, 0.74)
	require.NoError(t, err)
	assert.Zero(t, none)
}

func TestRefusals(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for _, s := range []string{"", "20", "20-10", "20-10-20-1", "50-40-20", "0-0-0", "-5-10-20", "20-x-20", "NaN-1-1", "Inf-0-0", "1e1-2-3", "0x1-2-3", "20--20"} {
		t.Run("label "+s, func(t *testing.T) {
			_, err := ParseAnalysis(s)
			require.Error(t, err)
			assert.Contains(t, err.Error(), "feed: label")
		})
	}
	good := garden.Analysis{N: 20, P2O5: 10, K2O: 20}
	for name, q := range map[string]Question{
		"negative ppm":     {Analysis: good, NPPM: -1},
		"ppm not a number": {Analysis: good, NPPM: nan},
		"ppm infinite":     {Analysis: good, NPPM: inf},
		"too strong":       {Analysis: good, NPPM: 301},
		"ratio below 1":    {Analysis: good, NPPM: 100, Ratio: garden.Known(0.5)},
		"odd convention":   {Analysis: good, NPPM: 100, Ratio: garden.Known(100), Convention: "other"},
		"no nitrogen":      {Analysis: garden.Analysis{K2O: 50}, NPPM: 100},
		"label over 100":   {Analysis: garden.Analysis{N: 60, P2O5: 30, K2O: 20}, NPPM: 100},
		"no litres":        {Analysis: good, NPPM: 100, Litres: garden.Known(0)},
		"density of lead":  {Analysis: good, NPPM: 100, Litres: garden.Known(1), DensityKGL: garden.Known(11)},
		"water in µS":      {Analysis: good, NPPM: 100, WaterECmS: garden.Known(700), ECPer100PPM: garden.Known(0.6)},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := Calculate(q)
			require.Error(t, err)
		})
	}
}

func TestStockWarnings(t *testing.T) {
	ca := garden.Product{ID: "cn", Name: "calcium nitrate", Analysis: garden.Analysis{N: 15.5}, Calcium: true, SolubilityGL: garden.Known(1000)}
	mg := garden.Product{ID: "es", Name: "Epsom salt", Sulfate: true}
	map_ := garden.Product{ID: "map", Name: "monoammonium phosphate", Phosphate: true}
	kn := garden.Product{ID: "kn", Name: "potassium nitrate", SolubilityGL: garden.Known(310)}
	assert.Len(t, StockWarnings([]garden.Product{ca, mg}, []float64{1, 1}), 1)
	assert.Len(t, StockWarnings([]garden.Product{map_, ca}, []float64{1, 1}), 1)
	assert.Empty(t, StockWarnings([]garden.Product{ca, kn}, []float64{100, 100}))
	assert.Empty(t, StockWarnings([]garden.Product{mg, map_}, []float64{1, 1}))
	assert.Contains(t, StockWarnings([]garden.Product{kn}, []float64{311})[0], "won't dissolve")
	assert.Contains(t, StockWarnings([]garden.Product{kn}, []float64{260})[0], "close to")
	assert.Contains(t, StockWarnings([]garden.Product{{ID: "fish", Form: garden.Particulate}}, []float64{1})[0], "solids")
}

func TestRecipe(t *testing.T) {
	g := &garden.Garden{Products: []garden.Product{
		{ID: "soluble", Form: garden.Soluble, Analysis: garden.Analysis{N: 20, P2O5: 10, K2O: 20}, ECPer100PPM: garden.Known(0.6)},
		{ID: "fish", Form: garden.Particulate, Analysis: garden.Analysis{N: 2, P2O5: 4, K2O: 1}, DensityKGL: garden.Known(1.15), ECPer100PPM: garden.Known(0.3)},
	}}
	g.Supply.ECmS = garden.Known(0.4)
	r, err := NewRecipe(g, []garden.ProductShare{{Product: "soluble", NShare: 0.75}, {Product: "fish", NShare: 0.25}}, 100, 10, garden.Injector{})
	require.NoError(t, err)
	assert.InDelta(t, 100, r.PPM.N, 1e-9)
	assert.InDelta(t, 1.0, r.Grams().N, 1e-12)
	assert.InDelta(t, 3.75, r.Ingredients[0].Grams, 1e-9)
	assert.InDelta(t, 12.5/1.15, *r.Ingredients[1].ML, 1e-9)
	assert.InDelta(t, 0.4+0.75*0.6+0.25*0.3, r.ECmS.Value, 1e-9)

	_, err = NewRecipe(g, []garden.ProductShare{{Product: "absent", NShare: 1}}, 100, 10, garden.Injector{})
	assert.ErrorContains(t, err, "not in the garden file")
	_, err = NewRecipe(g, []garden.ProductShare{{Product: "soluble", NShare: 0.5}}, 100, 10, garden.Injector{})
	assert.ErrorContains(t, err, "sum to 0.5")
}

func TestStrengthProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.Float64Range(0.1, 46).Draw(t, "n")
		ppm := rapid.Float64Range(0, MaxNPPM).Draw(t, "ppm")
		ratio := rapid.Float64Range(1, 1000).Draw(t, "ratio")
		conv := rapid.SampledFrom([]garden.RatioConvention{"", garden.PartsOfFinal, garden.PartsAdded}).Draw(t, "conv")
		g, err := GramsPerLitre(ppm, n)
		require.NoError(t, err)
		assert.InDelta(t, ppm, PPM(g, n), 1e-9)
		assert.InDelta(t, g, FromOuncesPer100Gal(OuncesPer100Gal(g)), 1e-9*(1+g))
		// Stock drawn times its concentration is the grams wanted.
		stock, err := StockGramsPerLitre(g, ratio, conv)
		require.NoError(t, err)
		l, err := StockLitres(20, ratio, conv)
		require.NoError(t, err)
		assert.InDelta(t, 20*g, stock*l, 1e-9*(1+20*g))
	})
}

func FuzzParseAnalysis(f *testing.F) {
	for _, s := range []string{"20-10-20", "5-2.5-6", "0-0-50", "..-1-1", "99999999999999999999-1-1", "1-2-3 "} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		a, err := ParseAnalysis(s)
		if err != nil {
			return
		}
		require.NoError(t, CheckAnalysis(a))
		again, err := ParseAnalysis(FormatAnalysis(a))
		if len(FormatAnalysis(a)) <= 40 {
			require.NoError(t, err)
			require.Equal(t, a, again)
		}
	})
}
