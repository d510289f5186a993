package main

import (
	"bufio"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"syscall"
	"time"

	"fabricpot/control/garden"
	"fabricpot/valves/gpioline"
)

// checkPulses holds the counting of edges against the kernel. The host makes the
// pulses, low and high for 30 ms each: the emulated interrupts lose faster ones.
func checkPulses(h *host, b bench) {
	before, err := descriptors()
	h.check("count descriptors before inputs", err)
	_, err = h.ask("drive %d 1", b.input)
	h.check("the host drives an input line", err)
	h.check("every pulse of a contact to ground is counted, by the kernel's own numbers", counted(h, b))
	h.check("pulses that a full queue dropped are known and added", overflown(h, b))
	if b.debounces {
		h.check("the kernel leaves out what is shorter than the debounce", debounced(h, b))
	}
	h.check("a contact is read as it stands", standing(h, b))
	h.check("an input that somebody else holds names them, and is had as soon as it is free", inputBusy(b))
	after, err := descriptors()
	if err == nil && after != before {
		err = fmt.Errorf("%d descriptors are open, there were %d", after, before)
	}
	h.check("no descriptor is left of any input", err)
}

type waiter struct{}

func (waiter) After(d time.Duration) <-chan time.Time { return time.After(d) }

// reaches waits for a count.
func reaches(in *gpioline.Input, want uint64) (garden.Pulses, error) {
	var p garden.Pulses
	for range 100 {
		if p = in.Pulses(); p.Err != nil || p.Total >= want {
			break
		}
		time.Sleep(50 * time.Millisecond)
	}
	// One more than was made would come now.
	time.Sleep(100 * time.Millisecond)
	p = in.Pulses()
	switch {
	case p.Err != nil:
		return p, p.Err
	case p.Total != want:
		return p, fmt.Errorf("counted %+v, expected %d", p, want)
	}
	return p, nil
}

func counted(h *host, b bench) error {
	in, err := gpioline.Listen(b.chip, b.input, gpioline.InputOpts{Consumer: "meter", Pull: garden.BoardPull, Wait: waiter{}})
	if err != nil {
		return err
	}
	defer in.Close()
	st, err := gpioline.InUse(b.chip, b.input)
	if err != nil || !st.Used || st.Output || st.Holder != "meter" {
		return fmt.Errorf("the kernel says %+v, %v; expected an input held by the meter", st, err)
	}
	booted := sinceBoot()
	for round := uint64(1); round <= 2; round++ {
		if _, err := h.ask("pulse %d 20 30", b.input); err != nil {
			return err
		}
		p, err := reaches(in, 20*round)
		if err != nil {
			return err
		}
		if p.Lost != 0 || p.Bounced != 0 {
			return fmt.Errorf("counted %+v, none was lost and none bounced", p)
		}
		if p.At < booted || p.At > sinceBoot()+time.Second {
			return fmt.Errorf("the last pulse came at %v, expected between %v and %v", p.At, booted, sinceBoot())
		}
	}
	return nil
}

