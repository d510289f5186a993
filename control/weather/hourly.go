package weather

import (
	"fmt"
	"math"
	"time"

	"fabricpot/control/garden"
)

// HourWeather is the weather of an hour, or of a shorter period, within one
// day. Anything but the time may be absent.
type HourWeather struct {
	// DayOfYear is 1..366.
	DayOfYear int
	// StartH and EndH are hours of a clock, 0..24, at most an hour apart.
	StartH, EndH float64
	// ClockLonDeg is the meridian the clock keeps, east-positive: 15° for each
	// hour it is ahead of Greenwich. Summer time counts.
	ClockLonDeg float64

	TempC   garden.Measured // °C, mean
	RH      garden.Measured // %
	DewC    garden.Measured // °C
	WindMS  garden.Measured // m/s at WindHeightM
	SolarMJ garden.Measured // MJ m⁻² over the period
	// WindHeightM is the height of the wind measurement, m; 0 means 2 m.
	WindHeightM float64
	// DayMinC and DayMaxC are the day's extremes, from which missing values
	// are estimated, °C.
	DayMinC, DayMaxC garden.Measured
	// CloudRatio is Rs/Rso of the last hours with sun, for the night.
	CloudRatio garden.Measured
}

// HourAt is an hour without measurements that begins at a time, by that time's
// own clock.
func HourAt(start time.Time, length time.Duration) HourWeather {
	_, offset := start.Zone()
	from := float64(start.Hour()) + float64(start.Minute())/60 + float64(start.Second())/3600
	return HourWeather{DayOfYear: start.YearDay(), StartH: from, EndH: from + length.Hours(), ClockLonDeg: float64(offset) / 240}
}

const (
	// lowSun is the sine of 0.3 rad: under that height Rs/Rso says little about
	// cloud (ASCE-EWRI 2005, from memory).
	lowSun = 0.29552
	// hottestH is the clock hour by the sun at which a day is warmest. Common
	// practice, no source.
	hottestH = 15
)

// hourConstants are what tells one standardized hourly equation from another.
type hourConstants struct {
	sigma                float64
	cdDay, cdNight       float64
	slope                func(float64) float64
	nightByNet, carryLow bool
	method               string
}

// Hourly is FAO-56 Penman-Monteith for an hour (eq. 53), mm over the period:
// 37 for the numerator, 0.34 for the wind day and night, soil heat 0.1 Rn while
// the sun is up and 0.5 Rn when not (eq. 45, 46). What is absent is estimated
// as in Daily, from the day's extremes or the usual climate; the night's cloud
// is that of the last sun. It refuses what Daily refuses, and a period that is
// not within a day or longer than an hour.
func Hourly(p Place, h HourWeather) (ETo, error) {
	return penmanHour(p, h, hourConstants{sigma: sigmaFAOHour, cdDay: 0.34, cdNight: 0.34, slope: SlopeKPa, method: FAO56Hourly})
}

// ASCEHourly is the ASCE-EWRI 2005 standardized short reference for an hour:
// Cn 37, Cd 0.24 and G = 0.1 Rn where Rn > 0, else Cd 0.96 and G = 0.5 Rn. While
// the sun stands under 0.3 rad, CloudRatio stands for Rs/Rso. Estimates and
// refusals are as in Hourly. Its constants are from memory.
func ASCEHourly(p Place, h HourWeather) (ETo, error) {
	return penmanHour(p, h, hourConstants{sigma: sigmaASCEHour, cdDay: 0.24, cdNight: 0.96, slope: asceSlope,
		nightByNet: true, carryLow: true, method: ASCEShortH})
}

// Series reckons consecutive hours with one of Hourly and ASCEHourly, and hands
// the last sunny hour's cloud on to the night. An hour's own CloudRatio wins.
// The error names the hour's place in the series, counted from 0.
func Series(p Place, hours []HourWeather, method func(Place, HourWeather) (ETo, error)) ([]ETo, error) {
	out := make([]ETo, 0, len(hours))
	var last garden.Measured
	for i, h := range hours {
		if !h.CloudRatio.Known {
			h.CloudRatio = last
		}
		e, err := method(p, h)
		if err != nil {
			return nil, fmt.Errorf("weather: hour %d: %w", i, err)
		}
		if e.SunHigh && h.SolarMJ.Known {
			last = garden.Known(e.CloudRatio)
		}
		out = append(out, e)
	}
	return out, nil
}

func penmanHour(p Place, h HourWeather, k hourConstants) (ETo, error) {
	if err := firstError(p.check(), checkHour(h)); err != nil {
		return ETo{}, err
	}
	sun := sunOver(p.LatDeg, p.LonDeg, h.ClockLonDeg, h.DayOfYear, h.StartH, h.EndH)
	e := ETo{Method: k.method, RaMJ: sun.ra, RsoMJ: ClearSkyMJ(sun.ra, p.ElevationM), SunHigh: sun.sinMid > lowSun}
	tmin, tmax := e.hourTemperature(p, h)
	e.EsKPa = SaturationKPa(e.TMeanC)
	e.hourVapour(h, tmin)
	if err := e.hourSolar(p, h, tmin, tmax, k.carryLow); err != nil {
		return ETo{}, err
	}
	e.wind(h.WindMS, h.WindHeightM)
	e.RnsMJ = NetShortwaveMJ(e.RsMJ)
	length := h.EndH - h.StartH
	e.RnlMJ = netLongwave(k.sigma*fourth(e.TMeanC)*length, e.EaKPa, e.CloudRatio)
	e.RnMJ = e.RnsMJ - e.RnlMJ
	day := sun.daytime
	if k.nightByNet {
		day = e.RnMJ > 0
	}
	c := constants{cn: 37 * length, cd: k.cdDay, slope: k.slope}
	e.GMJ = 0.1 * e.RnMJ
	if !day {
		c.cd, e.GMJ = k.cdNight, 0.5*e.RnMJ
	}
	e.combine(p, c)
	return e, nil
}

