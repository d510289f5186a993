package bench

import (
	"encoding/binary"
	"math"
	"time"
)

// Registers and fields of the ADS1115, from Texas Instruments SBAS444D. They are
// written down here a second time on purpose: a driver checked against its own
// constants would prove nothing.
const (
	firstAddr = 0x48
	maxChips  = 4

	resetConfig = 0x8583 // with the ready bit, which is not stored
	osBit       = 1 << 15
	modeBit     = 1 << 8
)

var (
	// lsbUV is the size of a count in µV by PGA code.
	lsbUV = [8]float64{187.5, 125, 62.5, 31.25, 15.625, 7.8125, 7.8125, 7.8125}
	// perSecond is the data rate by DR code.
	perSecond = [8]float64{8, 16, 32, 64, 128, 250, 475, 860}
)

// wake is how long the chip takes out of power-down before a single conversion.
const wake = 25 * time.Microsecond

// Chip is the register file of an ADS1115 with its four inputs.
type Chip struct {
	clk    *Clock
	addr   uint16
	supply float64
	in     [4]*Input // nil is an input with nothing on it

	// regs are the registers as they read, by their pointer: the conversion, the
	// configuration with the ready bit, the two thresholds.
	regs    [4]uint16
	pointer byte
	doneAt  time.Duration // of the conversion under way, idle while there is none
	next    int16         // its code

	// What follows from config, the configuration without the ready bit, and from slow is
	// kept: a driver writes the same one for each conversion of a burst.
	config      uint16
	period      time.Duration
	plus, minus int
	lsbUV       float64

	absent bool
	slow   float64
}

// idle is when a conversion ends that is not under way.
const idle = time.Duration(math.MaxInt64)

func newChip(clk *Clock, addr uint16, supply float64) *Chip {
	c := &Chip{clk: clk, addr: addr, supply: supply}
	c.powerUp()
	return c
}

func (c *Chip) powerUp() {
	c.regs, c.pointer, c.doneAt = [4]uint16{2: 0x8000, 3: 0x7FFF}, 0, idle
	c.configure(resetConfig)
}

func (c *Chip) configure(v uint16) {
	c.config = v &^ osBit
	c.period = time.Duration(float64(time.Second) * (1 + c.slow) / perSecond[v>>5&7])
	mux := muxed[v>>12&7]
	c.plus, c.minus, c.lsbUV = mux.plus, mux.minus, lsbUV[v>>9&7]
	if c.regs[1] = c.config; c.doneAt == idle {
		c.regs[1] |= osBit
	}
}

// BrownOut loses the chip's supply for a moment: every register falls back and a
// conversion under way is lost.
func (c *Chip) BrownOut() {
	c.powerUp()
}

// SetAbsent takes the chip off the bus, or puts it back as after power-on.
func (c *Chip) SetAbsent(absent bool) {
	if c.absent && !absent {
		c.powerUp()
	}
	c.absent = absent
}

// SlowBy makes the chip's oscillator slow by a share, 0 to 0.1 for a chip within
// its specification.
func (c *Chip) SlowBy(share float64) {
	c.slow = max(0, share)
	c.configure(c.config)
}

// tx is any transaction with the chip: the bytes after the address, pointer and a
// register's two bytes, and then what is read. A lone second byte changes nothing,
// since a register is taken over as a whole.
func (c *Chip) tx(w, r []byte) {
	switch {
	case len(w) >= 3:
		c.set(w[0], binary.BigEndian.Uint16(w[1:]))
	case len(w) > 0:
		c.pointer = w[0] & 3
	}
	if len(r) > 0 {
		c.read(r)
	}
}

// set points at a register and takes a word over into it. The conversion is not written.
func (c *Chip) set(pointer byte, v uint16) {
	if c.pointer = pointer & 3; pointer&3 != 1 {
		if pointer&3 != 0 {
			c.regs[pointer&3] = v
		}
		return
	}
	c.settle()
	if v&^osBit != c.config {
		c.configure(v)
	}
	// OS starts a conversion only from power-down; continuous mode always
	// converts.
	if c.doneAt == idle && (v&osBit != 0 || v&modeBit == 0) {
		c.start(wake)
	}
}

// read fills r from the register the pointer names, high byte first. The
// pointer stays, so further bytes repeat it.
func (c *Chip) read(r []byte) {
	v := c.get()
	for i := range r {
		if i%2 == 0 {
			r[i] = byte(v >> 8)
		} else {
			r[i] = byte(v)
		}
	}
}

// get is what the register holds that the pointer names.
func (c *Chip) get() uint16 {
	c.settle()
	return c.regs[c.pointer&3]
}

// settle finishes a conversion whose time is over. Until then the result
// register holds the one before.
func (c *Chip) settle() {
	if c.clk.now >= c.doneAt {
		c.finish()
	}
}

func (c *Chip) finish() {
	behind := c.clk.now - c.doneAt
	c.regs[0], c.regs[1], c.doneAt = uint16(c.next), c.config|osBit, idle
	if c.config&modeBit == 0 {
		c.goOn(behind)
	}
}

// goOn is continuous mode: it went on converting while nobody looked.
func (c *Chip) goOn(behind time.Duration) {
	c.start(0)
	c.doneAt = c.clk.now - behind%c.period + c.period
	if behind >= c.period {
		c.regs[0] = uint16(c.next)
		c.next = c.convert()
	}
}

// start begins a conversion with the configuration of this moment; a later
// write changes the next one only.
func (c *Chip) start(after time.Duration) {
	c.regs[1] = c.config
	c.doneAt = c.clk.now + after + c.period
	c.next = c.convert()
}

// muxed are the inputs between which the multiplexer's codes measure; ground is none.
var muxed = [8]struct{ plus, minus int }{{0, 1}, {0, 3}, {1, 3}, {2, 3}, {0, ground}, {1, ground}, {2, ground}, {3, ground}}

const ground = -1

// convert is the code of the voltage the multiplexer selects, rounded to the
// count and held at the ends of the range.
func (c *Chip) convert() int16 {
	v := c.held(c.pin(c.plus))
	if c.minus != ground {
		v -= c.held(c.pin(c.minus))
	}
	code := math.RoundToEven(v * 1e6 / c.lsbUV)
	// Comparisons instead of min and max, here and in held: those order NaN and
	// signed zero, at a cost.
	if code > math.MaxInt16 {
		return math.MaxInt16
	}
	if code < math.MinInt16 {
		return math.MinInt16
	}
	return int16(code)
}

// pin is the voltage that comes to an input. One with nothing on it is pulled up.
func (c *Chip) pin(i int) float64 {
	if in := c.in[i&3]; in != nil {
		return in.volts()
	}
	return c.supply
}

// held is what the protection diodes leave of a voltage: they hold it within 0.3 V
// of the supply.
func (c *Chip) held(v float64) float64 {
	if most := c.supply + 0.3; v > most {
		return most
	}
	if v < -0.3 {
		return -0.3
	}
	return v
}
