package weather

import (
	"fmt"
	"slices"

	"fabricpot/control/garden"
)

// Methods, as a result names them.
const (
	FAO56Daily  = "FAO-56 Penman-Monteith, daily"
	FAO56Hourly = "FAO-56 Penman-Monteith, hourly"
	ASCEShort   = "ASCE-EWRI 2005 short reference, daily"
	ASCEShortH  = "ASCE-EWRI 2005 short reference, hourly"
	Hargreaves  = "Hargreaves-Samani"
	// UsualClimate is Penman-Monteith on nothing but latitude, day and height.
	UsualClimate = "FAO-56 Penman-Monteith on the usual climate"
)

// Estimates that may stand in for a measurement, as a result lists them.
const (
	EstTemperature = "temperatures usual for the latitude and the day"
	EstMinimum     = "minimum temperature from the maximum and the usual span"
	EstHourTemp    = "temperature of the hour from the day's extremes"
	EstMaximum     = "maximum temperature from the minimum and the usual span"
	EstHumidity    = "humidity from the minimum temperature"
	EstHumidityRH  = "humidity from its daily mean"
	EstHumidityMax = "humidity from its daily maximum"
	EstSunHours    = "radiation from sunshine hours"
	EstRange       = "radiation from the temperature range"
	EstWind        = "wind taken as 2 m/s"
	EstCloud       = "cloud at night taken as usual"
	EstNoSun       = "cloud unknown where the sun does not rise"
)

const (
	// defaultWind is the world's mean at 2 m (FAO-56 chapter 3), m/s.
	defaultWind = 2.0
	// usualCloud is Rs/Rso where there is no sun to tell: between FAO-56's 0.4
	// to 0.6 (humid) and 0.7 to 0.8 (arid), from memory.
	usualCloud = 0.7
)

// ETo is reference evapotranspiration and what it was made of. Energies are in
// MJ m⁻² over the period, pressures in kPa.
type ETo struct {
	// MM is the result, mm over the period, never negative.
	MM float64
	// Method and Estimated say how it was found and what was not measured.
	Method    string
	Estimated []string

	TMeanC                 float64 // °C
	RaMJ, RsMJ, RsoMJ      float64 // extraterrestrial, solar, clear sky
	RnsMJ, RnlMJ, RnMJ     float64 // net short wave, net long wave, net
	GMJ                    float64 // into the soil
	EsKPa, EaKPa           float64 // saturation and actual vapour pressure
	PressureKPa            float64
	Delta, Gamma           float64 // kPa/°C
	U2                     float64 // wind at 2 m, m/s
	DaylightH              float64 // h, daily only
	RadiationMM, AirFlowMM float64 // the equation's two terms, mm
	// CloudRatio is Rs/Rso as the long wave equation used it.
	CloudRatio float64
	// SunHigh tells that the sun stood high enough over an hour for CloudRatio
	// to say something about cloud; hourly only.
	SunHigh bool
}

// constants are what tells one standardized equation from another.
type constants struct {
	sigma  float64
	cn, cd float64
	slope  func(float64) float64
	method string
}

// Daily is FAO-56 Penman-Monteith for one day (eq. 6), with whatever is absent
// estimated by FAO-56 chapter 3:
//
//   - humidity from the dew point, else both extremes, else the maximum, else
//     the mean, else dew point = minimum temperature (eq. 14, 17-19, 48);
//   - radiation as measured, else from sunshine hours (eq. 35), else from the
//     temperature range (eq. 50), never over a clear sky's;
//   - wind 2 m/s; soil heat flux 0;
//   - temperatures from UsualDay where there are none.
//
// It refuses values that are not finite or beyond any weather, minima over
// maxima, radiation over what reaches the atmosphere, and a day without a date.
func Daily(p Place, d garden.DayWeather) (ETo, error) {
	e, err := penmanDay(p, d, constants{sigma: sigmaFAODay, cn: 900, cd: 0.34, slope: SlopeKPa, method: FAO56Daily})
	if err == nil && slices.Contains(e.Estimated, EstTemperature) {
		e.Method = UsualClimate
	}
	return e, err
}

// ASCEDaily is the ASCE-EWRI 2005 standardized short reference for one day
// (Cn 900, Cd 0.34, G 0), with the same estimates and refusals as Daily. Its
// constants are from memory.
func ASCEDaily(p Place, d garden.DayWeather) (ETo, error) {
	return penmanDay(p, d, constants{sigma: sigmaASCEDay, cn: 900, cd: 0.34, slope: asceSlope, method: ASCEShort})
}

// HargreavesDaily is Hargreaves-Samani for one day (eq. 52): temperatures only,
// whatever else is known.
func HargreavesDaily(p Place, d garden.DayWeather) (ETo, error) {
	if err := firstError(p.check(), checkDay(d)); err != nil {
		return ETo{}, err
	}
	e := ETo{Method: Hargreaves, RaMJ: ExtraterrestrialRadiation(p.LatDeg, d.Date.YearDay()),
		DaylightH: DaylightHours(p.LatDeg, d.Date.YearDay())}
	tmin, tmax, est := temperatures(p, d)
	e.note(est)
	e.TMeanC = (tmin + tmax) / 2
	e.MM = HargreavesMM(tmin, tmax, e.RaMJ)
	return e, nil
}

