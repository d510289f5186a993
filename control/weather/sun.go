package weather

import (
	"math"
	"time"
)

const (
	// solarConstant is Gsc, MJ m⁻² min⁻¹ (FAO-56 eq. 21).
	solarConstant = 0.0820
	// latentHeat is λ, MJ/kg: the energy that evaporates 1 mm from 1 m².
	latentHeat = 2.45
)

// DayOfYear is J, 1..366, in the time's own zone.
func DayOfYear(t time.Time) int { return t.YearDay() }

// sunGeometry is the inverse relative distance Earth-Sun (eq. 23) and the solar
// declination in radians (eq. 24).
func sunGeometry(dayOfYear int) (dr, declination float64) {
	j := 2 * math.Pi * float64(dayOfYear) / 365
	return 1 + 0.033*math.Cos(j), 0.409 * math.Sin(j-1.39)
}

// sunsetAngle is ωs in radians (eq. 25). Where the sun does not set it is π,
// where it does not rise 0: the equation has no answer there, the sky has.
func sunsetAngle(lat, declination float64) float64 {
	return math.Acos(min(max(-math.Tan(lat)*math.Tan(declination), -1), 1))
}

// radians clamps a latitude to the globe; at the very pole tan has no value.
func radians(latDeg float64) float64 {
	return min(max(latDeg, -89.999), 89.999) * math.Pi / 180
}

// ExtraterrestrialRadiation is Ra, the sun's energy on a horizontal surface
// outside the atmosphere, MJ m⁻² d⁻¹ (FAO-56 eq. 21). It is never negative, 0
// through a polar night, and 0 for a latitude that is NaN. Latitudes beyond the
// poles count as the pole.
func ExtraterrestrialRadiation(latDeg float64, dayOfYear int) float64 {
	if math.IsNaN(latDeg) {
		return 0
	}
	lat := radians(latDeg)
	dr, dec := sunGeometry(dayOfYear)
	ws := sunsetAngle(lat, dec)
	ra := 24 * 60 / math.Pi * solarConstant * dr *
		(ws*math.Sin(lat)*math.Sin(dec) + math.Cos(lat)*math.Cos(dec)*math.Sin(ws))
	return max(ra, 0)
}

// DaylightHours is N, hours from sunrise to sunset (FAO-56 eq. 34), 0 in a
// polar night and 24 in a polar day. A NaN latitude gives 0.
func DaylightHours(latDeg float64, dayOfYear int) float64 {
	if math.IsNaN(latDeg) {
		return 0
	}
	_, dec := sunGeometry(dayOfYear)
	return 24 / math.Pi * sunsetAngle(radians(latDeg), dec)
}
