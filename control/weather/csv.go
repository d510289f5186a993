package weather

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"fabricpot/control/garden"
)

const (
	maxFileBytes = 32 << 20
	maxLineBytes = 4096
	// stationWindM is where weather stations measure wind: 10 m over open
	// ground (WMO Guide to Instruments and Methods of Observation, No. 8; from
	// memory).
	stationWindM = 10
)

// column is one column of the daily file.
type column struct {
	name     string
	unit     string
	lo, hi   float64
	required bool
	set      func(*garden.DayWeather, garden.Measured)
}

// dailyColumns are the columns that are read, with the span a value must lie
// in. The spans are somewhat wider than any weather on record.
func dailyColumns() []column {
	return []column{
		{"precipitation", "mm", 0, 2000, true, func(d *garden.DayWeather, v garden.Measured) { d.RainMM = v }},
		{"temp_max", "°C", -90, 60, true, func(d *garden.DayWeather, v garden.Measured) { d.TMaxC = v }},
		{"temp_min", "°C", -90, 60, true, func(d *garden.DayWeather, v garden.Measured) { d.TMinC = v }},
		{"wind", "m/s", 0, 70, true, func(d *garden.DayWeather, v garden.Measured) { d.WindMS = v }},
		{"wind_height", "m", 0.5, 200, false, func(d *garden.DayWeather, v garden.Measured) { d.WindHeightM = v.Or(stationWindM) }},
		{"solar", "MJ/m² a day", 0, 50, false, func(d *garden.DayWeather, v garden.Measured) { d.SolarMJ = v }},
		{"sun_hours", "h", 0, 24, false, func(d *garden.DayWeather, v garden.Measured) { d.SunHours = v }},
		{"rh_min", "%", 0, 100, false, func(d *garden.DayWeather, v garden.Measured) { d.RHMin = v }},
		{"rh_max", "%", 0, 100, false, func(d *garden.DayWeather, v garden.Measured) { d.RHMax = v }},
		{"rh_mean", "%", 0, 100, false, func(d *garden.DayWeather, v garden.Measured) { d.RHMean = v }},
		{"dew_point", "°C", -90, 40, false, func(d *garden.DayWeather, v garden.Measured) { d.DewC = v }},
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
	src, err := readBounded(r, name)
	if err != nil {
		return nil, nil, err
	}
	in := csv.NewReader(bytes.NewReader(src))
	in.Comment = '#'
	in.FieldsPerRecord = -1
	in.ReuseRecord = true
	t := &dailyTable{name: name, loc: loc, in: in}
	if err := t.header(); err != nil {
		return nil, nil, err
	}
	for {
		rec, err := in.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, nil, t.syntax(err)
		}
		if err := t.row(rec); err != nil {
			return nil, nil, err
		}
	}
	if len(t.days) == 0 {
		return nil, nil, fmt.Errorf("%s:%d:1: no days under the header, expected one row a day", name, t.headerLine+1)
	}
	return t.days, append(t.warnings, looksOdd(name, t.days)...), nil
}

// readBounded reads the whole file and refuses one, or a line, that no weather
// table would have, before anything parses it.
func readBounded(r io.Reader, name string) ([]byte, error) {
	src, err := io.ReadAll(io.LimitReader(r, maxFileBytes+1))
	if err != nil {
		return nil, fmt.Errorf("%s: reading weather: %w", name, err)
	}
	if len(src) > maxFileBytes {
		return nil, fmt.Errorf("%s:1:1: the file is over %d MB, expected daily weather", name, maxFileBytes>>20)
	}
	src = bytes.TrimPrefix(src, []byte("\ufeff"))
	line, from := 1, 0
	for i, b := range src {
		if b == 0 {
			return nil, fmt.Errorf("%s:%d:%d: a NUL character: this is no text file", name, line, i-from+1)
		}
		if b == '\n' {
			line, from = line+1, i+1
		}
		if i-from >= maxLineBytes {
			return nil, fmt.Errorf("%s:%d:%d: the line is over %d characters, expected one day's values", name, line, maxLineBytes+1, maxLineBytes)
		}
	}
	return src, nil
}

// dailyTable is the state of one reading.
type dailyTable struct {
	name       string
	loc        *time.Location
	in         *csv.Reader
	date       int      // index of the date column
	columns    []column // by field; set is nil where the field is not used
	headerLine int
	last       time.Time // the last row's civil date
	days       []garden.DayWeather
	warnings   []string
}

func (t *dailyTable) at(field int, format string, args ...any) error {
	line, col := t.in.FieldPos(field)
	return fmt.Errorf("%s:%d:%d: %s", t.name, line, col, fmt.Sprintf(format, args...))
}

