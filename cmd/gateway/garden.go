package main

import (
	"fmt"
	"io"
	"time"

	"fabricpot/cmd/gateway/internal/config"
	"fabricpot/cmd/gateway/internal/notify"
	"fabricpot/control"
	"fabricpot/control/feeding"
	"fabricpot/control/garden"
	"fabricpot/testdata"
)

// exampleName is what messages call the garden that the program carries.
const exampleName = "testdata/terrace.yaml"

// understood is a garden file and what the controller makes of it.
type understood struct {
	name   string
	garden *garden.Garden
	plan   *control.Plan // nil until reckon
	source *config.Source
	// warnings name FILE:LINE:COLUMN.
	warnings []string
}

// understand reads a garden file, or the example where args is empty, and
// refuses it with all its faults at once.
func understand(args []string) (*understood, error) {
	u, err := readGarden(args)
	if err != nil {
		return nil, err
	}
	if err := u.reckon(); err != nil {
		return nil, err
	}
	return u, nil
}

// readGarden is understand without the plan: all that closing needs, which must
// wait for nothing else and not fail with it.
func readGarden(args []string) (*understood, error) {
	name, src := exampleName, testdata.Terrace
	if len(args) > 0 {
		name = args[0]
		var err error
		if src, err = config.ReadFile(name); err != nil {
			return nil, err
		}
	}
	return readText(name, src)
}

func readText(name string, src []byte) (*understood, error) {
	g, source, err := config.Load(name, src)
	if err != nil {
		return nil, err
	}
	u := &understood{name: name, garden: g, source: source}
	for _, p := range source.Warnings {
		u.warnings = append(u.warnings, p.String())
	}
	return u, nil
}

// understandText is understand for a text; where it is another version of a
// garden, that is like.
func understandText(name string, src []byte, like *garden.Garden) (*understood, error) {
	u, err := readText(name, src)
	if err != nil {
		return nil, err
	}
	if like != nil {
		config.Align(like, u.garden)
	}
	if err := u.reckon(); err != nil {
		return nil, err
	}
	return u, nil
}

// reckon makes the plan of a garden that was read, and refuses one that can't be
// planned with all its faults at once.
func (u *understood) reckon() error {
	g := u.garden
	plan, problems, err := control.NewPlan(g)
	var fatal config.Problems
	for _, p := range append(problems, feeding.Check(g)...) {
		if at := u.source.Locate(p); p.Fatal {
			fatal = append(fatal, at)
		} else {
			u.warnings = append(u.warnings, at.String())
		}
	}
	if len(fatal) > 0 {
		return fatal
	}
	if err != nil {
		return err
	}
	for _, p := range config.PlantedAfter(g, u.source, time.Now()) {
		u.warnings = append(u.warnings, p.String())
	}
	u.plan = plan
	return nil
}

// planOf plans a garden that was checked.
func planOf(g *garden.Garden) (*control.Plan, error) {
	plan, _, err := control.NewPlan(g)
	return plan, err
}

// waysAmiss are warnings of what is wrong with the files that the ways need by which
// alarms reach people. The garden is kept without them.
func (u *understood) waysAmiss() (out []string) {
	for _, p := range notify.Look(u.garden.Calling) {
		out = append(out, u.source.Locate(p).String())
	}
	return out
}

func (u *understood) printWarnings(w io.Writer) {
	for _, s := range u.warnings {
		fmt.Fprintln(w, s)
	}
}

func loadGarden(path string) (*garden.Garden, error) {
	u, err := understand([]string{path})
	if err != nil {
		return nil, err
	}
	return u.garden, nil
}
