package main

import (
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/cmd/gateway/internal/place"
	"fabricpot/control/garden"
)

// A board's gateway keeps a list of the lines it drives from before the first
// can be opened until all are confirmed closed. It outlives a crash, so that
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

// rememberLines writes the list, on the card before it returns: this garden's lines,
// and those of earlier ones that are still to be closed.
func rememberLines(g *garden.Garden, before ...garden.Line) (err error) {
	path, err := inUsePath()
	if err != nil {
		return err
	}
	b, err := json.MarshalIndent(inUse{Hardware: g.Hardware, Lines: slices.Concat(g.Lines, before), Pump: g.Supply.Pump}, "", "  ")
	if err != nil {
		return fmt.Errorf("lines in use: %w", err)
	}
	err = place.File(path, 0o600, func(f *os.File) error {
		_, err := f.Write(b)
		return errors.Join(err, journal.LikeOwner(f.Name(), filepath.Dir(path)))
	})
	if err != nil {
		return fmt.Errorf("lines in use: %w", err)
	}
	return nil
}

// takeUpLines closes what a crashed gateway left on other outputs than this
// garden's, before its list is replaced by this garden's.
func takeUpLines(g *garden.Garden, tell io.Writer, open opener) error {
	return rememberLines(g, closeLeft(g, tell, open)...)
}

// closeLeft closes what a crashed gateway left on other outputs than this garden's.
// What it returns was not confirmed closed and stays on the list, for the next start
// and for close-all. It writes nothing: a card may take long.
func closeLeft(g *garden.Garden, tell io.Writer, open opener) []garden.Line {
	left, err := rememberedLines()
	if err != nil {
		fmt.Fprintln(tell, err)
	}
	if left == nil {
		return nil
	}
	before := leftOver(g, left)
	if len(before.Lines) == 0 {
		return nil
	}
	rep, err := closeBoards([]*garden.Garden{before}, tell, open)
	if err != nil {
		fmt.Fprintln(tell, err)
	}
	if len(rep.Unconfirmed) > 0 {
		fmt.Fprintf(tell, "left on by the last run, and not confirmed closed: %v; shut their hand valves and look at the wiring\n", rep.Unconfirmed)
	}
	return slices.DeleteFunc(before.Lines, func(l garden.Line) bool {
		return err == nil && !slices.Contains(rep.Unconfirmed, l.ID)
	})
}

// forgetLines takes this garden's lines off the list once every one is confirmed
// closed; what an earlier one left stays on it.
func forgetLines(g *garden.Garden) error {
	if left, err := rememberedLines(); err == nil && left != nil {
		if before := leftOver(g, left); len(before.Lines) > 0 {
			return rememberLines(&garden.Garden{Hardware: before.Hardware}, before.Lines...)
		}
	}
	return forgetAllLines()
}

// forgetAllLines removes the list once every line on it is confirmed closed.
func forgetAllLines() error {
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

// toClose is what close-all closes with no gateway running, one after the other:
// what a crashed gateway left on other outputs than the garden file's, and then
// the board lines of that. Each is let go of before the next is opened, since the
// two may share pins. There is none where nothing real is to be closed. A faulty
// garden file is an error only where no list can stand in for it; note then tells
// of it. One that can be read but not planned closes all the same.
func toClose(file string) (gs []*garden.Garden, note string, err error) {
	left, leftErr := rememberedLines()
	u, err := readGarden([]string{file})
	var g *garden.Garden
	if err == nil {
		g = u.garden
	}
	switch {
	case err != nil && left == nil:
		return nil, "", errors.Join(err, leftErr)
	case err != nil:
		note = fmt.Sprintf("%v\nclosing the lines of the last run instead", err)
		gs = append(gs, left.garden())
	case g.Hardware.Kind != garden.Board:
		if left != nil {
			gs = append(gs, left.garden())
		}
	default:
		if left != nil {
			if before := leftOver(g, left); len(before.Lines) > 0 {
				gs = append(gs, before)
			}
		}
		gs = append(gs, g)
	}
	if leftErr != nil {
		note = leftErr.Error()
	}
	return gs, note, nil
}

// outputs are what closing a line drives.
type outputs struct {
	valve    garden.Valve
	injector garden.Injector
}

// outputsOf are those of a line, with the chip named.
func outputsOf(l *garden.Line, hw garden.Hardware) outputs {
	o := outputs{valve: l.Valve}
	if o.valve.Chip == "" {
		o.valve.Chip = hw.GPIOChip
	}
	if i := l.Injector; i.Switched {
		o.injector = garden.Injector{Switched: true, Chip: cmp.Or(i.Chip, hw.GPIOChip), Pin: i.Pin, ActiveLow: i.ActiveLow}
	}
	return o
}

// leftOver are the lines left by another version of a garden that its own don't
// close: the valve, its latch or its injector stood elsewhere. A pump stops first,
// its output switched off like a valve's. Their names are nobody else's, and their
// chips are named, so that they mean the same on another garden's list.
func leftOver(g *garden.Garden, left *inUse) *garden.Garden {
	out := &garden.Garden{Hardware: left.Hardware}
	pump := func(p garden.Pump, hw garden.Hardware) garden.Valve {
		return garden.Valve{Kind: garden.PinValve, Chip: cmp.Or(p.Chip, hw.GPIOChip), Pin: p.Pin, ActiveLow: p.ActiveLow}
	}
	taken := map[garden.LineID]bool{}
	for i := range g.Lines {
		taken[g.Lines[i].ID] = true
	}
	add := func(l garden.Line) {
		if !strings.HasSuffix(string(l.ID), "-before") {
			l.ID += "-before"
		}
		for taken[l.ID] {
			l.ID += "-before"
		}
		taken[l.ID] = true
		out.Lines = append(out.Lines, l)
	}
	if p := left.Pump; p.Fitted && (!g.Supply.Pump.Fitted || pump(p, left.Hardware) != pump(g.Supply.Pump, g.Hardware)) {
		add(garden.Line{ID: "pump", Valve: pump(p, left.Hardware)})
	}
	for _, l := range left.Lines {
		was := outputsOf(&l, left.Hardware)
		if !slices.ContainsFunc(g.Lines, func(n garden.Line) bool { return reflect.DeepEqual(outputsOf(&n, g.Hardware), was) }) {
			l.Valve, l.Injector.Chip = was.valve, cmp.Or(l.Injector.Chip, was.injector.Chip)
			add(l)
		}
	}
	return out
}
