package bench

import (
	"errors"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/i2c"
)

func set(t *testing.T, bus i2c.Bus, addr uint16, reg byte, v uint16) {
	t.Helper()
	require.NoError(t, bus.Tx(addr, []byte{reg, byte(v >> 8), byte(v)}, nil))
}

func get(t *testing.T, bus i2c.Bus, addr uint16, reg byte) uint16 {
	t.Helper()
	var r [2]byte
	require.NoError(t, bus.Tx(addr, []byte{reg}, r[:]))
	return uint16(r[0])<<8 | uint16(r[1])
}

// Reset values, fields and LSB sizes: Texas Instruments SBAS444D (READ).
func TestChipAfterPowerOn(t *testing.T) {
	b, _, _ := bench(t, exact())
	assert.Equal(t, uint16(0x8583), get(t, b.Bus(), 0x48, 1))
	assert.Equal(t, uint16(0), get(t, b.Bus(), 0x48, 0))
	assert.Equal(t, uint16(0x8000), get(t, b.Bus(), 0x48, 2))
	assert.Equal(t, uint16(0x7FFF), get(t, b.Bus(), 0x48, 3))
}

func TestChipConvertsInItsTime(t *testing.T) {
	b, _, clk := bench(t, exact())
	bus := b.Bus()
	// chard at 0.40: 2.5 V - (0.40-0.05)/0.55*1.1 V = 1.8 V = 14400 counts.
	set(t, bus, 0x48, 1, 0xC383)
	assert.Equal(t, uint16(0x4383), get(t, bus, 0x48, 1), "converting: ready bit 0")
	clk.Sleep(time.Second / 128)
	assert.Equal(t, uint16(0x4383), get(t, bus, 0x48, 1), "waking up takes time as well")
	assert.Equal(t, uint16(0), get(t, bus, 0x48, 0), "the sample before")
	clk.Sleep(wake)
	assert.Equal(t, uint16(0xC383), get(t, bus, 0x48, 1))
	assert.Equal(t, uint16(14400), get(t, bus, 0x48, 0))
}

func TestChipTenPercentSlow(t *testing.T) {
	b, _, clk := bench(t, exact())
	b.BusNamed("").Chip(0x48).SlowBy(0.1)
	set(t, b.Bus(), 0x48, 1, 0xC383)
	clk.Sleep(8590 * time.Microsecond)
	assert.Equal(t, uint16(0x4383), get(t, b.Bus(), 0x48, 1))
	clk.Sleep(50 * time.Microsecond)
	assert.Equal(t, uint16(0xC383), get(t, b.Bus(), 0x48, 1))
}

func TestChipIgnoresAStartWhileBusy(t *testing.T) {
	b, _, clk := bench(t, exact())
	bus := b.Bus()
	set(t, bus, 0x48, 1, 0xC383)
	clk.Sleep(4 * time.Millisecond)
	set(t, bus, 0x48, 1, 0xC383)
	clk.Sleep(4 * time.Millisecond)
	assert.NotZero(t, get(t, bus, 0x48, 1)&0x8000, "the first start counts, the second is ignored")
}

func TestChipStartsOnlyWhenTold(t *testing.T) {
	b, _, clk := bench(t, exact())
	set(t, b.Bus(), 0x48, 1, 0x4383)
	clk.Sleep(time.Second)
	assert.Equal(t, uint16(0xC383), get(t, b.Bus(), 0x48, 1), "idle")
	assert.Zero(t, get(t, b.Bus(), 0x48, 0))
}

func TestChipScalesAndSaturates(t *testing.T) {
	convert := func(t *testing.T, b *Bench, clk *Clock, word uint16) int16 {
		set(t, b.Bus(), 0x48, 1, word)
		clk.Sleep(time.Second)
		return int16(get(t, b.Bus(), 0x48, 0))
	}
	for _, c := range []struct {
		name string
		word uint16
		want int16
	}{
		{"6.144 V", 0xC183, 9600},
		{"4.096 V", 0xC383, 14400},
		{"2.048 V", 0xC583, 28800},
		{"1.024 V saturates", 0xC783, 32767},
		{"input 3", 0xF383, 14400},
		{"nothing on input 2: pulled up to 3.3 V", 0xE383, 26400},
		{"0 against 3, both alike", 0x9383, 0},
		{"0 against 1 (open): 1.8-3.3 V", 0x8383, -12000},
		{"0 against 1 saturates below", 0x8783, -32768},
	} {
		t.Run(c.name, func(t *testing.T) {
			b, _, clk := bench(t, exact())
			assert.Equal(t, c.want, convert(t, b, clk, c.word))
		})
	}
}

