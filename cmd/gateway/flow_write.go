package main

import (
	"fmt"
	"strings"
	"time"

	"fabricpot/cmd/gateway/internal/config"
	"fabricpot/control/garden"
)

// edit is a new text for the value at a path of a garden file.
type edit struct{ path, text string }

// writeFlows puts what was measured into a garden file, touching nothing else in
// it, and keeps the old file. Uniformity and the meter's constant are put where
// they stand already; otherwise it is said where they would.
func writeFlows(s streams, name string, line *garden.Line, cups []cup, open time.Duration, m found) error {
	src, err := config.ReadFile(name)
	if err != nil {
		return err
	}
	_, source, err := config.Load(name, src)
	if err != nil {
		return err
	}
	stands := func(path string) bool {
		row, col := source.Position(path)
		r, c := source.Position(path[:strings.LastIndexByte(path, '.')])
		return r != row || c != col
	}
	var edits []edit
	for _, o := range line.Outlets {
		flow := outletLPH(cups, o, open)
		e := edit{fmt.Sprintf("lines.%s.waters.%s", line.ID, o.Zone), fmt.Sprintf("%d x %.3g L/h", o.Emitters, flow)}
		if stands(e.path + ".flow") {
			e = edit{e.path + ".flow", fmt.Sprintf("%.3g L/h", flow)}
		}
		edits = append(edits, e)
	}
	if m.du.Known {
		e := edit{fmt.Sprintf("lines.%s.uniformity", line.ID), fmt.Sprintf("%.0f %%", 100*m.du.Value)}
		switch {
		case m.du.Value < leastDU:
			fmt.Fprintf(s.err, "a uniformity of %s is not written: clean the emitters and measure again\n", e.text)
		case stands(e.path):
			edits = append(edits, e)
		default:
			fmt.Fprintf(s.err, "the garden file has no %s; to have it reckoned with, write there: %s\n", e.path, e.text)
		}
	}
	if m.pulsesPerL.Known {
		e := edit{"supply.meter", fmt.Sprintf("%.1f pulses/L", m.pulsesPerL.Value)}
		if stands("supply.meter.constant") {
			e.path = "supply.meter.constant"
		}
		if stands(e.path) {
			edits = append(edits, e)
		} else {
			fmt.Fprintf(s.err, "the garden file has no meter; for one that is wired write under supply: meter: { constant: %s, pin: … }\n", e.text)
		}
	}
	for _, e := range edits {
		// Each edit moves what stands behind it.
		if _, source, err = config.Load(name, src); err != nil {
			return fmt.Errorf("the changed garden file would be wrong, nothing was written: %w", err)
		}
		row, col := source.Position(e.path)
		if src, err = replaceScalar(src, row, col, e.text); err != nil {
			return fmt.Errorf("%s:%d:%d: %w; write it yourself: %s", name, row, col, err, e.text)
		}
	}
	g, _, err := config.Load(name, src)
	if err != nil {
		return fmt.Errorf("the changed garden file would be wrong, nothing was written: %w", err)
	}
	if l, ok := g.Line(line.ID); !ok || len(l.Outlets) != len(line.Outlets) {
		return fmt.Errorf("%s: line %s was not found again, nothing was written", name, line.ID)
	}
	kept, err := replaceKeeping(name, src)
	if err != nil {
		return err
	}
	fmt.Fprintf(s.err, "written into %s; the old one is kept: %s\n", name, kept)
	return nil
}

// leastDU is the least uniformity that a garden file takes.
const leastDU = 0.3

// replaceScalar puts text in place of the plain or quoted scalar that begins at
// a line and column, both from 1, columns in characters.
func replaceScalar(src []byte, line, column int, text string) ([]byte, error) {
	lines := strings.SplitAfter(string(src), "\n")
	if line < 1 || line > len(lines) {
		return nil, fmt.Errorf("no such line")
	}
	row := []rune(lines[line-1])
	at := column - 1
	if at < 0 || at >= len(row) || strings.ContainsRune("{[&*!|>", row[at]) {
		return nil, fmt.Errorf("no value that can be replaced")
	}
	end := at
	if q := row[at]; q == '"' || q == '\'' {
		for end++; end < len(row) && row[end] != q; end++ {
		}
		if end == len(row) {
			return nil, fmt.Errorf("no end of the quoted value")
		}
		end++
	} else {
		for end < len(row) && !strings.ContainsRune(",}]\r\n", row[end]) && !(row[end] == '#' && row[end-1] == ' ') {
			end++
		}
		for end > at && row[end-1] == ' ' {
			end--
		}
	}
	lines[line-1] = string(row[:at]) + text + string(row[end:])
	return []byte(strings.Join(lines, "")), nil
}
