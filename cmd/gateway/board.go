package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"time"

	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/garden"
	"fabricpot/sensors"
	"fabricpot/sensors/ads1115"
	"fabricpot/sensors/iio"
	"fabricpot/valves"

	"periph.io/x/conn/v3/i2c"
)

// board is the opened hardware of a garden.
type board struct {
	wiring    wiring
	actuators map[garden.LineID]valves.Actuator
	pump      *valves.Pump // nil where there is none
	owned     []*valves.Owned
	closers   []func() error
}

// Close lets go of the hardware. Lines are closed before that, by the guard. What
// hangs is left behind after driverPatience: the other lines, and who waits to hear
// which hand valve to shut, come first. The kernel takes it back with the program.
func (b *board) Close() error {
	var errs []error
	for _, c := range b.closers {
		done := make(chan error, 1)
		go func() { done <- c() }()
		select {
		case err := <-done:
			errs = append(errs, err)
		case <-time.After(driverPatience):
			errs = append(errs, fmt.Errorf("%w: asked to let go %v ago", valves.ErrHangs, driverPatience))
		}
	}
	return errors.Join(errs...)
}

// driverPatience is how long a call of an output's driver is waited for, beside a
// latching valve's pulse: sound ones take well under a millisecond.
const driverPatience = 250 * time.Millisecond

// own has nobody wait for that output's driver for longer than long.
func (b *board) own(a valves.Actuator, long time.Duration) valves.Actuator {
	o := valves.Own(a, long, waiter{})
	b.owned = append(b.owned, o)
	return o
}

// hangs reports whether a driver does not come back.
func (b *board) hangs() bool {
	return slices.ContainsFunc(b.owned, (*valves.Owned).Hangs)
}

// roundDone tells the service manager of a finished round, unless a driver hangs: that
// holds up other lines for no longer than its patience, once, and only a new start
// helps it.
func (b *board) roundDone(m *manager) {
	if !b.hangs() {
		m.progress()
	}
}

// openLines prepares the GPIO lines of all valves. Nothing is requested from the
// kernel before the first close, which gives the closed level with the request.
func openLines(g *garden.Garden) (*board, error) { return openWired(g, wiring{}) }

// openWired is openLines of a board with that wiring.
func openWired(g *garden.Garden, from wiring) (*board, error) {
	b := &board{wiring: from, actuators: map[garden.LineID]valves.Actuator{}}
	for i := range g.Lines {
		l := &g.Lines[i]
		if l.Valve.Kind == garden.RemoteValve {
			continue // it comes with the broker
		}
		chip := l.Valve.Chip
		if chip == "" {
			chip = g.Hardware.GPIOChip
		}
		pin, err := b.output(chip, l.Valve.Pin, consumer(l.ID))
		if err != nil {
			return nil, fmt.Errorf("line %s: %w", l.ID, err)
		}
		if b.actuators[l.ID], err = b.valveOn(pin, chip, l); err != nil {
			return nil, err
		}
		if err := b.addInjector(g, l); err != nil {
			return nil, err
		}
	}
	if err := b.addPump(g); err != nil {
		return nil, err
	}
	for id, a := range b.actuators {
		b.actuators[id] = b.pumped(a)
	}
	return b, nil
}

// addInjector couples a line's injector to its valve. The pin is known only by
// its label here; nothing is requested before the first close.
func (b *board) addInjector(g *garden.Garden, l *garden.Line) error {
	inj := l.Injector
	if !inj.Switched {
		return nil
	}
	if inj.Chip == "" {
		inj.Chip = g.Hardware.GPIOChip
	}
	pin, err := b.output(inj.Chip, inj.Pin, consumer(l.ID+" feed"))
	if err != nil {
		return fmt.Errorf("injector of line %s: %w", l.ID, err)
	}
	b.actuators[l.ID] = valves.WithInjector(b.actuators[l.ID], b.own(valves.NewCoil(pin, inj.ActiveLow), driverPatience))
	return nil
}

// closeLines commands every line with a coil here closed and confirms it, a few
// times where that fails. A remote valve closes by its own limit at the latest. Each
// is tried once before any is tried again, so that one that fails holds up the
// others for no longer than its patience, and a coil before a latching valve, whose
// pulse takes time.
func (b *board) closeLines(g *garden.Garden, tell io.Writer) runner.CloseReport {
	b.stopPump(tell)
	var left, latches []*garden.Line
	for i := range g.Lines {
		switch l := &g.Lines[i]; {
		case b.actuators[l.ID] == nil:
		case l.Valve.Latch != nil:
			latches = append(latches, l)
		default:
			left = append(left, l)
		}
	}
	left = append(left, latches...)
	rep := runner.CloseReport{Lines: len(left)}
	errs := map[garden.LineID]error{}
	for try := 0; try < 5 && len(left) > 0; try++ {
		if try > 0 {
			time.Sleep(100 * time.Millisecond)
		}
		left = slices.DeleteFunc(left, func(l *garden.Line) bool {
			act := b.actuators[l.ID]
			if errs[l.ID] = act.Close(); errs[l.ID] != nil {
				return false
			}
			closed, known := act.Closed()
			return closed && known
		})
	}
	rep.Closed = rep.Lines - len(left)
	for i := range g.Lines {
		l := &g.Lines[i]
		if !slices.Contains(left, l) {
			continue
		}
		rep.Unconfirmed = append(rep.Unconfirmed, l.ID)
		if err := errs[l.ID]; err != nil {
			fmt.Fprintf(tell, "line %s: %v\n", l.ID, err)
		}
	}
	return rep
}

// consumer is the name the kernel shows for a line we hold; it has room for 31
// bytes.
func consumer(id garden.LineID) string {
	name := "gateway " + string(id)
	return name[:min(len(name), 31)]
}

// sleeper waits in real time.
type sleeper struct{}

func (sleeper) Sleep(d time.Duration) { time.Sleep(d) }

// openInputs opens converters on the board's buses as the sampler asks for them,
// once per chip and again after one failed, so that each is probed anew. Bus
// handles are shared.
func openInputs(g *garden.Garden, b *board) func(garden.Input) (sensors.VoltReader, error) {
	buses := map[string]i2c.BusCloser{}
	return func(in garden.Input) (sensors.VoltReader, error) {
		if name, ok := in.Kernel(); ok {
			return iio.New(os.DirFS(iio.Devices), name)
		}
		name := in.Bus
		if name == "" {
			name = g.Hardware.I2CBus
		}
		bus, ok := buses[name]
		if !ok {
			var err error
			if bus, err = b.bus(name); err != nil {
				return nil, err
			}
			buses[name] = bus
		}
		return ads1115.New(bus, in.Addr, sleeper{}, ads1115.Opts{})
	}
}
