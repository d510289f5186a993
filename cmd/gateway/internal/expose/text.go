// Package expose writes figures in the text format that collectors of metrics
// read: https://prometheus.io/docs/instrumenting/exposition_formats/, version
// 0.0.4. It is held against the client library of those who wrote the format,
// which itself links a second format and all that belongs to it, 2 MB.
package expose

import (
	"bytes"
	"fmt"
	"maps"
	"math"
	"slices"
	"sort"
	"strconv"
	"strings"
)

// Kinds of figures.
const (
	Gauge   = "gauge"
	Counter = "counter"
	Summary = "summary"
)

// Desc describes a figure: its full name, what it says, its kind and the names of
// its labels.
type Desc struct {
	Name, Help, Kind string
	Labels           []string
}

// Figures are what one answer holds.
type Figures struct {
	by  map[string]*family
	err error
}

type family struct {
	desc    *Desc
	samples []sample
}

// sample is what a figure is for one set of labels: label pairs as they are
// written, and the lines of it, name's ending and value.
type sample struct {
	names, values []string
	lines         []line
}

type line struct {
	ending, quantile string
	v                float64
}

// Add adds a figure with the values of its labels, in the order of their names.
// It is an error, and the whole answer one, to add a figure twice.
func (f *Figures) Add(d *Desc, v float64, values ...string) {
	f.add(d, []line{{v: v}}, values)
}

// AddSummary adds quantiles, in the order they are to be written, with sum and
// count.
func (f *Figures) AddSummary(d *Desc, quantiles, at []float64, sum float64, count uint64) {
	lines := make([]line, 0, len(at)+2)
	for i, q := range quantiles {
		lines = append(lines, line{quantile: number(q), v: at[i]})
	}
	f.add(d, append(lines, line{ending: "_sum", v: sum}, line{ending: "_count", v: float64(count)}), nil)
}

func (f *Figures) add(d *Desc, lines []line, values []string) {
	if f.by == nil {
		f.by = map[string]*family{}
	}
	fam := f.by[d.Name]
	if fam == nil {
		fam = &family{desc: d}
		f.by[d.Name] = fam
	}
	if len(values) != len(d.Labels) && f.err == nil {
		f.err = fmt.Errorf("%s has %d labels, not %d", d.Name, len(d.Labels), len(values))
	}
	if f.err != nil {
		return
	}
	names := slices.Sorted(slices.Values(d.Labels))
	s := sample{names: names, values: make([]string, len(names)), lines: lines}
	for i, name := range d.Labels {
		at, _ := slices.BinarySearch(names, name)
		s.values[at] = strings.ToValidUTF8(values[i], "\uFFFD")
	}
	fam.samples = append(fam.samples, s)
}

// Text is all of them, sorted, or those of the given names.
func (f *Figures) Text(only ...string) ([]byte, error) {
	if f.err != nil {
		return nil, f.err
	}
	help := strings.NewReplacer(`\`, `\\`, "\n", `\n`)
	value := strings.NewReplacer(`\`, `\\`, "\n", `\n`, `"`, `\"`)
	var b bytes.Buffer
	for _, name := range slices.Sorted(maps.Keys(f.by)) {
		if len(only) > 0 && !slices.Contains(only, name) {
			continue
		}
		fam := f.by[name]
		fmt.Fprintf(&b, "# HELP %s %s\n# TYPE %s %s\n", name, help.Replace(fam.desc.Help), name, fam.desc.Kind)
		sort.Slice(fam.samples, func(i, j int) bool { return slices.Compare(fam.samples[i].values, fam.samples[j].values) < 0 })
		for i, s := range fam.samples {
			if i > 0 && slices.Equal(s.values, fam.samples[i-1].values) {
				return nil, fmt.Errorf("%s%q is there twice", name, s.values)
			}
			for _, l := range s.lines {
				b.WriteString(name + l.ending)
				sep := "{"
				for k, label := range s.names {
					b.WriteString(sep + label + `="` + value.Replace(s.values[k]) + `"`)
					sep = ","
				}
				if l.quantile != "" {
					b.WriteString(sep + `quantile="` + l.quantile + `"`)
					sep = ","
				}
				if sep == "," {
					b.WriteString("}")
				}
				b.WriteString(" " + number(l.v) + "\n")
			}
		}
	}
	return b.Bytes(), nil
}

// number is a value as Go's ParseFloat reads it, with the format's own words for
// what is none.
func number(v float64) string {
	switch {
	case math.IsNaN(v):
		return "NaN"
	case math.IsInf(v, 1):
		return "+Inf"
	case math.IsInf(v, -1):
		return "-Inf"
	}
	return strconv.FormatFloat(v, 'g', -1, 64)
}
