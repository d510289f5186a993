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
	// starts begin a conversion of each channel, toResult and toConfig go before the
	// reading of a register: the bytes sent are always the same.
	starts   [channels][3]byte
	toResult [1]byte
	toConfig [1]byte
	first    time.Duration
	poll     time.Duration
	lsb      float64 // volts per count

	// Mutable: what was read, kept so that a Read allocates nothing.
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
	d.toResult[0], d.toConfig[0] = regConversion, regConfig
	d.first, d.poll = waits(dr)
	for ch := range d.words {
		d.words[ch] = word(ch, pga, dr)
		d.starts[ch] = frame(d.words[ch])
	}
	if err := d.probe(); err != nil {
		return nil, fmt.Errorf("ads1115 %#x: %w", addr, err)
	}
	return d, nil
}

// probe writes a harmless configuration and expects to read it back.
func (d *Dev) probe() error {
	want := d.words[0] &^ osStart
	harmless := frame(want)
	if err := d.bus.Tx(d.addr, harmless[:], nil); err != nil {
		return fmt.Errorf("no chip answers: %w", err)
	}
	got, err := d.read(d.toConfig[:])
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
	if err := d.bus.Tx(d.addr, d.starts[channel][:], nil); err != nil {
		return 0, d.failed(channel, fmt.Errorf("start conversion: %w", err))
	}
	d.wait.Sleep(d.first)
	config := d.words[channel]
	for polls := 1; ; polls++ {
		// Read back as it was written is ready, the ready bit being the start's.
		got, err := d.read(d.toConfig[:])
		if err == nil && got == config {
			break
		}
		if err := judge(got, config, err); err != nil {
			return 0, d.failed(channel, err)
		}
		if polls == maxPolls {
			return 0, d.failed(channel, ErrTimeout)
		}
		d.wait.Sleep(d.poll)
	}
	got, err := d.read(d.toResult[:])
	if err != nil {
		return 0, d.failed(channel, fmt.Errorf("read conversion: %w", err))
	}
	if got == 0 {
		// Zero is also what the register holds after a reset, and a reset may
		// have come between the last poll and this read. A real zero is rare
		// enough to ask once more.
		again, err := d.read(d.toConfig[:])
		if err := judge(again, config, err); err != nil {
			return 0, d.failed(channel, err)
		}
	}
	return garden.RawCounts(int16(got)), nil
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

// judge is what is wrong with the configuration register, polled while config is
// under way: nil where it is only not ready yet.
func judge(got, config uint16, err error) error {
	switch {
	case err != nil:
		return fmt.Errorf("poll ready bit: %w", err)
	case got == resetWord:
		return ErrReset
	case got|osStart != config:
		return fmt.Errorf("%w: wrote %#04x, read %#04x", ErrConfig, config, got)
	}
	return nil
}

func (d *Dev) failed(channel int, err error) error {
	return fmt.Errorf("ads1115 %#x channel %d: %w", d.addr, channel, err)
}

// frame writes the configuration register: pointer and word in one transaction,
// high byte first.
func frame(config uint16) (w [3]byte) {
	w[0] = regConfig
	binary.BigEndian.PutUint16(w[1:], config)
	return w
}

// read sets the pointer and reads its register in one transaction, so that no
// other master can move the pointer in between.
func (d *Dev) read(pointer []byte) (uint16, error) {
	err := d.bus.Tx(d.addr, pointer, d.r[:])
	return binary.BigEndian.Uint16(d.r[:]), err
}
