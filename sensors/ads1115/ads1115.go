package ads1115

import (
	"encoding/binary"
	"errors"
	"fmt"
	"time"

	"fabricpot/control/garden"

	"periph.io/x/conn/v3/i2c"
)

var (
	// ErrReset: the chip shows its power-on configuration in the middle of a
	// conversion, so its supply failed for a moment. Read again; when it
	// happens often, look at the supply.
	ErrReset = errors.New("the chip was reset: its supply failed for a moment")
	// ErrTimeout: the ready bit did not come within twice the conversion time.
	ErrTimeout = errors.New("no conversion within twice its time")
	// ErrConfig: the configuration does not read back as written: another kind
	// of chip, another master on the bus, or a bad cable.
	ErrConfig = errors.New("the configuration does not read back")
)

// Waiter lets time pass: the board's clock, or the simulator's.
type Waiter interface {
	Sleep(d time.Duration)
}

// Dev is one ADS1115.
type Dev struct {
	// Immutable.
	bus   i2c.Bus
	addr  uint16
	wait  Waiter
	words [channels]uint16
	first time.Duration
	poll  time.Duration
	lsb   float64 // volts per count

	// Mutable: transfer buffers, kept so that a Read allocates nothing.
	w [3]byte
	r [2]byte
}

// New probes the chip at addr (0x48 to 0x4B) and returns a driver for it. It
// writes the configuration without starting a conversion and reads it back, so
// an absent chip, or another kind of chip at that address, is an error here and
// not at the first reading.
func New(bus i2c.Bus, addr uint16, w Waiter, opts Opts) (*Dev, error) {
	if bus == nil || w == nil {
		return nil, fmt.Errorf("ads1115 %#x: bus and waiter must be given", addr)
	}
	if addr < 0x48 || addr > 0x4B {
		return nil, fmt.Errorf("ads1115 %#x: address out of 0x48 to 0x4b, see the ADDR pin", addr)
	}
	pga, dr, err := opts.fields()
	if err != nil {
		return nil, fmt.Errorf("ads1115 %#x: %w", addr, err)
	}
	d := &Dev{bus: bus, addr: addr, wait: w, lsb: fullScales[pga] / 32768}
	d.first, d.poll = waits(dr)
	for ch := range d.words {
		d.words[ch] = word(ch, pga, dr)
	}
	if err := d.probe(); err != nil {
		return nil, fmt.Errorf("ads1115 %#x: %w", addr, err)
	}
	return d, nil
}

// probe writes a harmless configuration and expects to read it back.
func (d *Dev) probe() error {
	want := d.words[0] &^ osStart
	if err := d.writeConfig(want); err != nil {
		return fmt.Errorf("no chip answers: %w", err)
	}
	got, err := d.read(regConfig)
	if err != nil {
		return fmt.Errorf("read configuration: %w", err)
	}
	if got&^osStart != want {
		return fmt.Errorf("%w: wrote %#04x, read %#04x, is it an ADS1115?", ErrConfig, want, got)
	}
	return nil
}

// Read makes one conversion of channel 0 to 3 against ground and returns its
// code, -32768 to 32767. It waits for about one conversion time on the Waiter.
func (d *Dev) Read(channel int) (garden.RawCounts, error) {
	if channel < 0 || channel >= channels {
		return 0, fmt.Errorf("ads1115 %#x: channel %d, expected 0 to 3", d.addr, channel)
	}
	raw, err := d.convert(d.words[channel])
	if err != nil {
		return 0, fmt.Errorf("ads1115 %#x channel %d: %w", d.addr, channel, err)
	}
	return raw, nil
}

// ReadVolts makes one conversion of a channel and returns it in volts.
func (d *Dev) ReadVolts(channel int) (garden.Volts, error) {
	raw, err := d.Read(channel)
	if err != nil {
		return 0, err
	}
	return d.Volts(raw), nil
}

// Volts is the voltage of a code at the Dev's full scale: full scale/32768 per
// count (SBAS444D table "Full-scale range and corresponding LSB size").
func (d *Dev) Volts(raw garden.RawCounts) garden.Volts {
	return garden.Volts(float64(raw) * d.lsb)
}

// String names the chip.
func (d *Dev) String() string { return fmt.Sprintf("ads1115 %#x on %s", d.addr, d.bus) }

func (d *Dev) convert(config uint16) (garden.RawCounts, error) {
	if err := d.writeConfig(config); err != nil {
		return 0, fmt.Errorf("start conversion: %w", err)
	}
	d.wait.Sleep(d.first)
	for polls := 1; ; polls++ {
		ready, err := d.ready(config)
		if err != nil {
			return 0, err
		}
		if ready {
			break
		}
		if polls == maxPolls {
			return 0, ErrTimeout
		}
		d.wait.Sleep(d.poll)
	}
	got, err := d.read(regConversion)
	if err != nil {
		return 0, fmt.Errorf("read conversion: %w", err)
	}
	if got == 0 {
		// Zero is also what the register holds after a reset, and a reset may
		// have come between the last poll and this read. A real zero is rare
		// enough to ask once more.
		if _, err := d.ready(config); err != nil {
			return 0, err
		}
	}
	return garden.RawCounts(int16(got)), nil
}

// ready polls the configuration register, and judges the rest of it as well.
func (d *Dev) ready(config uint16) (bool, error) {
	got, err := d.read(regConfig)
	switch {
	case err != nil:
		return false, fmt.Errorf("poll ready bit: %w", err)
	case got == resetWord:
		return false, ErrReset
	case got|osStart != config:
		return false, fmt.Errorf("%w: wrote %#04x, read %#04x", ErrConfig, config, got)
	}
	return got&osStart != 0, nil
}

// writeConfig sends pointer and word in one transaction, high byte first.
func (d *Dev) writeConfig(v uint16) error {
	d.w[0] = regConfig
	binary.BigEndian.PutUint16(d.w[1:], v)
	return d.bus.Tx(d.addr, d.w[:], nil)
}

// read sets the pointer and reads the register in one transaction, so that no
// other master can move the pointer in between.
func (d *Dev) read(reg byte) (uint16, error) {
	d.w[0] = reg
	if err := d.bus.Tx(d.addr, d.w[:1], d.r[:]); err != nil {
		return 0, err
	}
	return binary.BigEndian.Uint16(d.r[:]), nil
}