func (t *dailyTable) syntax(err error) error {
	var p *csv.ParseError
	if errors.As(err, &p) {
		return fmt.Errorf("%s:%d:%d: %w", t.name, p.Line, p.Column, p.Err)
	}
	return fmt.Errorf("%s: reading weather: %w", t.name, err)
}

func (t *dailyTable) header() error {
	rec, err := t.in.Read()
	if errors.Is(err, io.EOF) {
		return fmt.Errorf("%s:1:1: the file is empty, expected a header with date, precipitation, temp_max, temp_min, wind", t.name)
	}
	if err != nil {
		return t.syntax(err)
	}
	t.headerLine, _ = t.in.FieldPos(0)
	known := dailyColumns()
	t.date = -1
	t.columns = make([]column, len(rec))
	var found []string
	for i, field := range rec {
		name := strings.ToLower(strings.TrimSpace(field))
		if slices.Contains(found, name) {
			return t.at(i, "column %.40q stands twice in the header", name)
		}
		found = append(found, name)
		k := slices.IndexFunc(known, func(c column) bool { return c.name == name })
		switch {
		case name == "date":
			t.date = i
		case k >= 0:
			t.columns[i] = known[k]
		case name == "weather" || name == "location":
		default:
			line, col := t.in.FieldPos(i)
			t.warnings = append(t.warnings, fmt.Sprintf("%s:%d:%d: column %.40q is not used", t.name, line, col, name))
		}
	}
	var missing []string
	if t.date < 0 {
		missing = append(missing, "date")
	}
	for _, c := range known {
		if c.required && !slices.Contains(found, c.name) {
			missing = append(missing, c.name)
		}
	}
	if missing != nil {
		return t.at(0, "the header has no column %s; it has %.200s", strings.Join(missing, ", "), strings.Join(found, ", "))
	}
	return nil
}

func (t *dailyTable) row(rec []string) error {
	if len(rec) != len(t.columns) {
		return t.at(0, "%d values, the header has %d columns", len(rec), len(t.columns))
	}
	date, err := time.Parse(time.DateOnly, strings.TrimSpace(rec[t.date]))
	if err != nil || date.Year() < 1800 || date.Year() > 2200 {
		return t.at(t.date, "date %.40q, expected YYYY-MM-DD between 1800 and 2200", rec[t.date])
	}
	y, m, d := date.Date()
	day := garden.DayWeather{Date: time.Date(y, m, d, 0, 0, 0, 0, t.loc), WindHeightM: stationWindM}
	if day.Date.Day() != d {
		// Clocks went forward at midnight: the day begins at one.
		day.Date = day.Date.Add(time.Hour)
	}
	if gap := date.Sub(t.last); len(t.days) > 0 && gap != 24*time.Hour {
		return t.at(t.date, "%s", gapError(gap, date))
	}
	t.last = date
	for i, field := range rec {
		c := t.columns[i]
		if c.set == nil {
			continue
		}
		v, err := c.parse(field)
		if err != nil {
			return t.at(i, "%s", err)
		}
		c.set(&day, v)
	}
	if day.TMinC.Known && day.TMaxC.Known && day.TMinC.Value > day.TMaxC.Value {
		return t.at(t.field("temp_min"), "temp_min %v is over temp_max %v", day.TMinC.Value, day.TMaxC.Value)
	}
	if day.RHMin.Known && day.RHMax.Known && day.RHMin.Value > day.RHMax.Value {
		return t.at(t.field("rh_min"), "rh_min %v is over rh_max %v", day.RHMin.Value, day.RHMax.Value)
	}
	t.days = append(t.days, day)
	return nil
}

func (t *dailyTable) field(name string) int {
	return slices.IndexFunc(t.columns, func(c column) bool { return c.name == name })
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

// parse reads one value. Empty is absent, never zero.
func (c column) parse(field string) (garden.Measured, error) {
	s := strings.TrimSpace(field)
	if s == "" {
		return garden.Measured{}, nil
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || !garden.Finite(v) {
		return garden.Measured{}, fmt.Errorf("%s %.40q, expected a number in %s, or nothing where it was not measured", c.name, s, c.unit)
	}
	if v < c.lo || v > c.hi {
		hint := ""
		if c.unit == "°C" && v > c.hi && v < 135 {
			hint = "; if the column is in °F, convert it"
		}
		return garden.Measured{}, fmt.Errorf("%s %v, expected %v to %v %s%s", c.name, v, c.lo, c.hi, c.unit, hint)
	}
	return garden.Known(v), nil
}
