package config

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
	"unicode"

	"fabricpot/cmd/gateway/internal/timezone"
	"fabricpot/cmd/gateway/internal/units"
	"fabricpot/control/garden"
)

// fail is the error of a scalar: what is wrong and what was expected.
func fail(what, expected string) error { return &units.Error{What: what, Expected: expected} }

// quantity is a number with its unit between lo and hi, both in SI.
func quantity(q units.Quantity, lo, hi float64) scalar[float64] {
	between := fmt.Sprintf("%s to %s", q.Format(lo, q.Units[0].Name, 4), q.Format(hi, q.Units[0].Name, 4))
	return scalar[float64]{
		wants:  q.Wants() + ", " + between,
		format: map[string]any{"type": "string", "pattern": `^\s*[-+]?[0-9.]`},
		parse: func(text string) (float64, error) {
			v, err := q.Parse(text)
			if err != nil {
				return 0, err
			}
			if v < lo || v > hi {
				return 0, fail("out of range", between+inUnitOf(text, q, lo, hi))
			}
			return v, nil
		},
	}
}

// inUnitOf says the bounds once more in the unit that was written, where that is another.
func inUnitOf(text string, q units.Quantity, lo, hi float64) string {
	_, name, _ := units.Number(text)
	name = strings.TrimSpace(name)
	if one, ok := q.In(1, name); !ok || one == 1 {
		return "" // the same by another name
	}
	in := func(v float64) string {
		digits := 4
		if x, _ := q.In(v, name); math.Abs(x) >= 100 {
			digits = 0
		}
		return q.Format(v, name, digits)
	}
	return ", about " + in(lo) + " to " + in(hi)
}

// span is a duration with its unit.
func span(lo, hi time.Duration) scalar[time.Duration] {
	s := quantity(units.Span(), lo.Seconds(), hi.Seconds())
	between := fmt.Sprintf("%s to %s", words(lo), words(hi))
	return scalar[time.Duration]{
		wants:  units.Span().Wants() + ", " + between,
		format: s.format,
		parse: func(text string) (time.Duration, error) {
			v, err := units.Span().Parse(text)
			if err != nil {
				return 0, err
			}
			if v < lo.Seconds() || v > hi.Seconds() {
				return 0, fail("out of range", between)
			}
			return time.Duration(v * float64(time.Second)).Round(time.Millisecond), nil
		},
	}
}

// words writes a duration in its largest whole unit.
func words(d time.Duration) string {
	for _, u := range []struct {
		size time.Duration
		name string
	}{{24 * time.Hour, "d"}, {time.Hour, "h"}, {time.Minute, "min"}} {
		if d >= u.size && d%u.size == 0 {
			return fmt.Sprintf("%d %s", d/u.size, u.name)
		}
	}
	return strconv.FormatFloat(d.Seconds(), 'f', -1, 64) + " s"
}

// number is a bare number between lo and hi.
func number(what string, lo, hi float64) scalar[float64] {
	between := fmt.Sprintf("%s, %s to %s", what, plain(lo), plain(hi))
	return scalar[float64]{
		wants:  between,
		format: map[string]any{"type": "number", "minimum": lo, "maximum": hi},
		parse: func(text string) (float64, error) {
			v, rest, err := units.Number(text)
			switch {
			case err != nil:
				return 0, fail(err.Error(), between)
			case strings.TrimSpace(rest) != "":
				return 0, fail("something after the number", between+", with no unit")
			case v < lo || v > hi:
				return 0, fail("out of range", between)
			}
			return v, nil
		},
	}
}

// whole is a bare whole number between lo and hi.
func whole(what string, lo, hi int) scalar[int] {
	between := fmt.Sprintf("%s, %d to %d", what, lo, hi)
	return scalar[int]{
		wants:  between,
		format: map[string]any{"type": "integer", "minimum": lo, "maximum": hi},
		parse: func(text string) (int, error) {
			v, err := strconv.ParseInt(text, 10, 32)
			if err != nil {
				return 0, fail("not a whole number", between)
			}
			if int(v) < lo || int(v) > hi {
				return 0, fail("out of range", between)
			}
			return int(v), nil
		},
	}
}

