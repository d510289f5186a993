package main

import (
	"context"
	"errors"
	"fmt"
	"math"

	"fabricpot/control/garden"
	"fabricpot/sensors/calibrate"
)

// probeTest waters the pots and says which probes answered.
func (f flowFlags) probeTest(ctx context.Context, s streams, st *stand, line *garden.Line) error {
	before := st.lookAll(5)
	if _, err := f.give(ctx, s, st, line); err != nil {
		return err
	}
	fmt.Fprintf(s.err, "giving the water %v to reach the probes; every line is closed\n", f.settle)
	if _, err := st.wait(ctx, f.settle); err != nil {
		return err
	}
	after := st.lookAll(5)
	var answers []calibrate.Answer
	for i, p := range st.u.garden.ProbeList() {
		if math.IsNaN(before[i][0]) || math.IsNaN(after[i][0]) {
			fmt.Fprintf(s.out, "probe %s cannot be read\n", p.ID)
			continue
		}
		a := calibrate.Answer{Probe: p.ID, Change: after[i][0] - before[i][0], Noise: before[i][1]}
		for _, o := range line.Outlets {
			a.Watered = a.Watered || o.Zone == p.Zone
		}
		answers = append(answers, a)
		fmt.Fprintf(s.out, "probe %s: %+.1f points of water\n", p.ID, 100*a.Change)
	}
	wiring := calibrate.Moved(answers)
	fmt.Fprintln(s.out, wiring)
	if wiring.Swapped() {
		return errors.New("probes seem to be swapped")
	}
	return nil
}