// overflown stops another process that counts with a queue of 4, as a hung
// gateway would be, while 20 pulses come.
func overflown(h *host, b bench) error {
	c := exec.Command("/init", "count", b.chip, strconv.Itoa(b.input), "4")
	in, err := c.StdinPipe()
	if err != nil {
		return err
	}
	out, err := c.StdoutPipe()
	if err != nil {
		return err
	}
	if err := c.Start(); err != nil {
		return err
	}
	answers := bufio.NewScanner(out)
	ask := func() (total, lost int, err error) {
		if _, err := fmt.Fprintln(in, "?"); err != nil {
			return 0, 0, err
		}
		if !answers.Scan() {
			return 0, 0, errors.New("the counting process ended")
		}
		_, err = fmt.Sscanf(answers.Text(), "%d %d", &total, &lost)
		return total, lost, err
	}
	stop := func() error { return errors.Join(in.Close(), c.Wait()) }
	if !answers.Scan() || answers.Text() != "counting" {
		return errors.Join(fmt.Errorf("the counting process said %q", answers.Text()), stop())
	}
	if err := c.Process.Signal(syscall.SIGSTOP); err != nil {
		return errors.Join(err, stop())
	}
	_, err = h.ask("pulse %d 20 30", b.input)
	if err := errors.Join(err, c.Process.Signal(syscall.SIGCONT)); err != nil {
		return errors.Join(err, stop())
	}
	var total, lost int
	for range 40 {
		time.Sleep(100 * time.Millisecond)
		if total, lost, err = ask(); err != nil || total >= 20 {
			break
		}
	}
	// The read that was under way when it was stopped takes an event or two more
	// than the queue keeps.
	if err == nil && (total != 20 || lost < 12 || lost > 16) {
		err = fmt.Errorf("counted %d, %d of them lost; 20 were made, the queue keeps 4 and a read takes a few", total, lost)
	}
	return errors.Join(err, stop())
}

// count is that other process.
func count(chip, number, queue string) {
	line, err := strconv.Atoi(number)
	keep, kerr := strconv.Atoi(queue)
	if err = errors.Join(err, kerr); err == nil {
		var in *gpioline.Input
		if in, err = gpioline.Listen(chip, line, gpioline.InputOpts{Queue: keep, Wait: waiter{}}); err == nil {
			err = in.Pulses().Err
			fmt.Println("counting")
			for s := bufio.NewScanner(os.Stdin); err == nil && s.Scan(); {
				p := in.Pulses()
				fmt.Println(p.Total, p.Lost)
			}
			err = errors.Join(err, in.Close())
		}
	}
	if err != nil {
		fmt.Println(err)
		os.Exit(1)
	}
}

func debounced(h *host, b bench) error {
	in, err := gpioline.Listen(b.chip, b.input, gpioline.InputOpts{Debounce: 300 * time.Millisecond, Wait: waiter{}})
	if err != nil {
		return err
	}
	defer in.Close()
	if _, err := h.ask("pulse %d 5 30", b.input); err != nil {
		return err
	}
	time.Sleep(time.Second)
	if _, err := reaches(in, 0); err != nil {
		return fmt.Errorf("pulses of 30 ms: %w", err)
	}
	if _, err := h.ask("pulse %d 2 900", b.input); err != nil {
		return err
	}
	if _, err := reaches(in, 2); err != nil {
		return fmt.Errorf("pulses of 900 ms: %w", err)
	}
	return nil
}

func standing(h *host, b bench) error {
	in, err := gpioline.Listen(b.chip, b.input, gpioline.InputOpts{Levels: true, Wait: waiter{}})
	if err != nil {
		return err
	}
	defer in.Close()
	for _, level := range []int{0, 1, 0, 1} {
		if _, err := h.ask("drive %d %d", b.input, level); err != nil {
			return err
		}
		closed, err := in.Closed()
		if err != nil {
			return err
		}
		if closed != (level == 0) {
			return fmt.Errorf("the wire carries %d and the contact was read closed %v", level, closed)
		}
	}
	return nil
}

func inputBusy(b bench) error {
	_, stop, err := holdElsewhere(b.chip, b.input, "door bell")
	if err != nil {
		return err
	}
	in, err := gpioline.Listen(b.chip, b.input, gpioline.InputOpts{Wait: waiter{}})
	if err != nil {
		return errors.Join(err, stop())
	}
	defer in.Close()
	err = in.Pulses().Err
	if !errors.Is(err, gpioline.ErrBusy) || !strings.Contains(err.Error(), `"door bell"`) {
		return errors.Join(fmt.Errorf("got %v, expected busy and the holder's name", err), stop())
	}
	if err := stop(); err != nil {
		return err
	}
	for range 100 {
		if err = in.Pulses().Err; err == nil {
			return nil
		}
		time.Sleep(100 * time.Millisecond)
	}
	return fmt.Errorf("the line is free and was not had: %w", err)
}
