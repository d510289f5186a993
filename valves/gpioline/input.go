package gpioline

import (
	"errors"
	"fmt"
	"io"
	"math"
	"sync"
	"time"

	"fabricpot/control/garden"

	"periph.io/x/conn/v3/gpio"
)

// Waiter is what an input waits with before it asks again for a line that it
// lost or did not get.
type Waiter interface {
	After(time.Duration) <-chan time.Time
}

const (
	// askAgain is how long after a failure a line is requested again.
	askAgain = 5 * time.Second
	// maxQueue is the most events the kernel keeps for a line
	// (GPIO_V2_LINES_MAX × 16).
	maxQueue = linesMax * 16
)

// InputOpts tune an input. The zero value but for Wait counts falling edges as
// they come.
type InputOpts struct {
	// Consumer is the name under which the kernel shows who holds the line, at
	// most 31 bytes; empty means "gateway".
	Consumer string
	// To says which edge is a contact's closing; empty means garden.ToGround.
	To garden.ContactTo
	// Pull is who holds the line while the contact is open; empty means
	// garden.OutsidePull. A chip without resistors of its own ignores the wish.
	Pull garden.ContactPull
	// Debounce is how long a level must last, up to an hour; 0 asks for none.
	Debounce time.Duration
	// Dead is how soon after a pulse another is a bounce; see garden.Tally.
	Dead time.Duration
	// Queue is how many events the kernel keeps while nobody reads, 1 to 1024;
	// 0 means 1024.
	Queue int
	// Levels asks for both edges: for a line whose level matters and whose pulses
	// are not counted.
	Levels bool
	// Wait must be given.
	Wait Waiter
}

// Input is one input line of a GPIO chip whose edges are counted. One goroutine
// owns the line's events; Pulses, Closed and Close may be called from any.
type Input struct {
	k     kernel
	line  Line // for its names
	opts  InputOpts
	flags uint64
	stop  chan struct{}
	done  chan struct{}

	mu     sync.Mutex
	tally  garden.Tally
	err    error
	fd     int // of the request, -1 while the line is not held
	events io.ReadCloser
	closed bool
}

// Listen requests line number offset of the chip with that label, or of the chip
// at that path where it begins with "/dev/", and counts its edges until Close. A
// line that can't be had is no error here: the input asks again every few seconds
// and Pulses tells why. An error means that no such input can be.
func Listen(chip string, offset int, o InputOpts) (*Input, error) {
	return listen(machine(), chip, offset, o)
}

func listen(k kernel, chip string, offset int, o InputOpts) (*Input, error) {
	l, err := newLine(k, chip, offset, Opts{Consumer: o.Consumer})
	if err != nil {
		return nil, err
	}
	in := &Input{k: k, line: Line{label: l.label, offset: l.offset, consumer: l.consumer}, opts: o, fd: -1,
		stop: make(chan struct{}), done: make(chan struct{}), tally: garden.Tally{Dead: o.Dead}}
	switch {
	case o.Wait == nil:
		return nil, fmt.Errorf("gpioline: %s: an input needs something to wait with", l)
	case o.Debounce < 0 || o.Debounce > time.Hour:
		return nil, fmt.Errorf("gpioline: %s: debounce of %v: expected 0 to 1h", l, o.Debounce)
	case o.Dead < 0:
		return nil, fmt.Errorf("gpioline: %s: dead time of %v: expected 0 or more", l, o.Dead)
	case o.Queue < 0 || o.Queue > maxQueue:
		return nil, fmt.Errorf("gpioline: %s: a queue of %d events: expected 1 to %d", l, o.Queue, maxQueue)
	}
	if o.Queue == 0 {
		in.opts.Queue = maxQueue
	}
	switch o.To {
	case garden.ToGround, "":
		in.opts.To, in.flags = garden.ToGround, flagFalling
	case garden.ToSupply:
		in.flags = flagRising
	default:
		return nil, fmt.Errorf("gpioline: %s: a contact to %q: expected %s or %s", l, o.To, garden.ToGround, garden.ToSupply)
	}
	if o.Levels {
		in.flags = flagFalling | flagRising
	}
	switch {
	case o.Pull == garden.OutsidePull || o.Pull == "":
		in.flags |= flagNoPull
	case o.Pull != garden.BoardPull:
		return nil, fmt.Errorf("gpioline: %s: a pull by %q: expected %s or %s", l, o.Pull, garden.BoardPull, garden.OutsidePull)
	case in.opts.To == garden.ToSupply:
		in.flags |= flagPullDown
	default:
		in.flags |= flagPullUp
	}
	in.request()
	go in.own()
	return in, nil
}

