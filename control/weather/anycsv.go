package weather

import (
	"bytes"
	"io"
	"slices"
	"strings"
	"time"

	"fabricpot/control/garden"
)

// ReadDays reads daily weather from a CSV of days or of hours, told apart by the
// key column of its header: date, as ReadDaily takes, or time, as ReadHourly does
// and DaysOf sums up.
func ReadDays(r io.Reader, name string, loc *time.Location) ([]garden.DayWeather, []string, error) {
	src, err := readBounded(r, name)
	if err != nil {
		return nil, nil, err
	}
	if !hourly(src) {
		return ReadDaily(bytes.NewReader(src), name, loc)
	}
	hours, warnings, err := ReadHourly(bytes.NewReader(src), name, loc)
	if err != nil {
		return nil, nil, err
	}
	return DaysOf(hours), warnings, nil
}

// hourly reports whether the header names hours and no days.
func hourly(src []byte) bool {
	for line := range bytes.Lines(src) {
		text := strings.TrimSpace(string(line))
		if text == "" || text[0] == '#' {
			continue
		}
		cols := strings.Split(strings.ToLower(text), ",")
		for i := range cols {
			cols[i] = strings.Trim(strings.TrimSpace(cols[i]), `"`)
		}
		return slices.Contains(cols, "time") && !slices.Contains(cols, "date")
	}
	return false
}