func checkHour(h HourWeather) error {
	if h.DayOfYear < 1 || h.DayOfYear > 366 {
		return fmt.Errorf("weather: day of the year is %d, expected 1 to 366", h.DayOfYear)
	}
	if err := firstError(
		within("start of the period", h.StartH, 0, 24, "h"),
		within("end of the period", h.EndH, 0, 24.0001, "h"),
		within("clock's meridian", h.ClockLonDeg, -195, 225, "°"),
		measured("temperature", h.TempC, -90, 60, "°C"),
		measured("humidity", h.RH, 0, 100, "%"),
		measured("dew point", h.DewC, -90, 40, "°C"),
		measured("wind", h.WindMS, 0, 70, "m/s"),
		measured("solar radiation", h.SolarMJ, 0, 6, "MJ/m² an hour"),
		measured("the day's minimum temperature", h.DayMinC, -90, 60, "°C"),
		measured("the day's maximum temperature", h.DayMaxC, -90, 60, "°C"),
		measured("cloud ratio", h.CloudRatio, 0, 1.5, "of a clear sky"),
		windHeight(h.WindHeightM),
	); err != nil {
		return err
	}
	if length := h.EndH - h.StartH; length <= 0 || length > 1.0001 {
		return fmt.Errorf("weather: the period runs from %v to %v h, expected an hour or less, forward within one day", h.StartH, h.EndH)
	}
	if h.DayMinC.Known && h.DayMaxC.Known && h.DayMinC.Value > h.DayMaxC.Value {
		return fmt.Errorf("weather: minimum temperature %v °C is over the maximum %v °C; exchange them", h.DayMinC.Value, h.DayMaxC.Value)
	}
	if h.DewC.Known && h.TempC.Known && h.DewC.Value > h.TempC.Value+1 {
		return fmt.Errorf("weather: dew point %v °C is over the temperature %v °C, which air can't be", h.DewC.Value, h.TempC.Value)
	}
	return nil
}

// hourTemperature settles the hour's temperature and returns the day's
// extremes, measured or usual.
func (e *ETo) hourTemperature(p Place, h HourWeather) (tmin, tmax float64) {
	date := time.Date(2001, 1, h.DayOfYear, 0, 0, 0, 0, time.UTC)
	tmin, tmax, est := temperatures(p, garden.DayWeather{Date: date, TMinC: h.DayMinC, TMaxC: h.DayMaxC})
	if h.TempC.Known {
		e.TMeanC = h.TempC.Value
		return tmin, tmax
	}
	if est == "" {
		est = EstHourTemp
	}
	e.note(est)
	bySun := (h.StartH+h.EndH)/2 + (p.LonDeg-h.ClockLonDeg)/15
	e.TMeanC = (tmin+tmax)/2 + (tmax-tmin)/2*math.Cos(2*math.Pi*(bySun-hottestH)/24)
	return tmin, tmax
}

// hourVapour is eq. 54 with its substitutes.
func (e *ETo) hourVapour(h HourWeather, tmin float64) {
	switch {
	case h.DewC.Known:
		e.EaKPa = SaturationKPa(h.DewC.Value)
	case h.RH.Known:
		e.EaKPa = e.EsKPa * h.RH.Value / 100
	default:
		e.EaKPa = SaturationKPa(tmin)
		e.note(EstHumidity)
	}
	e.EaKPa = min(e.EaKPa, e.EsKPa)
}

// hourSolar settles Rs and the ratio that tells cloud.
func (e *ETo) hourSolar(p Place, h HourWeather, tmin, tmax float64, carryLow bool) error {
	switch {
	case h.SolarMJ.Known:
		// Broken cloud reflects: an hour can pass what reaches the atmosphere
		// for minutes, hardly for long. Twilight counts for nothing in Ra.
		if h.SolarMJ.Value > 1.1*e.RaMJ+0.15 {
			return fmt.Errorf("weather: solar radiation %v MJ/m² from %v to %v h is over the %.2f that reach the atmosphere then; are unit, clock and longitude right?",
				h.SolarMJ.Value, h.StartH, h.EndH, e.RaMJ)
		}
		e.RsMJ = h.SolarMJ.Value
	default:
		e.RsMJ = min(SolarFromRange(e.RaMJ, tmin, tmax, p.Coastal), e.RsoMJ)
		if e.RaMJ > 0 {
			e.note(EstRange)
		}
	}
	ratio := e.RsoMJ > 0.05
	if carryLow {
		ratio = e.SunHigh
	}
	switch {
	case ratio:
		e.CloudRatio = e.RsMJ / e.RsoMJ
	case h.CloudRatio.Known:
		e.CloudRatio = h.CloudRatio.Value
	default:
		e.CloudRatio = usualCloud
		e.note(EstCloud)
	}
	e.CloudRatio = min(max(e.CloudRatio, minCloudRatio), 1)
	return nil
}
