package main

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"strings"
	"time"

	"fabricpot/sensors/ads1115"

	"golang.org/x/sys/unix"
	"periph.io/x/conn/v3/i2c"
	"periph.io/x/host/v3/sysfs"
)

const (
	thermometer = 0x48 // a TMP105, at the first converter's address
	memory      = 0x49 // an AT24C32, at the second's
	nobody      = 0x4a
)

type sleeper struct{}

func (sleeper) Sleep(d time.Duration) { time.Sleep(d) }

// checkBus drives the library that carries the converters' traffic over a real
// I²C controller, kernel driver and chip.
func checkBus(h *host, b bench) {
	var number int
	if _, err := fmt.Sscanf(b.bus, "/dev/i2c-%d", &number); err != nil {
		h.check("the bus's number", err)
		return
	}
	bus, err := sysfs.NewI2C(number)
	if !h.check("open "+b.bus, err) {
		return
	}
	defer bus.Close()
	h.check("registers are read as the chip has them", registers(h, bus))
	h.check("a conversion is started, awaited and read by the converters' driver", converts(h, bus))
	h.check("what is written to a memory is read back", remembers(bus))
	h.check("an absent address is an error and the bus goes on", absent(bus))
	h.check("a chip that is no converter is told from one", foreign(bus))
	h.check("a bus that hangs is an error in time, and comes back", hangs(h, bus))
	_, err = sysfs.NewI2C(99)
	if err == nil {
		err = errors.New("a bus that is not there was opened")
	} else {
		err = nil
	}
	h.check("an absent bus is an error", err)
}

// registers reads the thermometer at temperatures the host sets: 12 bits,
// left-justified, 0.0625 °C each (TMP105 data sheet, SBOS306, from memory; the
// emulated chip was written from it by others).
func registers(h *host, bus i2c.Bus) error {
	for _, want := range []float64{25.5, -10.25, 0.0625} {
		if _, err := h.ask("warm %d", int(want*1000)); err != nil {
			return err
		}
		got, err := temperature(bus)
		if err != nil {
			return err
		}
		if math.Abs(got-want) > 0.0626 {
			return fmt.Errorf("read %g °C, the chip was at %g °C", got, want)
		}
	}
	return nil
}

// converts lets the converters' driver take the thermometer for a converter: both
// have their result in register 0 and a 16-bit word in register 1, and the
// emulated one gives back what was written there, but for the bit that tells of
// the end of a conversion. So the driver's whole traffic runs over the real bus:
// first it must give up in time, then, with that bit put in on the way, return
// the temperature in units of 1/256 °C.
func converts(h *host, bus i2c.Bus) error {
	d, err := ads1115.New(bus, thermometer, sleeper{}, ads1115.Opts{})
	if err != nil {
		return err
	}
	if _, err := d.Read(0); !errors.Is(err, ads1115.ErrTimeout) {
		return fmt.Errorf("got %v, expected %v", err, ads1115.ErrTimeout)
	}
	if d, err = ads1115.New(always{bus}, thermometer, sleeper{}, ads1115.Opts{}); err != nil {
		return err
	}
	for _, milli := range []int{25500, -10500} {
		if _, err := h.ask("warm %d", milli); err != nil {
			return err
		}
		got, err := d.Read(0)
		if err != nil {
			return err
		}
		if want := milli * 256 / 1000; int(got) != want {
			return fmt.Errorf("read %d counts at %d m°C, expected %d", got, milli, want)
		}
	}
	return nil
}

// always is a bus on which every conversion is over.
type always struct{ i2c.Bus }

func (a always) Tx(addr uint16, w, r []byte) error {
	err := a.Bus.Tx(addr, w, r)
	if len(r) == 2 && w[0] == 1 {
		r[0] |= 0x80
	}
	return err
}

func temperature(bus i2c.Bus) (float64, error) {
	// Twelve bits: the chip starts with nine.
	if err := bus.Tx(thermometer, []byte{1, 0x60}, nil); err != nil {
		return 0, err
	}
	var r [2]byte
	if err := bus.Tx(thermometer, []byte{0}, r[:]); err != nil {
		return 0, err
	}
	return float64(int16(uint16(r[0])<<8|uint16(r[1]))) / 256, nil
}

func remembers(bus i2c.Bus) error {
	want := []byte("fabric pot")
	if err := bus.Tx(memory, append([]byte{0x01, 0x20}, want...), nil); err != nil {
		return err
	}
	got := make([]byte, len(want))
	if err := bus.Tx(memory, []byte{0x01, 0x20}, got); err != nil {
		return err
	}
	if !bytes.Equal(got, want) {
		return fmt.Errorf("wrote %q, read %q", want, got)
	}
	return nil
}

func absent(bus i2c.Bus) error {
	start := time.Now()
	_, err := ads1115.New(bus, nobody, sleeper{}, ads1115.Opts{})
	// The library keeps the kernel's words but not its error.
	if err == nil || !strings.Contains(err.Error(), unix.ENXIO.Error()) {
		return fmt.Errorf("got %v, expected %v", err, unix.ENXIO)
	}
	if took := time.Since(start); took > 2*time.Second {
		return fmt.Errorf("it took %v to find out", took)
	}
	_, err = temperature(bus)
	return err
}

func foreign(bus i2c.Bus) error {
	_, err := ads1115.New(bus, memory, sleeper{}, ads1115.Opts{})
	if !errors.Is(err, ads1115.ErrConfig) {
		return fmt.Errorf("got %v, expected %v", err, ads1115.ErrConfig)
	}
	return nil
}

// hangs has the host switch the controller off under the kernel's driver: no
// transfer ends any more, as with a wire that is held low.
func hangs(h *host, bus i2c.Bus) error {
	if _, err := h.ask("bus off"); err != nil {
		return err
	}
	start := time.Now()
	_, err := ads1115.New(bus, thermometer, sleeper{}, ads1115.Opts{})
	took := time.Since(start)
	if _, err := h.ask("bus on"); err != nil {
		return err
	}
	if err == nil || !strings.Contains(err.Error(), unix.ETIMEDOUT.Error()) {
		return fmt.Errorf("got %v, expected %v", err, unix.ETIMEDOUT)
	}
	if took > 5*time.Second {
		return fmt.Errorf("it took %v to find out", took)
	}
	_, err = temperature(bus)
	return err
}
