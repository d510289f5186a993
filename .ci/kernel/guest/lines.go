package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strconv"
	"strings"

	"fabricpot/valves/gpioline"

	"periph.io/x/conn/v3/gpio"
)

// checkLines holds the valve lines' driver against the kernel's GPIO character
// device.
func checkLines(h *host, b bench) {
	before, err := descriptors()
	h.check("count descriptors", err)
	h.check("the chip answers under its label", chipThere(b))
	h.check("errors name what there is", refusals(b))
	h.check("a new line that is asked for low goes there at once", fresh(h, b, 0, gpio.Low, "in 0"))
	h.check("a new line that is asked for high: "+b.fresh, fresh(h, b, 1, gpio.High, b.fresh))
	h.check("the read-back agrees with the wire, also where the chip lost the level", truth(h, b))
	h.check("a line that was left high and is asked for high never drops", fresh(h, b, 1, gpio.High, "1"))
	h.check("a line that was left high and is asked for low closes", fresh(h, b, 1, gpio.Low, "1 0"))
	h.check("the pin's history shows a glitch that was made on purpose", glitch(h, b))
	h.check("reading back changes no register, direction or level", readBack(h, b))
	h.check("a held line is busy, names its holder, and comes back", busy(h, b))
	after, err := descriptors()
	if err == nil && after != before {
		err = fmt.Errorf("%d descriptors are open, there were %d", after, before)
	}
	h.check("no descriptor is left", err)
}

func chipThere(b bench) error {
	all, err := gpioline.Chips()
	if err != nil {
		return err
	}
	for _, c := range all {
		if c.Label == b.chip && c.Lines > b.low {
			return nil
		}
	}
	return fmt.Errorf("%q is not among %+v", b.chip, all)
}

func refusals(b bench) error {
	for _, c := range []struct {
		chip string
		line int
		want string
	}{
		{"pinctrl-none", 1, strconv.Quote(b.chip)},
		{b.chip, 5000, "the chip has lines 0 to "},
		{"/dev/gpiochip99", 1, "no such file"},
	} {
		l, err := gpioline.New(c.chip, c.line, gpioline.Opts{})
		if err != nil {
			return err
		}
		if err := l.Out(gpio.Low); err == nil || !strings.Contains(err.Error(), c.want) {
			return fmt.Errorf("line %d of %q: got %v, expected words with %q", c.line, c.chip, err, c.want)
		}
	}
	return nil
}

// fresh requests a line at a level, and lets go of it again.
func fresh(h *host, b bench, which int, level gpio.Level, want string) error {
	l, err := gpioline.New(b.chip, b.free[which], gpioline.Opts{})
	if err != nil {
		return err
	}
	if err := h.wantHistory(b.free[which], want, func() error { return l.Out(level) }); err != nil {
		return errors.Join(err, l.Close())
	}
	return l.Close()
}

// truth requests a line that was an input. The emulated AST2600 loses a value
// that is given before the direction, which the real chip latches; the driver
// must not take the level for granted, and the next Out must put it right.
func truth(h *host, b bench) error {
	line := b.free[2]
	l, err := gpioline.New(b.chip, line, gpioline.Opts{})
	if err != nil {
		return err
	}
	defer l.Close()
	for _, level := range []gpio.Level{gpio.High, gpio.High, gpio.Low, gpio.High, gpio.Low} {
		if err := l.Out(level); err != nil {
			return err
		}
		got, err := l.OutputLevel()
		if err != nil {
			return err
		}
		carries := "0"
		if got {
			carries = "1"
		}
		if err := h.wantLevel(line, carries); err != nil {
			return fmt.Errorf("%s was read back: %w", got, err)
		}
	}
	return h.wantLevel(line, "0")
}

