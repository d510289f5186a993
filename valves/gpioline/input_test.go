package gpioline

import (
	"encoding/binary"
	"errors"
	"io"
	"sync"
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// inputKernel is fakeKernel with a lock and with lines that give events.
type inputKernel struct {
	*fakeKernel
	mu    sync.Mutex
	asked []lineRequest
	wires []*wire
}

// wire is the far end of a held input: what is written there is read as events.
type wire struct {
	k  *inputKernel
	fd int
	r  *io.PipeReader
	w  *io.PipeWriter
}

func (w *wire) Read(b []byte) (int, error) { return w.r.Read(b) }
func (w *wire) Close() error {
	w.r.CloseWithError(errors.New("file already closed"))
	w.k.mu.Lock()
	defer w.k.mu.Unlock()
	return w.k.fakeKernel.close(w.fd)
}

func (k *inputKernel) line(fd int, r *lineRequest) error {
	k.mu.Lock()
	defer k.mu.Unlock()
	err := k.fakeKernel.line(fd, r)
	if err == nil {
		k.asked = append(k.asked, *r)
	}
	return err
}
func (k *inputKernel) open(p string) (int, error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.fakeKernel.open(p)
}
func (k *inputKernel) close(fd int) error {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.fakeKernel.close(fd)
}
func (k *inputKernel) values(fd int, v *lineValues) error {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.fakeKernel.values(fd, v)
}
func (k *inputKernel) stream(fd int, _ string) (io.ReadCloser, error) {
	r, w := io.Pipe()
	k.mu.Lock()
	defer k.mu.Unlock()
	k.wires = append(k.wires, &wire{k: k, fd: fd, r: r, w: w})
	return k.wires[len(k.wires)-1], nil
}
func (k *inputKernel) last() *wire {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.wires[len(k.wires)-1]
}

// inputLine grants an input by the rules of linux/gpio.h.
func (k *fakeKernel) inputLine(f *fakeChip, r *lineRequest) error {
	const inputFlags = flagInput | flagRising | flagFalling | flagPullUp | flagPullDown | flagNoPull
	if r.numLines != 1 || r.config.flags&^inputFlags != 0 || r.consumer[nameSize-1] != 0 || r.eventBufferSize > maxQueue {
		return errors.New("invalid argument")
	}
	if _, ok := f.holders[r.offsets[0]]; ok {
		return errBusy
	}
	f.holders[r.offsets[0]] = text(r.consumer[:])
	r.fd = int32(k.give(&held{chip: f, offset: r.offsets[0]}))
	return nil
}

func (k *fakeKernel) stream(int, string) (io.ReadCloser, error) { return nil, errors.New("no stream") }

func (w *wire) send(t *testing.T, es ...lineEvent) {
	t.Helper()
	var b []byte
	for _, e := range es {
		o := binary.NativeEndian
		b = o.AppendUint64(b, e.timestampNS)
		for _, v := range []uint32{e.id, e.offset, e.seqno, e.lineSeqno, 0, 0, 0, 0, 0, 0} {
			b = o.AppendUint32(b, v)
		}
	}
	_, err := w.w.Write(b)
	require.NoError(t, err)
}

// waiter lets the test say when the time has come.
type waiter chan time.Time

func (w waiter) After(time.Duration) <-chan time.Time { return w }

func at(ms int, seq uint32) lineEvent {
	return lineEvent{timestampNS: uint64(ms) * 1e6, id: eventFalling, lineSeqno: seq}
}

func listening(t *testing.T, o InputOpts) (*inputKernel, *Input, waiter) {
	t.Helper()
	k, w := &inputKernel{fakeKernel: twoChips()}, make(waiter)
	o.Wait = w
	in, err := listen(k, "pinctrl-main", 22, o)
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, in.Close()) })
	return k, in, w
}

func eventually(t *testing.T, what func() bool) {
	t.Helper()
	require.Eventually(t, what, 20*time.Second, time.Millisecond)
}

func TestInputAsksForWhatItNeeds(t *testing.T) {
	for _, c := range []struct {
		name  string
		o     InputOpts
		flags uint64
		us    uint32
		queue uint32
	}{
		{"contact to ground, outside resistor", InputOpts{}, flagInput | flagFalling | flagNoPull, 0, 1024},
		{"the chip's own resistor", InputOpts{Pull: garden.BoardPull, Debounce: 20 * time.Millisecond}, flagInput | flagFalling | flagPullUp, 20000, 1024},
		{"contact to the supply", InputOpts{To: garden.ToSupply, Pull: garden.BoardPull, Queue: 16}, flagInput | flagRising | flagPullDown, 0, 16},
		{"a float", InputOpts{Levels: true}, flagInput | flagFalling | flagRising | flagNoPull, 0, 1024},
	} {
		t.Run(c.name, func(t *testing.T) {
			k, _, _ := listening(t, c.o)
			r := k.asked[0]
			assert.Equal(t, c.flags, r.config.flags)
			assert.Equal(t, c.queue, r.eventBufferSize)
			assert.Equal(t, uint32(22), r.offsets[0])
			if c.us > 0 {
				require.Equal(t, uint32(1), r.config.numAttrs)
				assert.Equal(t, uint32(attrDebounce), r.config.attrs[0].attr.id)
				assert.Equal(t, uint64(1), r.config.attrs[0].mask)
				assert.Equal(t, uint64(c.us), r.config.attrs[0].attr.value, "on a little-endian machine, as ARM is run")
			} else {
				assert.Zero(t, r.config.numAttrs)
			}
		})
	}
}

