package notify

import (
	"fmt"
	"time"

	"github.com/DataDog/datadog-agent/pkg/template/text"
)

// methods are those that a body template can call: of a message's alarms, of
// its times, and of what a time's methods return. None has the name of a field,
// which there is a test of.
func methods() template.FuncMap {
	return template.FuncMap{
		"Active": Item.Active,

		"Add":         time.Time.Add,
		"AddDate":     time.Time.AddDate,
		"After":       time.Time.After,
		"Before":      time.Time.Before,
		"Compare":     time.Time.Compare,
		"Day":         time.Time.Day,
		"Equal":       time.Time.Equal,
		"Format":      time.Time.Format,
		"Hour":        time.Time.Hour,
		"In":          time.Time.In,
		"IsDST":       time.Time.IsDST,
		"IsZero":      time.Time.IsZero,
		"Local":       time.Time.Local,
		"Location":    time.Time.Location,
		"MarshalJSON": time.Time.MarshalJSON,
		"MarshalText": time.Time.MarshalText,
		"Minute":      time.Time.Minute,
		"Month":       time.Time.Month,
		"Nanosecond":  time.Time.Nanosecond,
		"Second":      time.Time.Second,
		"Sub":         time.Time.Sub,
		"UTC":         time.Time.UTC,
		"Unix":        time.Time.Unix,
		"UnixMicro":   time.Time.UnixMicro,
		"UnixMilli":   time.Time.UnixMilli,
		"UnixNano":    time.Time.UnixNano,
		"Weekday":     time.Time.Weekday,
		"Year":        time.Time.Year,
		"YearDay":     time.Time.YearDay,

		"Abs":          time.Duration.Abs,
		"Hours":        time.Duration.Hours,
		"Microseconds": time.Duration.Microseconds,
		"Milliseconds": time.Duration.Milliseconds,
		"Minutes":      time.Duration.Minutes,
		"Nanoseconds":  time.Duration.Nanoseconds,
		"Seconds":      time.Duration.Seconds,

		"GoString": fmt.GoStringer.GoString,
		"String":   fmt.Stringer.String,
		"Round":    roundTo,
		"Truncate": cutTo,
	}
}

func roundTo(v any, to time.Duration) (any, error) {
	switch v := v.(type) {
	case time.Time:
		return v.Round(to), nil
	case time.Duration:
		return v.Round(to), nil
	}
	return nil, fmt.Errorf("%v has no method Round", v)
}

func cutTo(v any, to time.Duration) (any, error) {
	switch v := v.(type) {
	case time.Time:
		return v.Truncate(to), nil
	case time.Duration:
		return v.Truncate(to), nil
	}
	return nil, fmt.Errorf("%v has no method Truncate", v)
}
