package gpioline

import (
	"errors"
	"fmt"
	"sync"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/physic"
)

// ErrBusy is wrapped by the error of a line that somebody else holds.
var ErrBusy = errors.New("held by somebody else")

// Opts tune a line. The zero value is sound.
type Opts struct {
	// Consumer is the name under which the kernel shows who holds the line, at
	// most 31 bytes; empty means "gateway".
	Consumer string
}

// Line is one output line of a GPIO chip. It may be used from any goroutine.
type Line struct {
	k        kernel
	label    string
	offset   uint32
	consumer string

	mu sync.Mutex
	fd int // of the request, -1 while the line is not held
}

// New returns line number offset of the chip with that label, or of the chip at
// that path where it begins with "/dev/". Nothing is requested from the kernel
// until the first Out, which gives the level with the request.
func New(chip string, offset int, o Opts) (*Line, error) { return newLine(machine(), chip, offset, o) }

func newLine(k kernel, chip string, offset int, o Opts) (*Line, error) {
	if chip == "" {
		return nil, errors.New("gpioline: a line needs its chip's label")
	}
	if offset < 0 || offset > 1<<16 {
		return nil, fmt.Errorf("gpioline: line %d of %q: expected a number from 0", offset, chip)
	}
	if o.Consumer == "" {
		o.Consumer = "gateway"
	}
	if len(o.Consumer) >= nameSize {
		return nil, fmt.Errorf("gpioline: consumer %q is longer than %d bytes", o.Consumer, nameSize-1)
	}
	return &Line{k: k, label: chip, offset: uint32(offset), consumer: o.Consumer, fd: -1}, nil
}

// Out drives the line. The first call requests it, with the level in the
// request; after an error the next call tries again from the beginning.
func (l *Line) Out(level gpio.Level) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.fd < 0 {
		return l.request(level)
	}
	v := lineValues{mask: 1}
	if level {
		v.bits = 1
	}
	err := l.k.setValues(l.fd, &v)
	if err == nil {
		return nil
	}
	// The chip may have gone and come back: a descriptor that failed is not
	// kept, or no later attempt could succeed.
	err = fmt.Errorf("gpioline: drive %s %s: %w", l, level, err)
	return errors.Join(err, l.release())
}

// request takes the line as an output that starts at that level. The lock is
// held.
func (l *Line) request(level gpio.Level) error {
	chip, err := findChip(l.k, l.label)
	if err != nil {
		return err
	}
	if int(l.offset) >= chip.Lines {
		return fmt.Errorf("gpioline: %s: the chip has lines 0 to %d", l, chip.Lines-1)
	}
	fd, err := l.k.open(chip.Path)
	if err != nil {
		return fmt.Errorf("gpioline: open %s for %s: %w", chip.Path, l, err)
	}
	// The request has a descriptor of its own.
	defer l.k.close(fd)
	r := outputRequest(l.offset, l.consumer, bool(level))
	if err := l.k.line(fd, &r); err != nil {
		if l.k.busy(err) {
			return fmt.Errorf("gpioline: %s is %w, %s: stop it or wire the valve to another line", l, ErrBusy, l.holder(fd))
		}
		return fmt.Errorf("gpioline: request %s as an output: %w", l, err)
	}
	// A descriptor of 0 can only be a kernel without this call.
	if r.fd <= 0 {
		return fmt.Errorf("gpioline: request %s: the kernel gave descriptor %d", l, r.fd)
	}
	l.fd = int(r.fd)
	return nil
}

// holder names who holds the line.
func (l *Line) holder(fd int) string {
	info := lineInfo{offset: l.offset}
	if err := l.k.lineInfo(fd, &info); err != nil {
		return "which the kernel does not name"
	}
	if c := text(info.consumer[:]); c != "" {
		return fmt.Sprintf("%q", c)
	}
	if info.flags&flagUsed == 0 {
		return "which has let go of it since"
	}
	return "which gave no name"
}

// OutputLevel reads back what the line drives. It changes neither direction nor
// level, unlike the Read of pins that are inputs too.
func (l *Line) OutputLevel() (gpio.Level, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.fd < 0 {
		return gpio.Low, fmt.Errorf("gpioline: read back %s: it is not held: call Out first", l)
	}
	v := lineValues{mask: 1}
	if err := l.k.values(l.fd, &v); err != nil {
		return gpio.Low, fmt.Errorf("gpioline: read back %s: %w", l, err)
	}
	return gpio.Level(v.bits&1 != 0), nil
}

// Close lets go of the line. Its level afterwards is up to the kernel's driver.
// A later Out requests it again.
func (l *Line) Close() error {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.release()
}

func (l *Line) release() error {
	if l.fd < 0 {
		return nil
	}
	fd := l.fd
	l.fd = -1
	if err := l.k.close(fd); err != nil {
		return fmt.Errorf("gpioline: let go of %s: %w", l, err)
	}
	return nil
}

// String names the line for messages.
func (l *Line) String() string { return fmt.Sprintf("line %d of GPIO chip %q", l.offset, l.label) }

// Name is the same as String.
func (l *Line) Name() string { return l.String() }

// Number is the line's number on its chip.
func (l *Line) Number() int { return int(l.offset) }

// Function is always "Out".
func (l *Line) Function() string { return string(gpio.OUT) }

// Halt does nothing: a valve's level is nobody's to leave floating.
func (l *Line) Halt() error { return nil }

// PWM refuses: a valve is open or closed.
func (l *Line) PWM(gpio.Duty, physic.Frequency) error {
	return fmt.Errorf("gpioline: %s: a valve line has no PWM", l)
}

var _ gpio.PinOut = (*Line)(nil)
