package bench

import (
	"encoding/binary"
	"errors"
	"fmt"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"
)

// ErrNoAck: nobody acknowledged the address, as a kernel reports an absent chip.
var ErrNoAck = errors.New("no acknowledge")

// ErrStuck: a line of the bus is held low, so no transaction gets through.
var ErrStuck = errors.New("bus stuck: a line is held low")

// Bus is an I²C bus with up to four ADS1115.
type Bus struct {
	name  string
	clk   *Clock
	chips [maxChips]*Chip
	steps uint64
	stuck bool
	hook  func(step uint64, addr uint16) error
}

// String names the bus.
func (b *Bus) String() string { return "bench bus " + b.name }

// SetSpeed accepts every speed: transactions take no virtual time.
func (b *Bus) SetSpeed(physic.Frequency) error { return nil }

// Tx does a transaction: write, then read.
func (b *Bus) Tx(addr uint16, w, r []byte) error {
	b.steps++
	i := uint(addr) - firstAddr
	if i >= maxChips || b.hook != nil || b.stuck {
		return b.trouble(addr, w, r)
	}
	c := b.chips[i]
	if c == nil || c.absent {
		return b.trouble(addr, w, r)
	}
	// What a driver does: a register is read, or one is written. A terrace of twelve
	// probes makes 180 transactions a simulated minute.
	switch {
	case len(w) == 1 && len(r) == 2:
		c.pointer = w[0] & 3
		// Written as one word, since that is how a driver reads it: a processor
		// waits where two bytes that were just written are read as one word.
		binary.BigEndian.PutUint16(r, c.get())
	case len(w) == 3 && len(r) == 0:
		c.set(w[0], binary.BigEndian.Uint16(w[1:]))
	default:
		c.tx(w, r)
	}
	return nil
}

// trouble is Tx where something is amiss, or watched.
func (b *Bus) trouble(addr uint16, w, r []byte) error {
	if b.hook != nil {
		if err := b.hook(b.steps, addr); err != nil {
			return fails(addr, err)
		}
	}
	if b.stuck {
		return fails(addr, ErrStuck)
	}
	c := b.Chip(addr)
	if c == nil || c.absent {
		return fails(addr, ErrNoAck)
	}
	c.tx(w, r)
	return nil
}

func fails(addr uint16, err error) error { return fmt.Errorf("bench: address %#x: %w", addr, err) }

// Chip is the converter at an address, nil where there is none.
func (b *Bus) Chip(addr uint16) *Chip {
	if addr < firstAddr || addr >= firstAddr+maxChips {
		return nil
	}
	return b.chips[addr-firstAddr]
}

// Steps is how many transactions were begun.
func (b *Bus) Steps() uint64 { return b.steps }

// SetStuck holds the bus low, or lets it go.
func (b *Bus) SetStuck(stuck bool) { b.stuck = stuck }

// BeforeStep sets a function that is called before each transaction with its
// number, counted from 1 since the beginning. An error it returns fails that
// transaction; it may also brown out a chip just then. Nil removes it.
func (b *Bus) BeforeStep(f func(step uint64, addr uint16) error) { b.hook = f }

// FailStep lets the n-th transaction from now on go unacknowledged, once.
func (b *Bus) FailStep(n uint64) {
	at := b.steps + n
	b.BeforeStep(func(step uint64, _ uint16) error {
		if step != at {
			return nil
		}
		b.hook = nil
		return ErrNoAck
	})
}

var _ i2c.Bus = &Bus{}