// glitch does what a driver without an initial value would do. It proves that a
// drop as short as the kernel can make it is seen.
func glitch(h *host, b bench) error {
	l, err := gpioline.New(b.chip, b.free[1], gpioline.Opts{})
	if err != nil {
		return err
	}
	defer l.Close()
	if err := l.Out(gpio.High); err != nil {
		return err
	}
	return h.wantHistory(b.free[1], "1 0 1", func() error { return errors.Join(l.Out(gpio.Low), l.Out(gpio.High)) })
}

func readBack(h *host, b bench) error {
	l, err := gpioline.New(b.chip, b.free[2], gpioline.Opts{})
	if err != nil {
		return err
	}
	defer l.Close()
	for _, level := range []gpio.Level{gpio.High, gpio.Low} {
		// Twice: see truth.
		if err := errors.Join(l.Out(level), l.Out(level)); err != nil {
			return err
		}
		history, writes, err := h.during(b.free[2], func() error {
			for range 100 {
				got, err := l.OutputLevel()
				if err != nil {
					return err
				}
				if got != level {
					return fmt.Errorf("read %s back, drove %s", got, level)
				}
			}
			return nil
		})
		if err != nil {
			return err
		}
		st, err := gpioline.InUse(b.chip, b.free[2])
		if err != nil {
			return err
		}
		if !st.Output || st.Holder != "gateway" {
			return fmt.Errorf("the kernel says %+v, expected an output held by the gateway", st)
		}
		if writes != 0 || strings.Contains(history, " ") || history == "in" {
			return fmt.Errorf("reading %s back wrote %d registers, and the pin went through %q", level, writes, history)
		}
	}
	return nil
}

// busy lets another process hold a line.
func busy(h *host, b bench) error {
	line := b.free[0]
	other, stop, err := holdElsewhere(b.chip, line, "door bell")
	if err != nil {
		return err
	}
	l, err := gpioline.New(b.chip, line, gpioline.Opts{})
	if err != nil {
		return errors.Join(err, stop())
	}
	defer l.Close()
	for range 3 {
		err := l.Out(gpio.High)
		if !errors.Is(err, gpioline.ErrBusy) || !strings.Contains(err.Error(), `"door bell"`) {
			return errors.Join(fmt.Errorf("got %v, expected busy and the holder's name", err), stop())
		}
	}
	if err := errors.Join(h.wantLevel(line, "0"), stop()); err != nil {
		return err
	}
	if err := l.Out(gpio.High); err != nil {
		return fmt.Errorf("after process %d let go: %w", other, err)
	}
	return errors.Join(h.wantLevel(line, "1"), l.Out(gpio.Low), h.wantLevel(line, "0"))
}

// holdElsewhere starts a process that holds a line low until stop is called.
func holdElsewhere(chip string, line int, name string) (pid int, stop func() error, err error) {
	c := exec.Command("/init", "hold", chip, strconv.Itoa(line), name)
	in, err := c.StdinPipe()
	if err != nil {
		return 0, nil, err
	}
	out, err := c.StdoutPipe()
	if err != nil {
		return 0, nil, err
	}
	if err := c.Start(); err != nil {
		return 0, nil, err
	}
	said := make([]byte, 200)
	n, _ := out.Read(said)
	stop = func() error { return errors.Join(in.Close(), c.Wait()) }
	if string(said[:n]) != "holding\n" {
		return 0, nil, errors.Join(fmt.Errorf("the other process said %q", said[:n]), stop())
	}
	return c.Process.Pid, stop, nil
}

// hold is that other process.
func hold(chip, number, name string) {
	line, err := strconv.Atoi(number)
	if err == nil {
		var l *gpioline.Line
		if l, err = gpioline.New(chip, line, gpioline.Opts{Consumer: name}); err == nil {
			err = l.Out(gpio.Low)
		}
	}
	if err != nil {
		fmt.Println(err)
		os.Exit(1)
	}
	fmt.Println("holding")
	// Its standard input ends when it shall let go.
	if _, err := io.Copy(io.Discard, os.Stdin); err != nil {
		os.Exit(1)
	}
}

func descriptors() (int, error) {
	all, err := os.ReadDir("/proc/self/fd")
	return len(all), err
}
