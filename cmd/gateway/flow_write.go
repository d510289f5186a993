package main

import (
	"fmt"
	"os"
	"strings"
	"time"

	"fabricpot/cmd/gateway/internal/config"
	"fabricpot/control/garden"
)

// writeFlows puts measured flows into a garden file, touching nothing else in
// it, and keeps the old file.
func writeFlows(s streams, name string, line *garden.Line, cups []cup, open time.Duration) error {
	src, err := os.ReadFile(name)
	if err != nil {
		return fmt.Errorf("garden file: %w", err)
	}
	for _, o := range line.Outlets {
		_, source, err := config.Load(name, src)
		if err != nil {
			return err
		}
		path := fmt.Sprintf("lines.%s.waters.%s", line.ID, o.Zone)
		flow := outletLPH(cups, o, open)
		text := fmt.Sprintf("%d x %.3g L/h", o.Emitters, flow)
		row, col := source.Position(path)
		if r, c := source.Position(path + ".flow"); r != row || c != col {
			row, col, text = r, c, fmt.Sprintf("%.3g L/h", flow)
		}
		if src, err = replaceScalar(src, row, col, text); err != nil {
			return fmt.Errorf("%s:%d:%d: %w; write it yourself: %s", name, row, col, err, text)
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
