package weather

import "math"

// SaturationKPa is e°(T), the vapour pressure of saturated air, kPa (FAO-56
// eq. 11), T in °C.
func SaturationKPa(tempC float64) float64 {
	return 0.6108 * math.Exp(17.27*tempC/(tempC+237.3))
}

// MeanSaturationKPa is es of a day, the mean of e° at its extremes, kPa (eq.
// 12). e° of the mean temperature would be too little.
func MeanSaturationKPa(tminC, tmaxC float64) float64 {
	return (SaturationKPa(tminC) + SaturationKPa(tmaxC)) / 2
}

// SlopeKPa is Δ, the slope of e°(T), kPa/°C (eq. 13).
func SlopeKPa(tempC float64) float64 {
	return 4098 * SaturationKPa(tempC) / ((tempC + 237.3) * (tempC + 237.3))
}

// PressureKPa is the mean air pressure at an elevation in m, kPa (eq. 7).
func PressureKPa(elevationM float64) float64 {
	return 101.3 * math.Pow((293-0.0065*elevationM)/293, 5.26)
}

// PsychrometricKPa is γ, kPa/°C, at a pressure in kPa (eq. 8).
func PsychrometricKPa(pressureKPa float64) float64 { return 0.665e-3 * pressureKPa }

// VapourFromWetBulb is ea, kPa, from an aspirated psychrometer's dry and wet
// bulb in °C (eq. 15, 16 with 0.000662).
func VapourFromWetBulb(dryC, wetC, pressureKPa float64) float64 {
	return SaturationKPa(wetC) - 0.000662*pressureKPa*(dryC-wetC)
}

// VapourFromExtremes is ea, kPa, from a day's humidity extremes in % (eq. 17).
func VapourFromExtremes(tminC, tmaxC, rhMin, rhMax float64) float64 {
	return (SaturationKPa(tminC)*rhMax + SaturationKPa(tmaxC)*rhMin) / 200
}

// VapourFromMean is ea, kPa, from a day's mean humidity in % (eq. 19), the
// least sure of the ways.
func VapourFromMean(tminC, tmaxC, rhMean float64) float64 {
	return rhMean / 100 * MeanSaturationKPa(tminC, tmaxC)
}

// WindAt2 turns a wind speed at a height in m over grass into that at 2 m (eq.
// 47). A height of 0 or less counts as 2 m; the equation holds from about 0.5 m.
func WindAt2(speedMS, heightM float64) float64 {
	if heightM <= 0 || heightM == 2 {
		return speedMS
	}
	return speedMS * 4.87 / math.Log(67.8*max(heightM, 0.5)-5.42)
}

// SoilHeatMonth is G of a month, MJ m⁻² d⁻¹, from the mean temperatures of the
// months before and after, °C (eq. 43).
func SoilHeatMonth(beforeC, afterC float64) float64 { return 0.07 * (afterC - beforeC) }

// SoilHeatSinceLast is G of a month, MJ m⁻² d⁻¹, where the next month is not
// known yet (eq. 44).
func SoilHeatSinceLast(beforeC, thisC float64) float64 { return 0.14 * (thisC - beforeC) }

// ToMM turns energy in MJ m⁻² into the mm of water it can evaporate (λ = 2.45
// MJ/kg).
func ToMM(mj float64) float64 { return mj / latentHeat }
