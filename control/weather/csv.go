package weather

import (
	"fmt"
	"io"
	"time"

	"fabricpot/control/garden"
)

// stationWindM is where weather stations measure wind: 10 m over open ground
// (WMO Guide to Instruments and Methods of Observation, No. 8; from memory).
const stationWindM = 10

// dailyColumns are the columns that are read, with the span a value must lie
// in. The spans are somewhat wider than any weather on record.
func dailyColumns() []column[garden.DayWeather] {
	type d = garden.DayWeather
	type v = garden.Measured
	return []column[d]{
		{"precipitation", "mm", 0, 2000, true, func(d *d, v v) { d.RainMM = v }},
		{"temp_max", "°C", -90, 60, true, func(d *d, v v) { d.TMaxC = v }},
		{"temp_min", "°C", -90, 60, true, func(d *d, v v) { d.TMinC = v }},
		{"wind", "m/s", 0, 70, true, func(d *d, v v) { d.WindMS = v }},
		{"wind_height", "m", 0.5, 200, false, func(d *d, v v) { d.WindHeightM = v.Or(stationWindM) }},
		{"solar", "MJ/m² a day", 0, 50, false, func(d *d, v v) { d.SolarMJ = v }},
		{"sun_hours", "h", 0, 24, false, func(d *d, v v) { d.SunHours = v }},
		{"rh_min", "%", 0, 100, false, func(d *d, v v) { d.RHMin = v }},
		{"rh_max", "%", 0, 100, false, func(d *d, v v) { d.RHMax = v }},
		{"rh_mean", "%", 0, 100, false, func(d *d, v v) { d.RHMean = v }},
		{"dew_point", "°C", -90, 40, false, func(d *d, v v) { d.DewC = v }},
	}
}

// ReadDaily reads daily weather from a CSV with a header row:
//
//	date, precipitation (mm), temp_max, temp_min (°C), wind (m/s)
//
// and, optionally, wind_height (m, else 10), solar (MJ m⁻² d⁻¹), sun_hours (h),
// rh_min, rh_max, rh_mean (%), dew_point (°C). Columns stand in any order; other
// columns are passed over with a warning ("weather" and "location" without).
// Dates are YYYY-MM-DD, one row a day without gaps, and mean midnight in loc
// (nil is UTC). An empty field is a value that was not measured. A byte order
// mark, CRLF and lines that begin with # are fine.
//
// An error names the place as name:line:column, what was found and what was
// expected. Warnings are in words for a person, such as that temperatures look
// like °F.
func ReadDaily(r io.Reader, name string, loc *time.Location) ([]garden.DayWeather, []string, error) {
	if loc == nil {
		loc = time.UTC
	}
	s, err := openSheet(r, name, "date", dailyColumns())
	if err != nil {
		return nil, nil, err
	}
	var days []garden.DayWeather
	var last time.Time
	err = s.rows(func(key string, fill func(*garden.DayWeather) error) error {
		date, err := time.Parse(time.DateOnly, key)
		if err != nil || outOfTime(date) {
			return s.at(s.keyAt, "date %.40q, expected YYYY-MM-DD between 1800 and 2200", key)
		}
		if gap := date.Sub(last); len(days) > 0 && gap != 24*time.Hour {
			return s.at(s.keyAt, "%s", gapError(gap, date))
		}
		last = date
		day := garden.DayWeather{Date: midnight(date, loc), WindHeightM: stationWindM}
		if err := fill(&day); err != nil {
			return err
		}
		if day.TMinC.Known && day.TMaxC.Known && day.TMinC.Value > day.TMaxC.Value {
			return s.at(s.field("temp_min"), "temp_min %v is over temp_max %v", day.TMinC.Value, day.TMaxC.Value)
		}
		if day.RHMin.Known && day.RHMax.Known && day.RHMin.Value > day.RHMax.Value {
			return s.at(s.field("rh_min"), "rh_min %v is over rh_max %v", day.RHMin.Value, day.RHMax.Value)
		}
		days = append(days, day)
		return nil
	})
	if err != nil {
		return nil, nil, err
	}
	if len(days) == 0 {
		return nil, nil, fmt.Errorf("%s:%d:1: no days under the header, expected one row a day", name, s.headerLine+1)
	}
	return days, append(s.warnings, looksOdd(name, days)...), nil
}

func outOfTime(t time.Time) bool { return t.Year() < 1800 || t.Year() > 2200 }

// midnight is the day's first moment in loc. Where clocks go forward at
// midnight the day begins at one.
func midnight(date time.Time, loc *time.Location) time.Time {
	y, m, d := date.Date()
	t := time.Date(y, m, d, 0, 0, 0, 0, loc)
	if t.Day() != d {
		t = t.Add(time.Hour)
	}
	return t
}

func gapError(gap time.Duration, date time.Time) string {
	on := date.Format(time.DateOnly)
	switch {
	case gap == 0:
		return fmt.Sprintf("date %s stands twice; keep one place's rows, one a day", on)
	case gap < 0:
		return fmt.Sprintf("date %s goes back in time; sort the rows", on)
	}
	return fmt.Sprintf("date %s leaves a gap of %d days; add the days, with empty fields for what was not measured", on, int(gap.Hours()/24)-1)
}