// Events come one by one, several in a read, with a gap in their numbers where
// the kernel's queue was full, and with bounces. The numbers also wrap.
func TestInputCounts(t *testing.T) {
	k, in, _ := listening(t, InputOpts{Dead: 3 * time.Millisecond})
	w := k.last()
	w.send(t, at(10, 1))
	w.send(t, at(20, 2), at(30, 3))
	eventually(t, func() bool { return in.Pulses().Total == 3 })
	w.send(t, at(31, 4)) // bounces
	w.send(t, at(90, 10))
	eventually(t, func() bool { return in.Pulses().Total == 9 })
	p := in.Pulses()
	assert.Equal(t, uint64(5), p.Lost, "numbers 5 to 9 were never handed over")
	assert.Equal(t, uint64(1), p.Bounced)
	assert.Equal(t, 90*time.Millisecond, p.At)
	assert.NoError(t, p.Err)
}

func TestTallyWrapsAndRestarts(t *testing.T) {
	var tl garden.Tally
	tl.Take(time.Second, 1)
	tl.Restart()
	tl.Take(2*time.Second, 4)
	assert.Equal(t, garden.Pulses{Total: 5, Lost: 3, At: 2 * time.Second}, tl.Seen(), "a sequence begins with 1")
	tl.Restart()
	tl.Take(3*time.Second, 1)
	assert.Equal(t, uint64(6), tl.Seen().Total)
	tl.Take(4*time.Second, 1<<32-1)
	assert.Equal(t, uint64(7), tl.Seen().Total, "a step back is no gap")
	tl.Take(20*time.Second, 1)
	assert.Equal(t, uint64(9), tl.Seen().Total, "0 was lost between the last number and 1")
}

func TestInputReadsTheContact(t *testing.T) {
	for _, to := range []garden.ContactTo{garden.ToGround, garden.ToSupply} {
		k, in, _ := listening(t, InputOpts{To: to, Levels: true})
		for _, high := range []bool{false, true} {
			k.mu.Lock()
			k.fakes[1].level[22] = high
			k.mu.Unlock()
			closed, err := in.Closed()
			require.NoError(t, err)
			assert.Equal(t, high == (to == garden.ToSupply), closed, "%s high %v", to, high)
		}
		require.NoError(t, in.Close())
		_, err := in.Closed()
		assert.ErrorContains(t, err, `line 22 of GPIO chip "pinctrl-main"`)
	}
}

// A line that somebody holds, or that is lost on the way, is asked for again.
func TestInputComesBack(t *testing.T) {
	k, w := &inputKernel{fakeKernel: twoChips()}, make(waiter)
	k.fakes[1].holders[22] = "door bell"
	in, err := listen(k, "pinctrl-main", 22, InputOpts{Wait: w})
	require.NoError(t, err)
	defer in.Close()
	assert.ErrorIs(t, in.Pulses().Err, ErrBusy)
	assert.ErrorContains(t, in.Pulses().Err, `"door bell"`)
	_, err = in.Closed()
	assert.ErrorIs(t, err, ErrBusy)
	k.mu.Lock()
	delete(k.fakes[1].holders, 22)
	k.mu.Unlock()
	w <- time.Time{}
	eventually(t, func() bool { return in.Pulses().Err == nil })
	k.last().send(t, at(1, 1), at(2, 2))
	eventually(t, func() bool { return in.Pulses().Total == 2 })
	require.NoError(t, k.last().w.CloseWithError(errors.New("no such device")))
	eventually(t, func() bool { return in.Pulses().Err != nil })
	assert.ErrorContains(t, in.Pulses().Err, `line 22 of GPIO chip "pinctrl-main" is lost: no such device`)
	w <- time.Time{}
	eventually(t, func() bool { return in.Pulses().Err == nil })
	k.last().send(t, at(5, 1))
	eventually(t, func() bool { return in.Pulses().Total == 3 })
	require.NoError(t, in.Close())
	k.mu.Lock()
	defer k.mu.Unlock()
	assert.Empty(t, k.fds, "no descriptor is left")
}

func TestInputErrors(t *testing.T) {
	k, w := &inputKernel{fakeKernel: twoChips()}, make(waiter)
	for _, c := range []struct {
		chip string
		line int
		o    InputOpts
		want string
	}{
		{"", 1, InputOpts{Wait: w}, "label"},
		{"pinctrl-main", -1, InputOpts{Wait: w}, `line -1 of "pinctrl-main"`},
		{"pinctrl-main", 1, InputOpts{}, "something to wait with"},
		{"pinctrl-main", 1, InputOpts{Wait: w, Debounce: 2 * time.Hour}, "debounce of 2h0m0s: expected 0 to 1h"},
		{"pinctrl-main", 1, InputOpts{Wait: w, Queue: 5000}, "queue of 5000"},
		{"pinctrl-main", 1, InputOpts{Wait: w, To: "sky"}, `contact to "sky": expected ground or supply`},
		{"pinctrl-main", 1, InputOpts{Wait: w, Pull: "up"}, `pull by "up": expected board or outside`},
		{"pinctrl-main", 1, InputOpts{Wait: w, Dead: -1}, "dead time"},
	} {
		_, err := listen(k, c.chip, c.line, c.o)
		assert.ErrorContains(t, err, c.want)
	}
	for _, c := range []struct {
		chip string
		line int
		want string
	}{
		{"pinctrl-none", 1, `no GPIO chip labelled "pinctrl-none"`},
		{"pinctrl-main", 54, `line 54 of GPIO chip "pinctrl-main": the chip has lines 0 to 53`},
	} {
		in, err := listen(k, c.chip, c.line, InputOpts{Wait: w})
		require.NoError(t, err)
		assert.ErrorContains(t, in.Pulses().Err, c.want)
		require.NoError(t, in.Close())
		require.NoError(t, in.Close(), "twice is once")
	}
}