func (e *ETo) note(estimate string) {
	if estimate != "" {
		e.Estimated = append(e.Estimated, estimate)
	}
}

func penmanDay(p Place, d garden.DayWeather, k constants) (ETo, error) {
	if err := firstError(p.check(), checkDay(d)); err != nil {
		return ETo{}, err
	}
	j := d.Date.YearDay()
	e := ETo{Method: k.method, RaMJ: ExtraterrestrialRadiation(p.LatDeg, j), DaylightH: DaylightHours(p.LatDeg, j)}
	tmin, tmax, est := temperatures(p, d)
	e.note(est)
	e.TMeanC = (tmin + tmax) / 2
	e.EsKPa = MeanSaturationKPa(tmin, tmax)
	e.EaKPa, est = vapour(d, tmin, tmax)
	e.note(est)
	if err := e.solarDay(p, d, tmin, tmax); err != nil {
		return ETo{}, err
	}
	e.wind(d.WindMS, d.WindHeightM)
	e.RnsMJ = NetShortwaveMJ(e.RsMJ)
	e.RnlMJ = netLongwave(k.sigma*(fourth(tmin)+fourth(tmax))/2, e.EaKPa, e.CloudRatio)
	e.RnMJ = e.RnsMJ - e.RnlMJ
	e.combine(p, k)
	return e, nil
}

// vapour is ea by the best way there is. It is never over saturation.
func vapour(d garden.DayWeather, tmin, tmax float64) (ea float64, estimated string) {
	switch {
	case d.DewC.Known:
		ea = SaturationKPa(d.DewC.Value)
	case d.RHMin.Known && d.RHMax.Known:
		ea = VapourFromExtremes(tmin, tmax, d.RHMin.Value, d.RHMax.Value)
	case d.RHMax.Known:
		ea, estimated = SaturationKPa(tmin)*d.RHMax.Value/100, EstHumidityMax
	case d.RHMean.Known:
		ea, estimated = VapourFromMean(tmin, tmax, d.RHMean.Value), EstHumidityRH
	default:
		ea, estimated = SaturationKPa(tmin), EstHumidity
	}
	return min(ea, MeanSaturationKPa(tmin, tmax)), estimated
}

// solarDay settles Rs, Rso and their ratio.
func (e *ETo) solarDay(p Place, d garden.DayWeather, tmin, tmax float64) error {
	e.RsoMJ = ClearSkyMJ(e.RaMJ, p.ElevationM)
	switch {
	case d.SolarMJ.Known:
		// A sensor on a clear day may read a little over the equation's sky.
		if d.SolarMJ.Value > 1.02*e.RaMJ+0.5 {
			return fmt.Errorf("weather: solar radiation %v MJ/m² on %s is over the %.1f that reach the atmosphere there; is the unit MJ/m² a day?",
				d.SolarMJ.Value, d.Date.Format("2006-01-02"), e.RaMJ)
		}
		e.RsMJ = d.SolarMJ.Value
	case d.SunHours.Known:
		if d.SunHours.Value > e.DaylightH+1 {
			return fmt.Errorf("weather: %v h of sunshine on %s, where the day has %.1f h",
				d.SunHours.Value, d.Date.Format("2006-01-02"), e.DaylightH)
		}
		e.RsMJ = min(SolarFromSunHours(e.RaMJ, d.SunHours.Value, e.DaylightH), e.RsoMJ)
		e.note(EstSunHours)
	default:
		e.RsMJ = min(SolarFromRange(e.RaMJ, tmin, tmax, p.Coastal), e.RsoMJ)
		e.note(EstRange)
	}
	if e.RsoMJ < 0.05 {
		e.CloudRatio = usualCloud
		e.note(EstNoSun)
		return nil
	}
	e.CloudRatio = min(max(e.RsMJ/e.RsoMJ, minCloudRatio), 1)
	return nil
}

func (e *ETo) wind(speed garden.Measured, height float64) {
	if !speed.Known {
		e.U2 = defaultWind
		e.note(EstWind)
		return
	}
	e.U2 = WindAt2(speed.Value, height)
}

// combine is the standardized Penman-Monteith equation (FAO-56 eq. 6 and 53;
// ASCE-EWRI eq. 1) on what e holds: 0.408 is 1/λ as both print it.
func (e *ETo) combine(p Place, k constants) {
	e.PressureKPa = PressureKPa(p.ElevationM)
	e.Gamma = PsychrometricKPa(e.PressureKPa)
	e.Delta = k.slope(e.TMeanC)
	den := e.Delta + e.Gamma*(1+k.cd*e.U2)
	e.RadiationMM = 0.408 * e.Delta * (e.RnMJ - e.GMJ) / den
	e.AirFlowMM = e.Gamma * k.cn / (e.TMeanC + 273) * e.U2 * (e.EsKPa - e.EaKPa) / den
	e.MM = max(e.RadiationMM+e.AirFlowMM, 0)
}

// asceSlope is Δ with the constant ASCE-EWRI prints, 2503, kPa/°C.
func asceSlope(tempC float64) float64 {
	return 2503 / 0.6108 * SaturationKPa(tempC) / ((tempC + 237.3) * (tempC + 237.3))
}
