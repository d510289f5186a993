package weather

import (
	"fmt"
	"io"
	"time"

	"fabricpot/control/garden"
)

// HourRow is one hour of a table.
type HourRow struct {
	// Start is when the hour begins, in the garden's zone.
	Start time.Time
	// RainMM is the hour's rain, mm.
	RainMM garden.Measured
	HourWeather
}

func hourlyColumns() []column[HourRow] {
	type h = HourRow
	type v = garden.Measured
	return []column[h]{
		{"temp", "°C", -90, 60, true, func(h *h, v v) { h.TempC = v }},
		{"rh", "%", 0, 100, false, func(h *h, v v) { h.RH = v }},
		{"dew_point", "°C", -90, 40, false, func(h *h, v v) { h.DewC = v }},
		{"wind", "m/s", 0, 70, false, func(h *h, v v) { h.WindMS = v }},
		{"wind_height", "m", 0.5, 200, false, func(h *h, v v) { h.WindHeightM = v.Or(stationWindM) }},
		{"solar", "MJ/m² an hour", 0, 6, false, func(h *h, v v) {
			if v.Known {
				h.SolarMJ = v
			}
		}},
		{"solar_w", "W/m²", 0, 1600, false, func(h *h, v v) {
			if v.Known {
				h.SolarMJ = garden.Known(v.Value * 0.0036)
			}
		}},
		{"precipitation", "mm", 0, 500, false, func(h *h, v v) { h.RainMM = v }},
	}
}

// ReadHourly reads hourly weather from a CSV with a header row: time, temp (°C)
// and, optionally, rh (%), dew_point (°C), wind (m/s), wind_height (m, else 10),
// solar (MJ m⁻² in the hour) or solar_w (mean W/m²), precipitation (mm). time
// is when the hour begins: RFC 3339 with its offset, or YYYY-MM-DD HH:MM in loc
// (nil is UTC), where the hour that summer time repeats can't be told and is
// refused. One row an hour, without gaps. All else is as in ReadDaily.
func ReadHourly(r io.Reader, name string, loc *time.Location) ([]HourRow, []string, error) {
	if loc == nil {
		loc = time.UTC
	}
	s, err := openSheet(r, name, "time", hourlyColumns())
	if err != nil {
		return nil, nil, err
	}
	var hours []HourRow
	err = s.rows(func(key string, fill func(*HourRow) error) error {
		start, err := parseHour(key, loc)
		if err != nil {
			return s.at(s.keyAt, "%s", err)
		}
		if n := len(hours); n > 0 {
			if gap := start.Sub(hours[n-1].Start); gap != time.Hour {
				return s.at(s.keyAt, "%s", hourGapError(gap, key))
			}
		}
		row := HourRow{Start: start, HourWeather: HourAt(start, time.Hour)}
		row.WindHeightM = stationWindM
		if err := fill(&row); err != nil {
			return err
		}
		if err := checkHour(row.HourWeather); err != nil {
			return s.at(s.keyAt, "%s", err)
		}
		hours = append(hours, row)
		return nil
	})
	if err != nil {
		return nil, nil, err
	}
	if len(hours) == 0 {
		return nil, nil, fmt.Errorf("%s:%d:1: no hours under the header, expected one row an hour", name, s.headerLine+1)
	}
	return hours, append(s.warnings, looksOdd(name, DaysOf(hours))...), nil
}

// parseHour reads the beginning of an hour. It must be a full hour of its own
// clock, so that no period reaches over midnight.
func parseHour(key string, loc *time.Location) (time.Time, error) {
	for _, layout := range []string{time.RFC3339, "2006-01-02T15:04Z07:00", "2006-01-02 15:04", "2006-01-02T15:04", "2006-01-02 15:04:05", "2006-01-02T15:04:05"} {
		t, err := time.ParseInLocation(layout, key, loc)
		if err != nil {
			continue
		}
		t = t.In(loc)
		if outOfTime(t) || t.Minute() != 0 || t.Second() != 0 || t.Nanosecond() != 0 {
			return time.Time{}, fmt.Errorf("time %.40q, expected a full hour between the years 1800 and 2200", key)
		}
		return t, nil
	}
	return time.Time{}, fmt.Errorf("time %.40q, expected YYYY-MM-DD HH:MM or RFC 3339", key)
}

