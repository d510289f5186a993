package ads1115

import (
	"errors"
	"fmt"
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/i2c/i2ctest"
)

// slept is a Waiter that only counts.
type slept struct{ total time.Duration }

func (s *slept) Sleep(d time.Duration) { s.total += d }

// failAt fails the n-th transaction, counted from 1, and passes the others on:
// i2ctest.Playback cannot return an error of its own at a step.
type failAt struct {
	i2c.Bus
	n, step int
	err     error
}

func (f *failAt) Tx(addr uint16, w, r []byte) error {
	f.step++
	if f.step == f.n {
		return f.err
	}
	return f.Bus.Tx(addr, w, r)
}

func write(word uint16) i2ctest.IO {
	return i2ctest.IO{Addr: 0x48, W: []byte{1, byte(word >> 8), byte(word)}}
}

func read(reg byte, word uint16) i2ctest.IO {
	return i2ctest.IO{Addr: 0x48, W: []byte{reg}, R: []byte{byte(word >> 8), byte(word)}}
}

// opened is the traffic of New at 128 SPS.
func opened() []i2ctest.IO { return []i2ctest.IO{write(0x4383), read(1, 0xC383)} }

func open(t *testing.T, ops ...i2ctest.IO) (*Dev, *slept, *i2ctest.Playback) {
	t.Helper()
	bus := &i2ctest.Playback{Ops: append(opened(), ops...), DontPanic: true}
	w := &slept{}
	d, err := New(bus, 0x48, w, Opts{SPS: 128})
	require.NoError(t, err)
	return d, w, bus
}

// Field layout and the reset word from SBAS444D, "Config register" (READ); the
// words were put together from it by hand, apart from this code.
func TestConfigurationWords(t *testing.T) {
	for _, c := range []struct {
		channel int
		opts    Opts
		want    uint16
	}{
		{0, Opts{SPS: 128}, 0xC383},
		{1, Opts{SPS: 128}, 0xD383},
		{2, Opts{SPS: 128}, 0xE383},
		{3, Opts{SPS: 128}, 0xF383},
		{0, Opts{SPS: 128, FullScaleV: 6.144}, 0xC183},
		{0, Opts{SPS: 8}, 0xC303},
		{0, Opts{}, 0xC3E3},
	} {
		t.Run(fmt.Sprintf("channel %d %+v", c.channel, c.opts), func(t *testing.T) {
			pga, dr, err := c.opts.fields()
			require.NoError(t, err)
			assert.Equal(t, c.want, word(c.channel, pga, dr))
		})
	}
}

// Full scale / 32768 per count: SBAS444D, table of LSB sizes (READ).
func TestVoltsOfCodes(t *testing.T) {
	d, _, bus := open(t)
	for _, c := range []struct {
		code uint16
		want float64
	}{
		{0x7FFF, 4.095875}, {0x8000, -4.096}, {0x2EE0, 1.5}, {0x5DC0, 3.0}, {0xFFFF, -0.000125}, {0, 0},
	} {
		assert.InDelta(t, c.want, float64(d.Volts(garden.RawCounts(int16(c.code)))), 1e-12, "%#04x", c.code)
	}
	require.NoError(t, bus.Close())
}

func TestReadIsThreeTransactionsWhenTheClockIsOnTime(t *testing.T) {
	d, w, bus := open(t, write(0xE383), read(1, 0xE383), read(0, 0x5DC0))
	v, err := d.ReadVolts(2)
	require.NoError(t, err)
	assert.InDelta(t, 3.0, float64(v), 1e-12)
	assert.GreaterOrEqual(t, w.total, time.Second/128, "it waited for less than a conversion")
	require.NoError(t, bus.Close())
}

func TestReadPollsWhileTheClockIsSlow(t *testing.T) {
	d, w, bus := open(t, write(0xC383), read(1, 0x4383), read(1, 0x4383), read(1, 0xC383), read(0, 0x8000))
	raw, err := d.Read(0)
	require.NoError(t, err)
	assert.Equal(t, garden.RawCounts(-32768), raw)
	// 10 % slow: 8.68 ms at 128 SPS (Linux ti-ads1015 waits as much, READ).
	assert.GreaterOrEqual(t, w.total, 8680*time.Microsecond)
	require.NoError(t, bus.Close())
}

func TestReadGivesUpOnAConversionThatNeverEnds(t *testing.T) {
	ops := []i2ctest.IO{write(0xC383)}
	for range maxPolls {
		ops = append(ops, read(1, 0x4383))
	}
	d, w, bus := open(t, ops...)
	_, err := d.Read(0)
	require.ErrorIs(t, err, ErrTimeout)
	assert.ErrorContains(t, err, "ads1115 0x48 channel 0")
	assert.Greater(t, w.total, 2*time.Second/128)
	assert.Less(t, w.total, 3*time.Second/128)
	require.NoError(t, bus.Close())
}

