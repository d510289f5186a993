package weather

import (
	"math"

	"fabricpot/control/garden"
)

// HargreavesMM is reference evapotranspiration from temperatures alone, mm/d
// (Hargreaves and Samani 1985; FAO-56 eq. 52), with Ra in MJ m⁻² d⁻¹ turned
// into mm by λ = 2.45 MJ/kg. It is never negative; a maximum under the minimum
// counts as no range, and anything not finite gives 0.
func HargreavesMM(tminC, tmaxC, raMJ float64) float64 {
	mean := (tminC + tmaxC) / 2
	eto := 0.0023 * (mean + 17.8) * math.Sqrt(max(tmaxC-tminC, 0)) * raMJ / latentHeat
	if !garden.Finite(eto) {
		return 0
	}
	return max(eto, 0)
}
