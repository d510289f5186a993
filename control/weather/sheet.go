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

	"fabricpot/control/garden"
)

const (
	maxFileBytes = 32 << 20
	maxLineBytes = 4096
)

// column is one column of a table whose rows become a T.
type column[T any] struct {
	name     string
	unit     string
	lo, hi   float64
	required bool
	set      func(*T, garden.Measured)
}

// sheet reads a CSV with a header: one column says when, the others are numbers
// with a name, a unit and a span.
type sheet[T any] struct {
	name       string
	key        string // the name of the column that says when
	known      []column[T]
	in         *csv.Reader
	keyAt      int         // index of the key column
	columns    []column[T] // by field; set is nil where the field is not used
	headerLine int
	warnings   []string
}

// openSheet reads the whole file and its header.
func openSheet[T any](r io.Reader, name, key string, known []column[T]) (*sheet[T], error) {
	src, err := readBounded(r, name)
	if err != nil {
		return nil, err
	}
	s := &sheet[T]{name: name, key: key, known: known, in: csv.NewReader(bytes.NewReader(src))}
	s.in.Comment = '#'
	s.in.FieldsPerRecord = -1
	s.in.ReuseRecord = true
	return s, s.header()
}

// readBounded refuses a file, or a line, that no weather table would have,
// before anything parses it.
func readBounded(r io.Reader, name string) ([]byte, error) {
	src, err := io.ReadAll(io.LimitReader(r, maxFileBytes+1))
	if err != nil {
		return nil, fmt.Errorf("%s: reading weather: %w", name, err)
	}
	if len(src) > maxFileBytes {
		return nil, fmt.Errorf("%s:1:1: the file is over %d MB, expected a table of weather", name, maxFileBytes>>20)
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
			return nil, fmt.Errorf("%s:%d:%d: the line is over %d characters, expected one row of values", name, line, maxLineBytes+1, maxLineBytes)
		}
	}
	return src, nil
}

func (s *sheet[T]) at(field int, format string, args ...any) error {
	line, col := s.in.FieldPos(field)
	return fmt.Errorf("%s:%d:%d: %s", s.name, line, col, fmt.Sprintf(format, args...))
}

func (s *sheet[T]) syntax(err error) error {
	var p *csv.ParseError
	if errors.As(err, &p) {
		return fmt.Errorf("%s:%d:%d: %w", s.name, p.Line, p.Column, p.Err)
	}
	return fmt.Errorf("%s: reading weather: %w", s.name, err)
}

func (s *sheet[T]) header() error {
	rec, err := s.in.Read()
	if errors.Is(err, io.EOF) {
		return fmt.Errorf("%s:1:1: the file is empty, expected a header with %s", s.name, strings.Join(s.required(), ", "))
	}
	if err != nil {
		return s.syntax(err)
	}
	s.headerLine, _ = s.in.FieldPos(0)
	s.keyAt = -1
	s.columns = make([]column[T], len(rec))
	var found []string
	for i, field := range rec {
		name := strings.ToLower(strings.TrimSpace(field))
		if slices.Contains(found, name) {
			return s.at(i, "column %.40q stands twice in the header", name)
		}
		found = append(found, name)
		k := slices.IndexFunc(s.known, func(c column[T]) bool { return c.name == name })
		switch {
		case name == s.key:
			s.keyAt = i
		case k >= 0:
			s.columns[i] = s.known[k]
		case name == "weather" || name == "location":
		default:
			line, col := s.in.FieldPos(i)
			s.warnings = append(s.warnings, fmt.Sprintf("%s:%d:%d: column %.40q is not used", s.name, line, col, name))
		}
	}
	missing := slices.DeleteFunc(s.required(), func(n string) bool { return slices.Contains(found, n) })
	if len(missing) > 0 {
		return s.at(0, "the header has no column %s; it has %.200s", strings.Join(missing, ", "), strings.Join(found, ", "))
	}
	return nil
}

func (s *sheet[T]) required() []string {
	out := []string{s.key}
	for _, c := range s.known {
		if c.required {
			out = append(out, c.name)
		}
	}
	return out
}

// rows calls f with the key's text of every row and a function that fills in
// the row's numbers.
func (s *sheet[T]) rows(f func(key string, fill func(*T) error) error) error {
	for {
		rec, err := s.in.Read()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return s.syntax(err)
		}
		if len(rec) != len(s.columns) {
			return s.at(0, "%d values, the header has %d columns", len(rec), len(s.columns))
		}
		if err := f(strings.TrimSpace(rec[s.keyAt]), func(row *T) error { return s.fill(rec, row) }); err != nil {
			return err
		}
	}
}

func (s *sheet[T]) fill(rec []string, row *T) error {
	for i, field := range rec {
		c := s.columns[i]
		if c.set == nil {
			continue
		}
		v, err := c.parse(field)
		if err != nil {
			return s.at(i, "%s", err)
		}
		c.set(row, v)
	}
	return nil
}

// field is the index of a named column, which must be in the header.
func (s *sheet[T]) field(name string) int {
	return slices.IndexFunc(s.columns, func(c column[T]) bool { return c.name == name })
}

// parse reads one value. Empty is absent, never zero.
func (c column[T]) parse(field string) (garden.Measured, error) {
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