func TestReadNoticesABrownOut(t *testing.T) {
	t.Run("before the poll", func(t *testing.T) {
		d, _, bus := open(t, write(0xD383), read(1, 0x8583))
		_, err := d.Read(1)
		require.ErrorIs(t, err, ErrReset)
		require.NoError(t, bus.Close())
	})
	t.Run("between poll and result", func(t *testing.T) {
		d, _, bus := open(t, write(0xD383), read(1, 0xD383), read(0, 0), read(1, 0x8583))
		_, err := d.Read(1)
		require.ErrorIs(t, err, ErrReset)
		require.NoError(t, bus.Close())
	})
	t.Run("a real zero is no brown-out", func(t *testing.T) {
		d, _, bus := open(t, write(0xD383), read(1, 0xD383), read(0, 0), read(1, 0xD383))
		raw, err := d.Read(1)
		require.NoError(t, err)
		assert.Zero(t, raw)
		require.NoError(t, bus.Close())
	})
}

func TestReadNoticesAForeignConfiguration(t *testing.T) {
	for _, got := range []uint16{0x0000, 0xFFFF, 0xC383} {
		d, _, bus := open(t, write(0xD383), read(1, got))
		_, err := d.Read(1)
		require.ErrorIs(t, err, ErrConfig, "%#04x", got)
		require.NoError(t, bus.Close())
	}
}

func TestEveryFailingStepIsReportedAndLeavesTheDriverUsable(t *testing.T) {
	nack := errors.New("remote i/o error")
	script := []i2ctest.IO{write(0xC383), read(1, 0xC383), read(0, 0x2EE0)}
	for n := 1; n <= len(script); n++ {
		t.Run(fmt.Sprint("step ", n), func(t *testing.T) {
			ops := append(opened(), script[:n-1]...)
			ops = append(ops, script...)
			play := &i2ctest.Playback{Ops: ops, DontPanic: true}
			bus := &failAt{Bus: play, n: 2 + n, err: nack}
			d, err := New(bus, 0x48, &slept{}, Opts{SPS: 128})
			require.NoError(t, err)
			_, err = d.Read(0)
			require.ErrorIs(t, err, nack)
			assert.ErrorContains(t, err, "ads1115 0x48 channel 0")
			v, err := d.ReadVolts(0)
			require.NoError(t, err)
			assert.InDelta(t, 1.5, float64(v), 1e-12)
			require.NoError(t, play.Close())
		})
	}
}

func TestNewRefuses(t *testing.T) {
	nack := errors.New("no such device")
	t.Run("an absent chip", func(t *testing.T) {
		play := &i2ctest.Playback{DontPanic: true}
		_, err := New(&failAt{Bus: play, n: 1, err: nack}, 0x48, &slept{}, Opts{})
		require.ErrorIs(t, err, nack)
		assert.ErrorContains(t, err, "0x48")
		require.NoError(t, play.Close())
	})
	t.Run("a chip that goes away", func(t *testing.T) {
		play := &i2ctest.Playback{Ops: []i2ctest.IO{write(0x43E3)}, DontPanic: true}
		_, err := New(&failAt{Bus: play, n: 2, err: nack}, 0x48, &slept{}, Opts{})
		require.ErrorIs(t, err, nack)
		require.NoError(t, play.Close())
	})
	t.Run("another kind of chip", func(t *testing.T) {
		// An LM75 thermometer shares the address; its register 1 holds one byte.
		play := &i2ctest.Playback{Ops: []i2ctest.IO{write(0x4383), read(1, 0x03FF)}, DontPanic: true}
		_, err := New(play, 0x48, &slept{}, Opts{SPS: 128})
		require.ErrorIs(t, err, ErrConfig)
		require.NoError(t, play.Close())
	})
	for _, c := range []struct {
		name string
		addr uint16
		opts Opts
		want string
	}{
		{"an address out of range", 0x4C, Opts{}, "0x48 to 0x4b"},
		{"an unknown range", 0x48, Opts{FullScaleV: 5}, "full scale 5 V"},
		{"an unknown rate", 0x48, Opts{SPS: 100}, "data rate 100"},
	} {
		t.Run(c.name, func(t *testing.T) {
			play := &i2ctest.Playback{DontPanic: true}
			_, err := New(play, c.addr, &slept{}, c.opts)
			assert.ErrorContains(t, err, c.want)
			require.NoError(t, play.Close())
		})
	}
	t.Run("nothing to work with", func(t *testing.T) {
		_, err := New(nil, 0x48, &slept{}, Opts{})
		assert.Error(t, err)
		_, err = New(&i2ctest.Playback{}, 0x48, nil, Opts{})
		assert.Error(t, err)
	})
}

func TestReadRefusesAChannelThatIsNotThere(t *testing.T) {
	d, _, bus := open(t)
	for _, ch := range []int{-1, 4} {
		_, err := d.Read(ch)
		assert.ErrorContains(t, err, "expected 0 to 3")
	}
	require.NoError(t, bus.Close())
}

func TestReadAllocatesNothing(t *testing.T) {
	d, err := New(&echo{}, 0x48, &slept{}, Opts{})
	require.NoError(t, err)
	assert.Zero(t, testing.AllocsPerRun(100, func() {
		_, err := d.ReadVolts(3)
		if err != nil {
			t.Error(err)
		}
	}))
}

// echo answers every poll with the last configuration written, ready.
type echo struct {
	i2c.Bus
	word [2]byte
}

func (e *echo) Tx(_ uint16, w, r []byte) error {
	if len(w) == 3 {
		e.word = [2]byte{w[1] | 0x80, w[2]}
	}
	copy(r, e.word[:])
	return nil
}