// request takes the line and keeps the error where that fails.
func (in *Input) request() {
	fd, err := in.ask()
	var ev io.ReadCloser
	if err == nil {
		if ev, err = in.k.stream(fd, in.line.String()); err != nil {
			err = errors.Join(fmt.Errorf("gpioline: read the events of %s: %w", &in.line, err), in.k.close(fd))
		}
	}
	in.mu.Lock()
	defer in.mu.Unlock()
	in.err = err
	if err != nil {
		return
	}
	in.fd, in.events = fd, ev
	in.tally.Restart()
	if in.closed { // meanwhile
		in.err = in.release()
	}
}

func (in *Input) ask() (int, error) {
	l := &in.line
	chip, err := findChip(in.k, l.label)
	if err != nil {
		return -1, fmt.Errorf("gpioline: %s: %w", l, err)
	}
	if int(l.offset) >= chip.Lines {
		return -1, fmt.Errorf("gpioline: %s: the chip has lines 0 to %d", l, chip.Lines-1)
	}
	fd, err := in.k.open(chip.Path)
	if err != nil {
		return -1, fmt.Errorf("gpioline: open %s for %s: %w", chip.Path, l, err)
	}
	defer in.k.close(fd)
	us := uint32(min(in.opts.Debounce.Microseconds(), math.MaxUint32))
	r := inputRequest(l.offset, l.consumer, in.flags, us, uint32(in.opts.Queue))
	if err := in.k.line(fd, &r); err != nil {
		if in.k.busy(err) {
			who := Line{k: in.k, offset: l.offset}
			return -1, fmt.Errorf("gpioline: %s is %w, %s: stop it or wire the contact to another line", l, ErrBusy, who.holder(fd))
		}
		return -1, fmt.Errorf("gpioline: request %s as an input: %w", l, err)
	}
	if r.fd <= 0 {
		return -1, fmt.Errorf("gpioline: request %s: the kernel gave descriptor %d", l, r.fd)
	}
	return int(r.fd), nil
}

// own reads events until Close, and asks for the line again where it is lost.
func (in *Input) own() {
	defer close(in.done)
	for {
		in.mu.Lock()
		ev := in.events
		in.mu.Unlock()
		if ev != nil {
			in.lose(in.drain(ev))
		}
		select {
		case <-in.stop:
			return
		case <-in.opts.Wait.After(askAgain):
			in.request()
		}
	}
}

// drain counts events until the line's end.
func (in *Input) drain(ev io.Reader) error {
	buf := make([]byte, 64*48)
	closing := uint32(eventFalling)
	if in.opts.To == garden.ToSupply {
		closing = eventRising
	}
	for {
		n, err := ev.Read(buf)
		in.mu.Lock()
		events(buf[:n], func(e lineEvent) {
			if in.opts.Levels && e.id != closing {
				return // its number is missed by no one: levels are read, not counted
			}
			in.tally.Take(time.Duration(e.timestampNS), e.lineSeqno)
		})
		in.mu.Unlock()
		if err != nil {
			return err
		}
		if n == 0 {
			return io.ErrUnexpectedEOF
		}
	}
}

// lose lets go of a line whose events ended.
func (in *Input) lose(err error) {
	in.mu.Lock()
	defer in.mu.Unlock()
	if in.closed {
		return
	}
	in.err = errors.Join(fmt.Errorf("gpioline: %s is lost: %w", &in.line, err), in.release())
}

func (in *Input) release() error {
	if in.events == nil {
		return nil
	}
	ev := in.events
	in.fd, in.events = -1, nil
	if err := ev.Close(); err != nil {
		return fmt.Errorf("gpioline: let go of %s: %w", &in.line, err)
	}
	return nil
}

// Pulses is what was counted so far, with the reason where nothing is at present.
func (in *Input) Pulses() garden.Pulses {
	in.mu.Lock()
	defer in.mu.Unlock()
	p := in.tally.Seen()
	p.Err = in.err
	if in.opts.Levels {
		// Every second number belongs to the other edge.
		p.Lost, p.Total = 0, p.Total-p.Lost
	}
	return p
}

// Closed reads whether the contact is closed now.
func (in *Input) Closed() (bool, error) {
	in.mu.Lock()
	defer in.mu.Unlock()
	if in.fd < 0 {
		if in.err != nil {
			return false, in.err
		}
		return false, fmt.Errorf("gpioline: read %s: it was let go of", &in.line)
	}
	v := lineValues{mask: 1}
	if err := in.k.values(in.fd, &v); err != nil {
		return false, fmt.Errorf("gpioline: read %s: %w", &in.line, err)
	}
	high := gpio.Level(v.bits&1 != 0)
	return bool(high) == (in.opts.To == garden.ToSupply), nil
}

// Close lets go of the line and waits until its goroutine has ended.
func (in *Input) Close() error {
	in.mu.Lock()
	var err error
	if !in.closed {
		in.closed = true
		close(in.stop)
		err = in.release()
	}
	in.mu.Unlock()
	<-in.done
	return err
}

// String names the line for messages.
func (in *Input) String() string { return in.line.String() }
