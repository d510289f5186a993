package calibrate

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
	"fabricpot/sensors"
)

// Table is what a calibration table holds besides the readings.
type Table string

// Kinds of tables, by their third way of saying how wet the mix was.
const (
	// TableWater has the water fraction itself.
	TableWater Table = "water"
	// TableWeight has gross weights of a drying container, g, in column weight.
	TableWeight Table = "weight"
	// TableAdded has the water stirred in since the row before, mL, in column
	// added.
	TableAdded Table = "added"
)

// Row is one row of a table. Value is in the table's unit.
type Row struct {
	Probe garden.ProbeID
	Volts garden.Volts
	Value float64
	TempC garden.Measured
}

const maxTableBytes = 1 << 20

// ReadTable reads a table of calibration rows: comma separated columns with a
// first line of names. volts and one of water, weight and added must be there;
// probe (a name) and temperature (°C) may. Two columns without names are volts
// and water. Lines beginning with # and empty lines are skipped. Errors begin
// with NAME:LINE:COLUMN.
func ReadTable(r io.Reader, name string) (Table, []Row, error) {
	src, err := io.ReadAll(io.LimitReader(r, maxTableBytes+1))
	if err != nil {
		return "", nil, fmt.Errorf("%s: %w", name, err)
	}
	if len(src) > maxTableBytes {
		return "", nil, fmt.Errorf("%s:1:1: more than %d bytes, expected a table of calibration rows", name, maxTableBytes)
	}
	cr := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(src, []byte("\ufeff"))))
	cr.Comment, cr.FieldsPerRecord, cr.TrimLeadingSpace = '#', -1, true
	head, err := cr.Read()
	if err == nil && len(head) == 2 && !named(head) || err != nil && !errors.Is(err, io.EOF) {
		// Two columns of numbers, and text that is no table: one reader's words
		// for both.
		return plain(src, name)
	}
	t := table{name: name, csv: cr}
	if err != nil {
		return "", nil, fmt.Errorf("%s:1:1: no rows, expected a first line such as volts,weight", name)
	}
	if err := t.header(head); err != nil {
		return "", nil, err
	}
	for {
		rec, err := cr.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err == nil {
			err = t.row(rec)
		}
		var pe *csv.ParseError
		if errors.As(err, &pe) {
			return "", nil, fmt.Errorf("%s:%d:%d: %w", name, pe.Line, pe.Column, pe.Err)
		}
		if err != nil {
			return "", nil, err
		}
	}
	if len(t.rows) == 0 {
		return "", nil, fmt.Errorf("%s:1:1: no rows under the names", name)
	}
	return t.kind, t.rows, nil
}

func plain(src []byte, name string) (Table, []Row, error) {
	ps, err := sensors.ReadPoints(bytes.NewReader(src), name)
	if err != nil {
		return "", nil, err
	}
	if len(ps) > maxPoints {
		return "", nil, fmt.Errorf("%s: %d points, expected at most %d", name, len(ps), maxPoints)
	}
	out := make([]Row, len(ps))
	for i, p := range ps {
		out[i] = Row{Volts: p.Volts, Value: float64(p.Water)}
	}
	return TableWater, out, nil
}

var columns = []string{"volts", "water", "weight", "added", "probe", "temperature"}

func named(rec []string) bool {
	return slices.ContainsFunc(rec, func(s string) bool { return slices.Contains(columns, strings.ToLower(strings.TrimSpace(s))) })
}

type table struct {
	name string
	csv  *csv.Reader
	kind Table
	at   map[string]int
	rows []Row
}

func (t *table) errorf(field int, format string, a ...any) error {
	line, col := t.csv.FieldPos(field)
	return fmt.Errorf("%s:%d:%d: "+format, append([]any{t.name, line, col}, a...)...)
}

func (t *table) header(rec []string) error {
	t.at = map[string]int{}
	for i, s := range rec {
		s = strings.ToLower(strings.TrimSpace(s))
		if !slices.Contains(columns, s) {
			return t.errorf(i, "unknown column %q, expected one of %s", shorten(s), strings.Join(columns, ", "))
		}
		if _, twice := t.at[s]; twice {
			return t.errorf(i, "column %q given twice", s)
		}
		t.at[s] = i
	}
	if _, ok := t.at["volts"]; !ok {
		return t.errorf(0, "no column volts")
	}
	for _, k := range []Table{TableWater, TableWeight, TableAdded} {
		if i, ok := t.at[string(k)]; ok {
			if t.kind != "" {
				return t.errorf(i, "columns %s and %s, expected one of the two", t.kind, k)
			}
			t.kind = k
		}
	}
	if t.kind == "" {
		return t.errorf(0, "no column water, weight or added")
	}
	return nil
}

func (t *table) row(rec []string) error {
	if len(rec) != len(t.at) {
		hint := ""
		if strings.Contains(strings.Join(rec, ","), ";") {
			hint = "; separate columns by a comma and write decimals with a point"
		}
		return t.errorf(0, "%d columns, expected %d%s", len(rec), len(t.at), hint)
	}
	if len(t.rows) == maxPoints {
		return t.errorf(0, "more than %d rows", maxPoints)
	}
	var r Row
	v, err := t.number(rec, "volts", 0, maxV)
	if err != nil {
		return err
	}
	r.Volts = garden.Volts(v)
	most := map[Table]float64{TableWater: 1, TableWeight: 100_000, TableAdded: 100_000}[t.kind]
	if r.Value, err = t.number(rec, string(t.kind), 0, most); err != nil {
		return err
	}
	if i, ok := t.at["probe"]; ok {
		if r.Probe = garden.ProbeID(strings.TrimSpace(rec[i])); !garden.ValidID(string(r.Probe)) {
			return t.errorf(i, "%q, expected a probe's name", shorten(string(r.Probe)))
		}
	}
	if i, ok := t.at["temperature"]; ok && strings.TrimSpace(rec[i]) != "" {
		c, err := t.number(rec, "temperature", -20, 70)
		if err != nil {
			return err
		}
		r.TempC = garden.Known(c)
	}
	t.rows = append(t.rows, r)
	return nil
}

func (t *table) number(rec []string, column string, lo, hi float64) (float64, error) {
	i := t.at[column]
	s := strings.TrimSpace(rec[i])
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || !garden.Finite(v) {
		return 0, t.errorf(i, "%q, expected a number", shorten(s))
	}
	if v < lo || v > hi {
		return 0, t.errorf(i, "%s %g, expected %g to %g", column, v, lo, hi)
	}
	return v, nil
}

// shorten keeps an error readable whatever a file holds.
func shorten(s string) string {
	const most = 40
	if r := []rune(s); len(r) > most {
		return string(r[:most]) + "…"
	}
	return s
}