func TestChipContinuousMode(t *testing.T) {
	b, s, clk := bench(t, exact())
	set(t, b.Bus(), 0x48, 1, 0x4283) // as 0x4383, continuous
	clk.Sleep(10 * time.Millisecond)
	assert.Equal(t, uint16(14400), get(t, b.Bus(), 0x48, 0))
	s.water[0], s.now = 0.60, time.Minute
	clk.Sleep(20 * time.Millisecond)
	assert.Equal(t, uint16(11200), get(t, b.Bus(), 0x48, 0), "1.4 V without a new start")
}

func TestChipBrownOut(t *testing.T) {
	b, _, clk := bench(t, exact())
	set(t, b.Bus(), 0x48, 1, 0xD383)
	clk.At(time.Millisecond, b.BusNamed("").Chip(0x48).BrownOut)
	clk.Sleep(20 * time.Millisecond)
	assert.Equal(t, uint16(0x8583), get(t, b.Bus(), 0x48, 1))
	assert.Zero(t, get(t, b.Bus(), 0x48, 0), "the conversion is lost")
}

// A bus that is watched takes every transaction the long way: whatever is sent, it must
// come to the same as the short way of register reads and writes.
func TestBusIsTheSameWatched(t *testing.T) {
	short, _, clk := bench(t, Options{Seed: 7})
	long, _, clk2 := bench(t, Options{Seed: 7})
	long.BusNamed("").BeforeStep(func(uint64, uint16) error { return nil })
	rng := rand.New(rand.NewPCG(3, 4))
	done := map[int]int{}
	for range 20_000 {
		w, r, r2 := make([]byte, rng.IntN(5)), make([]byte, rng.IntN(6)), make([]byte, 6)
		for i := range w {
			w[i] = byte(rng.Uint32())
		}
		if rng.IntN(2) == 0 { // a driver's
			word := []uint16{0xC383, 0xD383, 0x4283, 0xF3E3}[rng.IntN(4)]
			w, r = []byte{1, byte(word >> 8), byte(word)}, r[:0]
			if rng.IntN(3) > 0 {
				w, r = []byte{byte(rng.IntN(4))}, make([]byte, 2)
			}
		}
		r2 = r2[:len(r)]
		require.NoError(t, short.Bus().Tx(0x48, w, r))
		require.NoError(t, long.Bus().Tx(0x48, w, r2))
		require.Equal(t, r2, r, "after % x", w)
		done[10*len(w)+len(r)]++
		if rng.IntN(2) == 0 {
			d := time.Duration(rng.Int64N(int64(3 * time.Millisecond)))
			clk.Sleep(d)
			clk2.Sleep(d)
		}
	}
	assert.Greater(t, done[12], 1000)
	assert.Greater(t, done[30], 1000)
	assert.Greater(t, len(done), 25)
}

func TestBusFaults(t *testing.T) {
	b, _, _ := bench(t, exact())
	bus := b.BusNamed("/dev/i2c-1")
	require.Same(t, b.Bus(), i2c.Bus(bus), "the garden's bus is the first")
	for _, addr := range []uint16{0x47, 0x49, 0x4B, 0x4C} {
		assert.ErrorIs(t, bus.Tx(addr, []byte{1}, nil), ErrNoAck, "%#x", addr)
	}
	bus.FailStep(2)
	assert.NoError(t, bus.Tx(0x48, []byte{1}, nil))
	assert.ErrorIs(t, bus.Tx(0x48, []byte{1}, nil), ErrNoAck)
	assert.NoError(t, bus.Tx(0x48, []byte{1}, nil))
	bus.SetStuck(true)
	assert.ErrorIs(t, bus.Tx(0x48, []byte{1}, nil), ErrStuck)
	bus.SetStuck(false)
	bus.Chip(0x48).SetAbsent(true)
	assert.ErrorIs(t, bus.Tx(0x48, []byte{1}, nil), ErrNoAck)
	bus.Chip(0x48).SetAbsent(false)
	assert.Equal(t, uint16(0x8583), get(t, bus, 0x48, 1))
	own := errors.New("own")
	bus.BeforeStep(func(uint64, uint16) error { return own })
	assert.ErrorIs(t, bus.Tx(0x48, []byte{1}, nil), own)
	assert.ErrorIs(t, b.BusNamed("other").Tx(0x48, []byte{1}, nil), ErrNoAck)
}
