package main

import (
	"fmt"
	"io"

	"fabricpot/control/garden"
)

// printGauges says what watches and drives the water, and where it is wired.
func printGauges(w io.Writer, g *garden.Garden) {
	at := func(fitted bool, chip string, pin int) string {
		switch {
		case g.Hardware.Kind == garden.Bench:
			return "on the bench"
		case !fitted:
			return "wired to nothing"
		}
		return fmt.Sprintf("on line %d of %s", pin, chip)
	}
	s := &g.Supply
	if s.MeterPulsesPerL.Known {
		fmt.Fprintf(w, "flow meter: %g pulses/L, %s\n", s.MeterPulsesPerL.Value, at(s.Meter.Fitted, s.Meter.Chip, s.Meter.Pin))
	}
	if s.Float.Fitted {
		fmt.Fprintf(w, "float: closed while there is water, %s\n", at(true, s.Float.Chip, s.Float.Pin))
	}
	if p := s.Pump; p.Fitted {
		fmt.Fprintf(w, "pump: %s, at most %v in one go", at(true, p.Chip, p.Pin), p.MaxRun)
		if p.FlowWithin > 0 {
			fmt.Fprintf(w, ", stopped after %v without flow", p.FlowWithin)
		}
		fmt.Fprintln(w)
	}
	if g.Rain.Fitted {
		fmt.Fprintf(w, "rain gauge: %g mm a tip, %s\n", g.Rain.MMPerTip, at(true, g.Rain.Chip, g.Rain.Pin))
	}
}