func plain(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// yesNo is a switch.
func yesNo() scalar[bool] {
	return scalar[bool]{
		wants:  "yes or no",
		format: map[string]any{"enum": []any{true, false, "yes", "no"}},
		parse: func(text string) (bool, error) {
			switch text {
			case "yes", "true":
				return true, nil
			case "no", "false":
				return false, nil
			}
			return false, fail("neither yes nor no", "yes or no")
		},
	}
}

// choice is one of a few words.
func choice[V ~string](what string, words ...V) scalar[V] {
	names := make([]string, len(words))
	enum := make([]any, len(words))
	for i, w := range words {
		names[i], enum[i] = string(w), string(w)
	}
	wants := what + ": " + strings.Join(names[:len(names)-1], ", ") + " or " + names[len(names)-1]
	return scalar[V]{wants: wants, format: map[string]any{"enum": enum}, parse: func(text string) (V, error) {
		for _, w := range words {
			if text == string(w) {
				return w, nil
			}
		}
		if near := nearest(text, names); near != "" {
			return "", fail("unknown word", strconv.Quote(near))
		}
		return "", fail("unknown word", wants)
	}}
}

// line is a line of free text, for people.
func line(what string) scalar[string] {
	const most = 80
	wants := fmt.Sprintf("%s of at most %d characters on one line", what, most)
	return scalar[string]{wants: wants, format: map[string]any{"type": "string", "maxLength": most}, parse: func(text string) (string, error) {
		switch {
		case text == "":
			return "", fail("an empty text", wants)
		case len([]rune(text)) > most:
			return "", fail("too long a text", wants)
		case strings.IndexFunc(text, unicode.IsControl) >= 0:
			return "", fail("a line break or control character", wants)
		}
		return text, nil
	}}
}

// id is a reference to something named elsewhere in the file.
func id[V ~string](what string) scalar[V] {
	wants := "the name of " + what
	return scalar[V]{wants: wants, format: map[string]any{"type": "string"}, parse: func(text string) (V, error) {
		if !garden.ValidID(text) {
			return "", fail("not a name", wants+": small letters, digits and inner hyphens")
		}
		return V(text), nil
	}}
}

// coordinate is decimal degrees with a sign or with a letter of the compass.
func coordinate(what string, limit float64, plus, minus, example string) scalar[float64] {
	wants := fmt.Sprintf("%s in decimal degrees, %s positive, %s to %s, such as %s", what,
		map[string]string{"N": "north", "E": "east"}[plus], plain(-limit), plain(limit), example)
	return scalar[float64]{wants: wants, format: map[string]any{"type": []any{"number", "string"}}, parse: func(text string) (float64, error) {
		v, rest, err := units.Number(text)
		if err != nil {
			return 0, fail(err.Error(), wants)
		}
		signed := strings.HasPrefix(text, "-") || strings.HasPrefix(text, "+")
		switch letter := strings.TrimSpace(strings.TrimPrefix(strings.TrimSpace(rest), "°")); {
		case letter == "":
		case signed:
			return 0, fail("a sign and a letter", wants)
		case letter == plus:
		case letter == minus:
			v = -v
		default:
			return 0, fail(fmt.Sprintf("unknown direction %s", quote(letter)), wants)
		}
		if v < -limit || v > limit {
			return 0, fail("out of range", wants)
		}
		return v, nil
	}}
}

// timeZone is a name of the IANA database.
func timeZone() scalar[*time.Location] {
	const wants = "a name of the IANA time zone database, such as Europe/Athens"
	return scalar[*time.Location]{wants: wants, format: map[string]any{"type": "string"}, parse: func(text string) (*time.Location, error) {
		// "Local" would make a garden mean something else on another machine.
		if text == "" || text == "Local" || len(text) > 64 {
			return nil, fail("not a time zone", wants)
		}
		zone, err := timezone.Load(text)
		if err != nil {
			return nil, fail("unknown time zone", wants)
		}
		return zone, nil
	}}
}

// day is a calendar day, as midnight UTC until the site's zone is known.
func day() scalar[time.Time] {
	const wants = "a day as YEAR-MONTH-DAY, such as 2026-04-15"
	return scalar[time.Time]{wants: wants, format: map[string]any{"type": "string", "format": "date"}, parse: func(text string) (time.Time, error) {
		t, err := time.Parse("2006-01-02", text)
		if err != nil {
			return t, fail("not a day", wants)
		}
		if t.Year() < 1950 || t.Year() > 2200 {
			return t, fail("out of range", "a year from 1950 to 2200")
		}
		return t, nil
	}}
}

// hours is a window of the day.
func hours() scalar[garden.DayWindow] {
	const wants = "a window of the day as FROM-TO, such as 05:00-09:30"
	return scalar[garden.DayWindow]{wants: wants, format: map[string]any{"type": "string", "pattern": `^\d{1,2}:\d{2}\s*[-–]\s*\d{1,2}:\d{2}$`}, parse: func(text string) (garden.DayWindow, error) {
		from, to, ok := strings.Cut(strings.ReplaceAll(text, "–", "-"), "-")
		w := garden.DayWindow{}
		var okFrom, okTo bool
		w.From, okFrom = clock(strings.TrimSpace(from))
		w.To, okTo = clock(strings.TrimSpace(to))
		if !ok || !okFrom || !okTo {
			return w, fail("not a window of the day", wants)
		}
		if w.From == w.To || w.From == 24*time.Hour {
			return w, fail("an empty window", "two different times; leave hours out to allow every hour")
		}
		return w, nil
	}}
}

// clock reads 06:30 as the time since midnight, 00:00 to 24:00.
func clock(text string) (time.Duration, bool) {
	h, m, ok := strings.Cut(text, ":")
	if !ok || len(h) < 1 || len(h) > 2 || len(m) != 2 {
		return 0, false
	}
	hh, err1 := strconv.ParseUint(h, 10, 8)
	mm, err2 := strconv.ParseUint(m, 10, 8)
	d := time.Duration(hh)*time.Hour + time.Duration(mm)*time.Minute
	return d, err1 == nil && err2 == nil && mm < 60 && d <= 24*time.Hour
}
