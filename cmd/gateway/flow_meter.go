package main

import (
	"context"
	"errors"
	"fmt"

	"fabricpot/control/garden"
)

// measureByMeter tells a line's flow by the flow meter alone.
func (f flowFlags) measureByMeter(ctx context.Context, s streams, st *stand, line *garden.Line) error {
	perL := st.u.garden.Supply.MeterPulsesPerL
	before, counts := st.pulsed()
	switch {
	case !perL.Known:
		return errors.New("the garden file has no meter: say its pulses per litre and its pin under supply")
	case st.gauges.meter == nil:
		return errors.New("the meter is not wired to this board: say its pin beside its constant, under supply")
	case !counts:
		return fmt.Errorf("the meter can't be read: %w", st.gauges.meter.Pulses().Err)
	}
	given, err := f.give(ctx, s, st, line)
	if err != nil {
		return err
	}
	after, counts := st.pulsed()
	if !counts {
		return fmt.Errorf("the meter was lost meanwhile: %w", st.gauges.meter.Pulses().Err)
	}
	n := after - before
	if n == 0 {
		return fmt.Errorf("the meter counted nothing in %v: look at tap and filter, at the meter's plug and direction, and at the resistor at its pin", given.Open)
	}
	ml := 1000 * float64(n) / perL.Value
	flow := lph(ml, given.Open)
	fmt.Fprintf(s.out, "line %s gives %.2f L/h by the meter (%d pulses, ± %.2f by one) where the label says %.2f: %.0f %%\n",
		line.ID, flow, n, lph(1000/perL.Value, given.Open), line.FlowLPH(), 100*flow/line.FlowLPH())
	switch {
	case n < leastPulses && f.write:
		return fmt.Errorf("nothing was written: under %d pulses one more or less says too much; measure longer with --minutes, or with cups", leastPulses)
	case n < leastPulses:
		fmt.Fprintln(s.out, "note: few pulses; measure longer with --minutes")
	}
	if !f.write {
		return nil
	}
	// Nobody knows which emitter gave what: the label's shares stand.
	cups := cupsOf(line)
	for i := range cups {
		cups[i].caught = ml * cups[i].rated / line.FlowLPH()
	}
	return writeFlows(s, st.u.name, line, cups, given.Open, found{})
}
