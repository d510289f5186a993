package main

import (
	"fmt"
	"io"
	"time"

	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/garden"
	"fabricpot/sensors/pulse"
	"fabricpot/valves"
	"fabricpot/valves/gpioline"
)

// waiter waits in real time.
type waiter struct{}

func (waiter) After(d time.Duration) <-chan time.Time { return time.After(d) }

// contactInputs are the input lines of a board's gauges; nil where there is none.
type contactInputs struct {
	meter, rain, float *gpioline.Input
}

// openGauges requests the input lines of meter, rain gauge and float. One that
// can't be had does not keep the plants from water: it is asked for again, and
// what it would say counts as unknown, or for the float as empty.
func (b *board) openGauges(g *garden.Garden, tell io.Writer) (*runner.PulseGauges, contactInputs, error) {
	var in contactInputs
	for _, c := range []struct {
		what string
		at   garden.Contact
		dead time.Duration
		to   **gpioline.Input
	}{
		{"meter", g.Supply.Meter, pulse.DeadTime(g.Supply.MeterPulsesPerL.Or(0), g.Supply.FlowLPH), &in.meter},
		{"rain gauge", g.Rain.Contact, pulse.TipGap(g.Rain.MMPerTip), &in.rain},
		{"float", g.Supply.Float, 0, &in.float},
	} {
		if !c.at.Fitted {
			continue
		}
		l, err := gpioline.Listen(c.at.Chip, c.at.Pin, gpioline.InputOpts{
			Consumer: consumer(garden.LineID(c.what)), To: c.at.To, Pull: c.at.Pull, Debounce: c.at.Debounce,
			Dead: c.dead, Levels: c.to == &in.float, Wait: waiter{},
		})
		if err != nil {
			return nil, in, fmt.Errorf("%s: %w", c.what, err)
		}
		*c.to = l
		b.closers = append(b.closers, l.Close)
		if err := l.Pulses().Err; err != nil {
			fmt.Fprintf(tell, "%s: %v; trying again every few seconds\n", c.what, err)
		}
	}
	// An interface that holds a nil pointer is not nil.
	var from runner.PulseInputs
	if in.meter != nil {
		from.Meter = in.meter
	}
	if in.rain != nil {
		from.Rain = in.rain
	}
	if in.float != nil {
		from.Float = in.float
	}
	gauges, err := runner.NewPulseGauges(g, from)
	return gauges, in, err
}

// addPump prepares the pump, where the garden has one.
func (b *board) addPump(g *garden.Garden) error {
	p := g.Supply.Pump
	if !p.Fitted {
		return nil
	}
	if p.Chip == "" {
		p.Chip = g.Hardware.GPIOChip
	}
	pin, err := b.output(p.Chip, p.Pin, consumer("pump"))
	if err != nil {
		return fmt.Errorf("pump: %w", err)
	}
	b.pump = valves.NewPump(b.own(valves.NewCoil(pin, p.ActiveLow), driverPatience))
	return nil
}

// pumped puts a line behind the pump, where there is one.
func (b *board) pumped(a valves.Actuator) valves.Actuator {
	if b.pump == nil || a == nil {
		return a
	}
	return b.pump.Behind(a)
}

// stopPump stops it before any line is closed. It says where that fails.
func (b *board) stopPump(tell io.Writer) {
	if b.pump == nil {
		return
	}
	for try := range 5 {
		if try > 0 {
			time.Sleep(100 * time.Millisecond)
		}
		err := b.pump.Stop()
		if stopped, known := b.pump.Stopped(); err == nil && stopped && known {
			return
		} else if try == 4 {
			fmt.Fprintf(tell, "pump: not confirmed stopped: %v; switch it off by hand\n", err)
		}
	}
}
