package crop

import (
	"fmt"
	"math"
)

// AdjustedP is the depletion fraction at an ETc in mm/d: p + 0.04(5−ETc) within
// 0.1..0.8 (FAO-56 Table 22, footnote). It is a rule for fields: in a pot it
// makes for sips, and watering decisions here take the table's p.
func AdjustedP(p, etcMM float64) float64 {
	v := p + 0.04*(5-etcMM)
	if math.IsNaN(v) {
		return 0.1
	}
	return min(max(v, 0.1), 0.8)
}

// ClimateKc is Kc mid, or a Kc end of 0.45 or more, where the air is drier or
// windier than the table's 45 % and 2 m/s (FAO-56 eq. 62 and 65): wind at 2 m
// in m/s within 1..6, daily minimum humidity in % within 20..80, plant height
// in m within 0.1..10, the spans the equation was made for.
func ClimateKc(kc, u2, rhMin, heightM float64) float64 {
	u2, rhMin, heightM = min(max(u2, 1), 6), min(max(rhMin, 20), 80), min(max(heightM, 0.1), 10)
	return kc + (0.04*(u2-2)-0.004*(rhMin-45))*math.Pow(heightM/3, 0.3)
}

// Need is what a plant asks for in a day.
type Need struct {
	// ETcMM is crop evapotranspiration over the canopy, mm.
	ETcMM float64
	// Litres is that over the canopy's area, times the exposure's factor.
	Litres float64
	// P is the depletion fraction adjusted to ETcMM, see AdjustedP.
	P float64
	Growth
}

// NeedAt is the day's need of one plant at an age in stage days, for an ETo in
// mm, the canopy of a grown plant in m² (0 means the crop's own) and an exposure
// factor. Litres = Kc × ETo × canopy × factor. It refuses values that are not
// finite, negative, or beyond any day's weather or plant.
func (c Crop) NeedAt(age, etoMM, canopyM2, exposure float64) (Need, error) {
	for _, v := range []struct {
		what     string
		value    float64
		lo, hi   float64
		expected string
	}{
		{"age", age, 0, 10000, "0 days or more"},
		{"reference evapotranspiration", etoMM, 0, 30, "0 to 30 mm"},
		{"canopy", canopyM2, 0, 20, "0 to 20 m²"},
		{"exposure factor", exposure, 0.1, 5, "0.1 to 5"},
	} {
		if !(v.value >= v.lo && v.value <= v.hi) {
			return Need{}, fmt.Errorf("crop: %s of %s is %v, expected %s", v.what, c.Name, v.value, v.expected)
		}
	}
	if canopyM2 > 0 {
		c.CanopyM2 = canopyM2
	}
	g := c.At(age)
	etc := g.Kc * etoMM * exposure
	return Need{ETcMM: etc, Litres: etc * g.CanopyM2, P: AdjustedP(c.P, etc), Growth: g}, nil
}
