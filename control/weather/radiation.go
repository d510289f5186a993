package weather

import "math"

const (
	// kRsInterior and kRsCoast are kRs of eq. 50, °C^-0.5.
	kRsInterior, kRsCoast = 0.16, 0.19
	albedo                = 0.23
	// minCloudRatio and 1 bound Rs/Rso in the long wave equation: under dense
	// cloud and over a clear sky it means nothing more.
	minCloudRatio = 0.3
	// Stefan and Boltzmann's constant as each standard prints it, MJ m⁻² K⁻⁴
	// per day and per hour.
	sigmaFAODay, sigmaFAOHour   = 4.903e-9, 2.043e-10
	sigmaASCEDay, sigmaASCEHour = 4.901e-9, 2.042e-10
)

// ClearSkyMJ is Rso, the radiation under a clear sky, from Ra in the same unit
// and an elevation in m (eq. 37).
func ClearSkyMJ(raMJ, elevationM float64) float64 { return (0.75 + 2e-5*elevationM) * raMJ }

// SolarFromSunHours is Rs from hours of bright sunshine n of N possible
// (Ångström; eq. 35 with its default coefficients).
func SolarFromSunHours(raMJ, n, daylightH float64) float64 {
	if daylightH <= 0 {
		return 0
	}
	return (0.25 + 0.50*min(max(n/daylightH, 0), 1)) * raMJ
}

// SolarFromRange is Rs from a day's temperature range in °C (Hargreaves; eq.
// 50), with kRs 0.16 inland and 0.19 on a coast.
func SolarFromRange(raMJ, tminC, tmaxC float64, coastal bool) float64 {
	k := kRsInterior
	if coastal {
		k = kRsCoast
	}
	return k * math.Sqrt(max(tmaxC-tminC, 0)) * raMJ
}

// NetShortwaveMJ is Rns, what grass does not reflect (eq. 38).
func NetShortwaveMJ(rsMJ float64) float64 { return (1 - albedo) * rsMJ }

// NetLongwaveDayMJ is Rnl of a day, MJ m⁻² d⁻¹ (eq. 39), from its temperature
// extremes in °C, vapour pressure in kPa and Rs/Rso, bounded to 0.3..1.
func NetLongwaveDayMJ(tminC, tmaxC, eaKPa, cloudRatio float64) float64 {
	return netLongwave(sigmaFAODay*(fourth(tminC)+fourth(tmaxC))/2, eaKPa, cloudRatio)
}

// netLongwave takes σT⁴ of the period.
func netLongwave(sigmaT4, eaKPa, cloudRatio float64) float64 {
	f := 1.35*min(max(cloudRatio, minCloudRatio), 1) - 0.35
	return sigmaT4 * (0.34 - 0.14*math.Sqrt(max(eaKPa, 0))) * f
}

// fourth is the fourth power of a temperature in K, from °C.
func fourth(tempC float64) float64 {
	k := tempC + 273.16
	return k * k * k * k
}

// solarHour is the sun over a period within a day.
type solarHour struct {
	ra      float64 // MJ m⁻² over the period
	sinMid  float64 // sine of the sun's height at the middle
	daytime bool
}

// sunOver reckons Ra of a period (eq. 28-33). startH and endH are clock hours,
// lonDeg and clockLonDeg east-positive: FAO-56 counts both westward, which only
// turns their difference's sign. The part of the period before sunrise and
// after sunset counts nothing.
func sunOver(latDeg, lonDeg, clockLonDeg float64, dayOfYear int, startH, endH float64) solarHour {
	lat := radians(latDeg)
	dr, dec := sunGeometry(dayOfYear)
	ws := sunsetAngle(lat, dec)
	b := 2 * math.Pi * float64(dayOfYear-81) / 364
	sc := 0.1645*math.Sin(2*b) - 0.1255*math.Cos(b) - 0.025*math.Sin(b)
	mid := math.Pi / 12 * ((startH+endH)/2 + 0.06667*(lonDeg-clockLonDeg) + sc - 12)
	mid = math.Remainder(mid, 2*math.Pi)
	half := math.Pi * (endH - startH) / 24
	h := solarHour{sinMid: math.Sin(lat)*math.Sin(dec) + math.Cos(lat)*math.Cos(dec)*math.Cos(mid)}
	// A period round the clock's midnight may meet the sun on both sides of it.
	for _, turn := range [...]float64{-2 * math.Pi, 0, 2 * math.Pi} {
		w1, w2 := max(mid+turn-half, -ws), min(mid+turn+half, ws)
		if w2 > w1 {
			h.ra += 12 * 60 / math.Pi * solarConstant * dr *
				((w2-w1)*math.Sin(lat)*math.Sin(dec) + math.Cos(lat)*math.Cos(dec)*(math.Sin(w2)-math.Sin(w1)))
		}
	}
	h.ra = max(h.ra, 0)
	h.daytime = h.ra > 0
	return h
}

// HourRadiation is Ra over a period within a day, MJ m⁻² (eq. 28-33). Hours are
// those of a clock whose meridian is clockLonDeg; both longitudes east-positive.
func HourRadiation(latDeg, lonDeg, clockLonDeg float64, dayOfYear int, startH, endH float64) float64 {
	return sunOver(latDeg, lonDeg, clockLonDeg, dayOfYear, startH, endH).ra
}
