package weather

import (
	"fmt"
	"time"

	"fabricpot/control/garden"
)

// Place is where the weather is.
type Place struct {
	// LatDeg is north-positive, LonDeg east-positive, degrees. LonDeg matters
	// for hourly values only.
	LatDeg, LonDeg float64
	// ElevationM is metres above the sea.
	ElevationM float64
	// Coastal picks the coefficient of radiation from temperature range.
	Coastal bool
}

// PlaceOf is a garden's place.
func PlaceOf(s garden.Site) Place {
	return Place{LatDeg: s.LatDeg, LonDeg: s.LonDeg, ElevationM: s.ElevationM, Coastal: s.Coastal}
}

// DayNumbered is the day of a year with a number from 1. It refuses 366 in a
// common year.
func DayNumbered(year, dayOfYear int) (time.Time, error) {
	t := time.Date(year, 1, 1, 0, 0, 0, 0, time.UTC).AddDate(0, 0, dayOfYear-1)
	if dayOfYear < 1 || t.Year() != year {
		return time.Time{}, fmt.Errorf("weather: day %d is not in the year %d, expected 1 to %d",
			dayOfYear, year, time.Date(year, 12, 31, 0, 0, 0, 0, time.UTC).YearDay())
	}
	return t, nil
}

func (p Place) check() error {
	return firstError(
		within("latitude", p.LatDeg, -90, 90, "°"),
		within("longitude", p.LonDeg, -180, 180, "°"),
		within("elevation", p.ElevationM, -430, 9000, "m"),
	)
}

// checkDay refuses what no weather can be; absent values pass.
func checkDay(d garden.DayWeather) error {
	if d.Date.IsZero() {
		return fmt.Errorf("weather: the day has no date, and the sun depends on it")
	}
	if err := firstError(
		measured("minimum temperature", d.TMinC, -90, 60, "°C"),
		measured("maximum temperature", d.TMaxC, -90, 60, "°C"),
		measured("rain", d.RainMM, 0, 2000, "mm"),
		measured("wind", d.WindMS, 0, 70, "m/s"),
		measured("solar radiation", d.SolarMJ, 0, 50, "MJ/m² a day"),
		measured("sunshine", d.SunHours, 0, 24, "h"),
		measured("minimum humidity", d.RHMin, 0, 100, "%"),
		measured("maximum humidity", d.RHMax, 0, 100, "%"),
		measured("mean humidity", d.RHMean, 0, 100, "%"),
		measured("dew point", d.DewC, -90, 40, "°C"),
		windHeight(d.WindHeightM),
	); err != nil {
		return err
	}
	if d.TMinC.Known && d.TMaxC.Known && d.TMinC.Value > d.TMaxC.Value {
		return fmt.Errorf("weather: minimum temperature %v °C is over the maximum %v °C; exchange them", d.TMinC.Value, d.TMaxC.Value)
	}
	if d.RHMin.Known && d.RHMax.Known && d.RHMin.Value > d.RHMax.Value {
		return fmt.Errorf("weather: minimum humidity %v %% is over the maximum %v %%; exchange them", d.RHMin.Value, d.RHMax.Value)
	}
	if d.DewC.Known && d.TMaxC.Known && d.DewC.Value > d.TMaxC.Value+1 {
		return fmt.Errorf("weather: dew point %v °C is over the day's maximum %v °C, which air can't be", d.DewC.Value, d.TMaxC.Value)
	}
	return nil
}

func windHeight(h float64) error {
	if h == 0 {
		return nil
	}
	return within("height of the wind measurement", h, 0.5, 200, "m")
}

func measured(what string, v garden.Measured, lo, hi float64, unit string) error {
	if !v.Known {
		return nil
	}
	return within(what, v.Value, lo, hi, unit)
}

func within(what string, v, lo, hi float64, unit string) error {
	if !garden.Finite(v) || v < lo || v > hi {
		return fmt.Errorf("weather: %s is %v, expected %v to %v %s", what, v, lo, hi, unit)
	}
	return nil
}

func firstError(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}
