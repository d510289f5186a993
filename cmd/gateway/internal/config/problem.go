package config

import (
	"fmt"
	"sort"
	"strings"

	"fabricpot/cmd/gateway/internal/units"
	"fabricpot/control/garden"
)

// Problem is one thing wrong with a garden file, at its place.
type Problem struct {
	File string
	// Line and Column count from 1; Column counts characters, not bytes.
	Line, Column int
	// Path names the place by keys, "pots.chilli.size".
	Path string
	// What is wrong; Found and Expected may be empty.
	What, Found, Expected string
	// Warning is set where the gateway starts all the same.
	Warning bool
}

func (p Problem) String() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s:%d:%d: ", p.File, p.Line, p.Column)
	if p.Warning {
		b.WriteString("warning: ")
	}
	if p.Path != "" {
		b.WriteString(p.Path + ": ")
	}
	b.WriteString(p.What)
	if p.Found != "" {
		b.WriteString(", found " + p.Found)
	}
	if p.Expected != "" {
		b.WriteString(", expected " + p.Expected)
	}
	return b.String()
}

// Problems is the error Load returns: everything wrong, by place.
type Problems []Problem

// maxShown bounds what a hostile or thoroughly broken file can print.
const maxShown = 100

func (ps Problems) Error() string {
	var b strings.Builder
	for i, p := range ps {
		if i == maxShown {
			fmt.Fprintf(&b, "\n… and %d more", len(ps)-maxShown)
			break
		}
		if i > 0 {
			b.WriteByte('\n')
		}
		b.WriteString(p.String())
	}
	return b.String()
}

func (ps Problems) sort() {
	sort.SliceStable(ps, func(i, j int) bool {
		if ps[i].Line != ps[j].Line {
			return ps[i].Line < ps[j].Line
		}
		return ps[i].Column < ps[j].Column
	})
}

// place is where a value stands.
type place struct{ line, column int }

// Source remembers where everything stood, so that a problem found later can
// be shown at its line.
type Source struct {
	// Name is the file's name as the user gave it.
	Name string
	// Warnings do not keep the gateway from starting, by place.
	Warnings Problems
	// Reads is how whoever wrote it reads, by the units of what stands in it.
	Reads units.Reads

	places map[string]place
	// aliases lead from ids to where they are written: "zones.ID" and
	// "probes.ID".
	aliases map[string]string
}

// Position is the line and column of the value at path, such as
// "pots.trough.zones.bean.refill", "lines.tall.max-on", "supply.flow". Zones and
// probes are also found by id, as "zones.trough-bean.refill" and "probes.ID". A
// path that was not written leads to the nearest one above it that was.
func (s *Source) Position(path string) (line, column int) {
	p := s.resolve(path)
	for p != "" {
		if at, ok := s.places[p]; ok {
			return at.line, at.column
		}
		i := strings.LastIndexByte(p, '.')
		if i < 0 {
			break
		}
		p = p[:i]
	}
	return 1, 1
}

// resolve turns a path by id, and one through the zone of a pot that has only
// one, into the path as written.
func (s *Source) resolve(path string) string {
	seg := strings.SplitN(path, ".", 3)
	if len(seg) >= 2 {
		if real, ok := s.aliases[seg[0]+"."+seg[1]]; ok {
			return strings.Join(append([]string{real}, seg[2:]...), ".")
		}
	}
	seg = strings.Split(path, ".")
	if len(seg) >= 4 && seg[0] == "pots" && seg[2] == "zones" && !s.given(strings.Join(seg[:3], ".")) {
		seg = append(seg[:2:2], seg[4:]...)
	}
	for i := 1; i+1 < len(seg); i++ {
		if real, ok := s.aliases["probes."+seg[i+1]]; ok && seg[i] == "probes" {
			return strings.Join(append([]string{real}, seg[i+2:]...), ".")
		}
	}
	return strings.Join(seg, ".")
}

// Locate gives a problem of a garden its line and column, and its path as the
// gardener wrote it.
func (s *Source) Locate(p garden.Problem) Problem {
	line, column := s.Position(p.Path)
	return Problem{File: s.Name, Line: line, Column: column, Path: s.resolve(p.Path), What: p.What, Warning: !p.Fatal}
}

// given reports whether something stands at path.
func (s *Source) given(path string) bool {
	_, ok := s.places[path]
	return ok
}
