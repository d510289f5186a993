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

// takeUpLines closes what a crashed gateway left on other outputs than this
// garden's, before its list is replaced by this garden's.
func takeUpLines(g *garden.Garden, tell io.Writer) error {
	left, err := rememberedLines()
	if err != nil {
		fmt.Fprintln(tell, err)
	}
	if left != nil {
		if before := leftOver(g, left); len(before.Lines) > 0 {
			rep, err := closeBoards([]*garden.Garden{before}, tell, openLines)
			if err != nil {
				fmt.Fprintln(tell, err)
			}
			if len(rep.Unconfirmed) > 0 {
				fmt.Fprintf(tell, "left on by the last run, and not confirmed closed: %v; shut their hand valves and look at the wiring\n", rep.Unconfirmed)
			}
		}
	}
	return rememberLines(g)
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

// toClose is what close-all closes with no gateway running, one after the other:
// what a crashed gateway left on other outputs than the garden file's, and then
// the board lines of that. Each is let go of before the next is opened, since the
// two may share pins. There is none where nothing real is to be closed. A faulty
// garden file is an error only where no list can stand in for it; note then tells
// of it.
func toClose(file string) (gs []*garden.Garden, note string, err error) {
	left, leftErr := rememberedLines()
	g, err := loadGarden(file)
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
// its output switched off like a valve's.
func leftOver(g *garden.Garden, left *inUse) *garden.Garden {
	out := &garden.Garden{Hardware: left.Hardware}
	pump := func(p garden.Pump, hw garden.Hardware) garden.Valve {
		return garden.Valve{Kind: garden.PinValve, Chip: cmp.Or(p.Chip, hw.GPIOChip), Pin: p.Pin, ActiveLow: p.ActiveLow}
	}
	if p := left.Pump; p.Fitted && (!g.Supply.Pump.Fitted || pump(p, left.Hardware) != pump(g.Supply.Pump, g.Hardware)) {
		out.Lines = append(out.Lines, garden.Line{ID: "pump-before", Valve: pump(p, left.Hardware)})
	}
	for _, l := range left.Lines {
		was := outputsOf(&l, left.Hardware)
		if !slices.ContainsFunc(g.Lines, func(n garden.Line) bool { return reflect.DeepEqual(outputsOf(&n, g.Hardware), was) }) {
			l.ID += "-before"
			out.Lines = append(out.Lines, l)
		}
	}
	return out
}
