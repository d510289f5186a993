package sensors

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"unicode/utf8"

	"fabricpot/control/garden"
)

// Limits of a calibration table, far over what anybody measures by hand.
const (
	maxTableBytes = 1 << 20
	maxPoints     = 10_000
)

// ReadPoints reads a table of calibration points: two comma separated columns,
// volts and water (fraction, 0 to 1), one point a line. A first line with the
// names "volts" and "water" may give the columns in either order. Lines that
// begin with # and empty lines are skipped; CRLF line ends and a byte order mark
// are accepted. Errors begin with NAME:LINE:COLUMN. What the points are good for
// is NewCurve's to say.
func ReadPoints(r io.Reader, name string) ([]garden.CalibrationPoint, error) {
	src, err := io.ReadAll(io.LimitReader(r, maxTableBytes+1))
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	if len(src) > maxTableBytes {
		return nil, fmt.Errorf("%s:1:1: more than %d bytes, expected a table of calibration points", name, maxTableBytes)
	}
	src = bytes.TrimPrefix(src, []byte("\ufeff"))
	if i := bytes.IndexFunc(src, func(r rune) bool {
		return r == utf8.RuneError || r < ' ' && r != '\n' && r != '\r' && r != '\t'
	}); i >= 0 {
		line := 1 + bytes.Count(src[:i], []byte("\n"))
		col := i - bytes.LastIndexByte(src[:i], '\n')
		return nil, fmt.Errorf("%s:%d:%d: not plain text, expected a table of volts,water", name, line, col)
	}
	cr := csv.NewReader(bytes.NewReader(src))
	cr.Comment = '#'
	cr.FieldsPerRecord = -1 // judged here, with a better message
	cr.TrimLeadingSpace = true
	cr.ReuseRecord = true
	t := table{name: name, csv: cr, water: 1}
	for {
		rec, err := cr.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			var pe *csv.ParseError
			if errors.As(err, &pe) {
				return nil, fmt.Errorf("%s:%d:%d: %w", name, pe.Line, pe.Column, pe.Err)
			}
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		if err := t.row(rec); err != nil {
			return nil, err
		}
	}
	if len(t.points) == 0 {
		return nil, fmt.Errorf("%s:1:1: no points, expected lines of volts,water", name)
	}
	return t.points, nil
}

type table struct {
	name   string
	csv    *csv.Reader
	rows   int
	volts  int // column of each
	water  int
	points []garden.CalibrationPoint
}

func (t *table) row(rec []string) error {
	t.rows++
	if len(rec) != 2 {
		hint := ""
		if strings.Contains(strings.Join(rec, ","), ";") {
			hint = "; separate columns by a comma and write decimals with a point"
		}
		return t.errorf(0, "%d columns, expected 2: volts,water%s", len(rec), hint)
	}
	if t.rows == 1 && t.header(rec) {
		return nil
	}
	if len(t.points) == maxPoints {
		return t.errorf(0, "more than %d points", maxPoints)
	}
	v, err := t.number(rec, t.volts)
	if err != nil {
		return err
	}
	w, err := t.number(rec, t.water)
	if err != nil {
		return err
	}
	p := garden.CalibrationPoint{Volts: garden.Volts(v), Water: garden.WaterFraction(w)}
	if err := checkPoint(p); err != nil {
		at := t.water
		if checkPoint(garden.CalibrationPoint{Volts: p.Volts}) != nil {
			at = t.volts
		}
		return t.errorf(at, "%w", err)
	}
	t.points = append(t.points, p)
	return nil
}

// header takes the first line as column names if it is.
func (t *table) header(rec []string) bool {
	first, second := strings.ToLower(strings.TrimSpace(rec[0])), strings.ToLower(strings.TrimSpace(rec[1]))
	switch {
	case first == "volts" && second == "water":
		return true
	case first == "water" && second == "volts":
		t.volts, t.water = 1, 0
		return true
	}
	return false
}

func (t *table) number(rec []string, i int) (float64, error) {
	s := strings.TrimSpace(rec[i])
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || !garden.Finite(v) {
		return 0, t.errorf(i, "%q, expected a number", shorten(s))
	}
	return v, nil
}

func (t *table) errorf(field int, format string, a ...any) error {
	line, col := t.csv.FieldPos(field)
	return fmt.Errorf("%s:%d:%d: "+format, append([]any{t.name, line, col}, a...)...)
}

// shorten keeps an error readable whatever a file holds.
func shorten(s string) string {
	const most = 40
	if len(s) <= most {
		return s
	}
	cut := most
	for cut > 0 && !utf8.RuneStart(s[cut]) {
		cut--
	}
	return s[:cut] + "…"
}
