package main

import (
	"fmt"

	"fabricpot/control/garden"
	"fabricpot/valves"
	"fabricpot/valves/gpioline"
)

// valveOn is the driver of a valve on that output: a coil, or a latching valve
// with an output of its own for closing.
func (b *board) valveOn(open outPin, chip string, l *garden.Line) (valves.Actuator, error) {
	if l.Valve.Latch == nil {
		return b.own(valves.NewCoil(open, l.Valve.ActiveLow), driverPatience), nil
	}
	shut, err := b.output(chip, l.Valve.Latch.ClosePin, consumer(l.ID+" close"))
	if err != nil {
		return nil, fmt.Errorf("line %s: %w", l.ID, err)
	}
	latch, err := valves.NewLatch(open, shut, l.Valve.ActiveLow, l.Valve.Latch.Pulse, sleeper{})
	if err != nil {
		return nil, err
	}
	return b.own(latch, driverPatience+l.Valve.Latch.Pulse), nil
}

// closingPin is where a latching valve's other output stands, in words.
func closingPin(chip string, l *garden.Line) (words string, missing string) {
	if l.Valve.Latch == nil {
		return "", ""
	}
	n := l.Valve.Latch.ClosePin
	state, err := gpioline.InUse(chip, n)
	switch {
	case err != nil:
		return fmt.Sprintf(", closes by line %d: missing", n), fmt.Sprintf("line %s: %v", l.ID, err)
	case state.Used:
		return fmt.Sprintf(", closes by line %d: held by %q", n, state.Holder), fmt.Sprintf("line %s: GPIO line %d of %s is held by %q", l.ID, n, chip, state.Holder)
	}
	return fmt.Sprintf(", closes by line %d %s", n, state.Name), ""
}
