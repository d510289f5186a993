package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"reflect"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/control/garden"
)

// A board's gateway keeps a list of the lines it drives from before the first
// is touched until all are confirmed closed. It outlives a crash, so that
// close-all finds them even where the garden file was edited or lost since.

// inUse is that list.
type inUse struct {
	Hardware garden.Hardware
	Lines    []garden.Line
	Pump     garden.Pump `json:",omitzero"`
}

// garden is that much of one as can be closed.
func (in *inUse) garden() *garden.Garden {
	return &garden.Garden{Hardware: in.Hardware, Lines: in.Lines, Supply: garden.Supply{Pump: in.Pump}}
}

func inUsePath() (string, error) {
	dir, err := stateDir()
	if err != nil {
		return "", err
	}
	return filepath.Join(dir, "lines-in-use.json"), nil
}

// rememberLines writes the list, on the card before it returns.
func rememberLines(g *garden.Garden) (err error) {
	path, err := inUsePath()
	if err != nil {
		return err
	}
	b, err := json.MarshalIndent(inUse{Hardware: g.Hardware, Lines: g.Lines, Pump: g.Supply.Pump}, "", "  ")
	if err != nil {
		return fmt.Errorf("lines in use: %w", err)
	}
	part := path + ".part"
	f, err := os.OpenFile(part, os.O_CREATE|os.O_TRUNC|os.O_WRONLY, 0o600)
	if err != nil {
		return fmt.Errorf("lines in use: %w", err)
	}
	_, err = f.Write(b)
	if err = errors.Join(err, f.Sync(), f.Close(), journal.LikeOwner(part, filepath.Dir(path))); err == nil {
		err = os.Rename(part, path)
	}
	if err != nil {
		return fmt.Errorf("lines in use: %w", err)
	}
	return nil
}

// forgetLines removes the list once every line is confirmed closed.
func forgetLines() error {
	path, err := inUsePath()
	if err != nil {
		return err
	}
	if err := os.Remove(path); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("lines in use: %w", err)
	}
	return nil
}

// rememberedLines reads the list; nil where there is none.
func rememberedLines() (*inUse, error) {
	path, err := inUsePath()
	if err != nil {
		return nil, err
	}
	b, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	var in inUse
	if err == nil {
		err = json.Unmarshal(b, &in)
	}
	if err != nil {
		return nil, fmt.Errorf("lines in use: %s: %w", path, err)
	}
	return &in, nil
}

// toClose is what close-all closes with no gateway running: the board lines of
// the garden file and those that a crashed gateway left. It has no lines where
// there is nothing real to close. A faulty garden file is an error only where
// no list can stand in for it; note then tells of it.
func toClose(file string) (g *garden.Garden, note string, err error) {
	left, leftErr := rememberedLines()
	g, err = loadGarden(file)
	switch {
	case err != nil && left == nil:
		return nil, "", errors.Join(err, leftErr)
	case err != nil:
		note = fmt.Sprintf("%v\nclosing the lines of the last run instead", err)
		g = left.garden()
	case g.Hardware.Kind != garden.Board:
		g = &garden.Garden{Hardware: g.Hardware}
		if left != nil {
			g = left.garden()
		}
	case left != nil:
		g = withLeft(g, left)
	}
	if leftErr != nil {
		note = leftErr.Error()
	}
	return g, note, nil
}

// withLeft adds to a garden the lines left by another version of it.
func withLeft(g *garden.Garden, left *inUse) *garden.Garden {
	out := &garden.Garden{Hardware: g.Hardware, Lines: append([]garden.Line(nil), g.Lines...), Supply: garden.Supply{Pump: g.Supply.Pump}}
	chip := func(v garden.Valve, hw garden.Hardware) garden.Valve {
		if v.Chip == "" {
			v.Chip = hw.GPIOChip
		}
		return v
	}
	for _, l := range left.Lines {
		l.Valve = chip(l.Valve, left.Hardware)
		known := false
		for i := range g.Lines {
			known = known || reflect.DeepEqual(chip(g.Lines[i].Valve, g.Hardware), l.Valve)
		}
		if !known {
			l.ID += "-before"
			out.Lines = append(out.Lines, l)
		}
	}
	if p := left.Pump; p.Fitted && (p.Chip != g.Supply.Pump.Chip || p.Pin != g.Supply.Pump.Pin || !g.Supply.Pump.Fitted) {
		// Its output is switched off like a valve's.
		out.Lines = append(out.Lines, garden.Line{ID: "pump-before", Valve: chip(garden.Valve{Kind: garden.PinValve, Chip: p.Chip, Pin: p.Pin, ActiveLow: p.ActiveLow}, left.Hardware)})
	}
	return out
}