func hourGapError(gap time.Duration, key string) string {
	switch {
	case gap == 0:
		return fmt.Sprintf("time %.40s stands twice; where summer time ends, write times with their offset", key)
	case gap < 0:
		return fmt.Sprintf("time %.40s goes back; sort the rows", key)
	case gap == 2*time.Hour:
		return fmt.Sprintf("time %.40s leaves out an hour; add it, with empty fields for what was not measured, or write times with their offset where summer time ends", key)
	}
	return fmt.Sprintf("time %.40s leaves a gap of %.0f hours; add them, with empty fields for what was not measured", key, gap.Hours()-1)
}

// wholeDay is how many hours of a day must be known for its extremes and sums
// to be the day's. Judgement: a few lost hours do not change them much.
const wholeDay = 22

// DaysOf sums hours up to civil days, in order. A quantity of which fewer than
// 22 hours are known stays absent for that day; hours that are missing from a
// sum are taken as the mean of the known ones.
func DaysOf(hours []HourRow) []garden.DayWeather {
	var out []garden.DayWeather
	for from := 0; from < len(hours); {
		to := from
		y, m, d := hours[from].Start.Date()
		for to < len(hours) {
			if ty, tm, td := hours[to].Start.Date(); ty != y || tm != m || td != d {
				break
			}
			to++
		}
		date := time.Date(y, m, d, 0, 0, 0, 0, time.UTC)
		out = append(out, dayOf(midnight(date, hours[from].Start.Location()), hours[from:to]))
		from = to
	}
	return out
}

func dayOf(date time.Time, hours []HourRow) garden.DayWeather {
	day := garden.DayWeather{Date: date, WindHeightM: hours[0].WindHeightM}
	temp := gather(hours, func(h HourRow) garden.Measured { return h.TempC })
	rh := gather(hours, func(h HourRow) garden.Measured { return h.RH })
	day.TMinC, day.TMaxC = temp.lowest(), temp.highest()
	day.RHMin, day.RHMax, day.RHMean = rh.lowest(), rh.highest(), rh.mean(1)
	day.DewC = gather(hours, func(h HourRow) garden.Measured { return h.DewC }).mean(1)
	day.WindMS = gather(hours, func(h HourRow) garden.Measured { return h.WindMS }).mean(1)
	n := float64(len(hours))
	day.SolarMJ = gather(hours, func(h HourRow) garden.Measured { return h.SolarMJ }).mean(n)
	day.RainMM = gather(hours, func(h HourRow) garden.Measured { return h.RainMM }).mean(n)
	return day
}

// gathered is a quantity over a day's hours.
type gathered struct {
	n           int
	sum, lo, hi float64
}

func gather(hours []HourRow, of func(HourRow) garden.Measured) (g gathered) {
	for _, h := range hours {
		v := of(h)
		if !v.Known {
			continue
		}
		if g.n == 0 {
			g.lo, g.hi = v.Value, v.Value
		}
		g.n++
		g.sum, g.lo, g.hi = g.sum+v.Value, min(g.lo, v.Value), max(g.hi, v.Value)
	}
	return g
}

func (g gathered) value(v float64) garden.Measured {
	if g.n < wholeDay {
		return garden.Measured{}
	}
	return garden.Known(v)
}

func (g gathered) lowest() garden.Measured  { return g.value(g.lo) }
func (g gathered) highest() garden.Measured { return g.value(g.hi) }

// mean is the mean times a factor: 1, or the number of hours for a sum.
func (g gathered) mean(times float64) garden.Measured {
	return g.value(g.sum / float64(max(g.n, 1)) * times)
}
