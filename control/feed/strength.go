package feed

import (
	"fmt"
	"math"

	"fabricpot/control/garden"
)

// Exact by definition: the avoirdupois ounce and the US gallon.
const (
	GramsPerOunce   = 28.349523125
	LitresPerGallon = 3.785411784
)

// PPMPerOunce is the mg/L that one ounce of a pure nutrient gives in 100 US
// gallons, divided by 100 so that it multiplies a percentage: 0.748915. The
// growers' rule "ounces × percent × 75 / 100" is 0.145 % high.
const PPMPerOunce = GramsPerOunce * 1000 / (100 * LitresPerGallon) / 100

// PPM is the strength of nutrient in a solution, mg/L, from g/L of a product
// with percent of that nutrient: g/L × % × 10.
func PPM(gPerL, percent float64) float64 { return gPerL * percent * 10 }

// GramsPerLitre is the product needed for a strength, g/L: ppm/(10 × %). It
// fails where the product holds none of the nutrient or a number is absurd.
func GramsPerLitre(ppm, percent float64) (float64, error) {
	if !garden.Finite(ppm) || ppm < 0 {
		return 0, fmt.Errorf("feed: strength %v ppm, expected a number of 0 or more", ppm)
	}
	if !garden.Finite(percent) || percent <= 0 || percent > 100 {
		return 0, fmt.Errorf("feed: product with %v %% of the nutrient, expected more than 0 and at most 100: choose a product that holds it", percent)
	}
	return ppm / (10 * percent), nil
}

// OuncesPer100Gal turns g/L into ounces per 100 US gallons.
func OuncesPer100Gal(gPerL float64) float64 {
	return gPerL * 100 * LitresPerGallon / GramsPerOunce
}

// FromOuncesPer100Gal turns ounces per 100 US gallons into g/L.
func FromOuncesPer100Gal(oz float64) float64 {
	return oz * GramsPerOunce / (100 * LitresPerGallon)
}

// Millilitres is the volume of a liquid product of that mass, mL. densityKGL is
// kg/L, which is also g/mL.
func Millilitres(grams, densityKGL float64) (float64, error) {
	if !garden.Finite(densityKGL) || densityKGL < 0.5 || densityKGL > 2.5 {
		return 0, fmt.Errorf("feed: density %v kg/L, expected 0.5 to 2.5 as on the label or weighed", densityKGL)
	}
	if !garden.Finite(grams) || grams < 0 {
		return 0, fmt.Errorf("feed: %v g of product, expected 0 or more", grams)
	}
	return grams / densityKGL, nil
}

// EC is the conductivity of a ready solution, mS/cm: the water's own plus the
// label's rise per 100 ppm N (Purdue Extension HO-286-W, the rule as read).
// The water's own part does not feed; subtract it when judging strength.
func EC(waterMS, per100PPM, nPPM float64) (float64, error) {
	switch {
	case !garden.Finite(waterMS) || waterMS < 0 || waterMS > 20:
		return 0, fmt.Errorf("feed: water EC %v mS/cm, expected 0 to 20: is the meter set to µS/cm", waterMS)
	case !garden.Finite(per100PPM) || per100PPM < 0 || per100PPM > 5:
		return 0, fmt.Errorf("feed: EC %v mS/cm per 100 ppm N, expected 0 to 5 as in the label's table", per100PPM)
	case !garden.Finite(nPPM) || nPPM < 0:
		return 0, fmt.Errorf("feed: strength %v ppm N, expected 0 or more", nPPM)
	}
	return waterMS + per100PPM*nPPM/100, nil
}

// PPMFromEC is EC solved for the strength, ppm N: what a meter in the bucket
// says about the mixing. It is never negative.
func PPMFromEC(readMS, waterMS, per100PPM float64) (float64, error) {
	if _, err := EC(waterMS, per100PPM, 0); err != nil {
		return 0, err
	}
	if per100PPM == 0 {
		return 0, fmt.Errorf("feed: the product does not raise EC, expected a rise per 100 ppm N over 0: its strength can't be read with a meter")
	}
	if !garden.Finite(readMS) || readMS < 0 {
		return 0, fmt.Errorf("feed: EC reading %v mS/cm, expected 0 or more", readMS)
	}
	return math.Max(0, readMS-waterMS) / per100PPM * 100, nil
}
