package main

import (
	"fmt"
	"time"

	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/valves/gpioline"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/i2c"
	"periph.io/x/host/v3/sysfs"
)

// outPin is a pin that is driven until it is let go of.
type outPin interface {
	gpio.PinOut
	Close() error
}

// boardClock is a board's time, which goes on while the program does not run.
type boardClock interface {
	runner.Clock
	SinceBoot() time.Duration
}

// wiring is where a board's outputs, buses and time come from; what is nil comes from
// this machine's kernel. The kill harness has a gateway of its own, whole in all else,
// take them from another process.
type wiring struct {
	// pin is asked for an output by its chip's label; consumer is who the kernel shows.
	pin   func(chip string, n int, consumer string) (outPin, error)
	i2c   func(name string) (i2c.BusCloser, error)
	clock func(zone *time.Location) boardClock
}

// output prepares one, and lets go of it with the board. Nothing is requested from
// the kernel before the first close.
func (b *board) output(chip string, n int, holder string) (outPin, error) {
	pin := b.wiring.pin
	if pin == nil {
		pin = kernelPin
	}
	o, err := pin(chip, n, holder)
	if err != nil {
		return nil, err
	}
	b.closers = append(b.closers, o.Close)
	return o, nil
}

// bus opens an I²C bus, and lets go of it with the board.
func (b *board) bus(name string) (i2c.BusCloser, error) {
	open := b.wiring.i2c
	if open == nil {
		open = kernelBus
	}
	bus, err := open(name)
	if err != nil {
		return nil, err
	}
	b.closers = append(b.closers, bus.Close)
	return bus, nil
}

// clock is the board's clock.
func (b *board) clock(zone *time.Location) boardClock {
	if b.wiring.clock == nil {
		return runner.NewBoardClock(zone)
	}
	return b.wiring.clock(zone)
}

func kernelPin(chip string, n int, holder string) (outPin, error) {
	l, err := gpioline.New(chip, n, gpioline.Opts{Consumer: holder})
	if err != nil {
		return nil, err // and no interface around a nil line
	}
	return l, nil
}

func kernelBus(name string) (i2c.BusCloser, error) {
	number, err := busNumber(name, i2cDevices)
	if err != nil {
		return nil, err
	}
	bus, err := sysfs.NewI2C(number)
	if err != nil {
		return nil, fmt.Errorf("I²C bus %s: %w; is the bus switched on in the board's settings, and may this user open it?", name, err)
	}
	return bus, nil
}
