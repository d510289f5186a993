package main

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"strings"
	"syscall"
	"time"

	"fabricpot/valves/gpioline"
)

const (
	program = "/gateway"
	control = "/run/gateway.sock"
	journal = "/run/journal.db"
	output  = "/run/gateway.log"
)

// checkGateway runs the gateway itself: it is killed with a valve open, the
// lines are closed as a service manager would have it, and at last it hangs and
// the hardware's watchdog resets the board.
func checkGateway(h *host, b bench) {
	s, err := newSupervisor(gardenFile)
	if !h.check("a socket for the gateway's progress", err) {
		return
	}
	if !h.check("the gateway starts, and closes and holds every line with no glitch", starts(h, b, s)) {
		h.note("%s", s.said())
		if s.run == nil {
			return
		}
	}
	h.check("a person's order opens one line", opens(h, b))
	h.check("a gateway killed with a line open leaves it open", killed(h, b, s))
	h.check("close-all FILE closes it", closesAll(h, b))
	h.check("close-all FILE names a line that somebody else holds, and fails", closesBusy(b))
	h.check("a restarted gateway has every line closed first, and settles what it was killed in", restarts(h, b, s))
	h.check("a gateway told to stop closes every line", stops(h, b, s))
	h.check("a gateway that makes progress keeps the board alive, one that hangs does not", watchdog(h, b, s))
}

// command runs the gateway to its end, at most so long.
func command(limit time.Duration, args ...string) (out string, code int, err error) {
	c := exec.Command(program, args...)
	c.WaitDelay = time.Second
	timer := time.AfterFunc(limit, func() { _ = c.Process.Kill() })
	defer timer.Stop()
	raw, err := c.CombinedOutput()
	var exit *exec.ExitError
	if err != nil && !errors.As(err, &exit) {
		return "", 0, err
	}
	return string(raw), c.ProcessState.ExitCode(), nil
}

func starts(h *host, b bench, s *supervisor) error {
	if _, err := h.ask("mark"); err != nil {
		return err
	}
	if err := s.start(); err != nil {
		return err
	}
	if err := s.await(30 * time.Second); err != nil {
		return err
	}
	return errors.Join(
		wentThrough(h, b.opening, "in 0"), wentThrough(h, b.low, b.fresh),
		heldBy(b.chip, b.opening, "gateway chilli"), heldBy(b.chip, b.low, "gateway bean"),
		h.wantLevel(b.opening, "0"), h.wantLevel(b.low, "1"))
}

func wentThrough(h *host, line int, want string) error {
	got, _, err := h.history(line)
	if err == nil && got != want {
		err = fmt.Errorf("the pin of line %d went through %q, expected %q", line, got, want)
	}
	return err
}

// heldBy asks the kernel who holds a line.
func heldBy(chip string, line int, who string) error {
	st, err := gpioline.InUse(chip, line)
	if err == nil && (!st.Used || !st.Output || st.Holder != who) {
		err = fmt.Errorf("the kernel says %+v, expected an output held by %q", st, who)
	}
	return err
}

func opens(h *host, b bench) error {
	if err := water("chilli"); err != nil {
		return err
	}
	if err := becomes(h, b.opening, "1"); err != nil {
		return err
	}
	return h.wantLevel(b.low, "1")
}

// becomes waits for the gateway's next rounds to change a wire.
func becomes(h *host, line int, want string) error {
	var err error
	for range 60 {
		if err = h.wantLevel(line, want); err == nil {
			return nil
		}
		time.Sleep(200 * time.Millisecond)
	}
	return err
}

func killed(h *host, b bench, s *supervisor) error {
	if err := h.wantLevel(b.opening, "1"); err != nil {
		return err
	}
	// What a pin does after its holder's death is up to the kernel's driver;
	// that both of these leave it is why somebody has to close it.
	if err := errors.Join(s.kill(), h.wantLevel(b.opening, "1")); err != nil {
		return err
	}
	st, err := gpioline.InUse(b.chip, b.opening)
	if err == nil && st.Used {
		err = fmt.Errorf("the kernel says %+v, expected that nobody holds it", st)
	}
	return err
}

func closesAll(h *host, b bench) error {
	var out string
	var code int
	start := time.Now()
	history, _, err := h.during(b.opening, func() (err error) {
		out, code, err = command(20*time.Second, "close-all", gardenFile, "--socket", control)
		return err
	})
	if err != nil {
		return err
	}
	h.note("close-all took %.1f s", time.Since(start).Seconds())
	if code != 0 || !strings.Contains(out, "2 of 2 lines") {
		return fmt.Errorf("exit code %d: %s", code, out)
	}
	if !strings.HasSuffix(history, "1 0") && history != "0" {
		return fmt.Errorf("the pin went through %q", history)
	}
	return errors.Join(wentThrough(h, b.low, "1"), h.wantLevel(b.opening, "0"), h.wantLevel(b.low, "1"))
}

func closesBusy(b bench) error {
	_, stop, err := holdElsewhere(b.chip, b.opening, "door bell")
	if err != nil {
		return err
	}
	out, code, err := command(20*time.Second, "close-all", gardenFile, "--socket", control)
	if err = errors.Join(err, stop()); err != nil {
		return err
	}
	if code != 1 || !strings.Contains(out, "1 of 2 lines") || !strings.Contains(out, "chilli") || !strings.Contains(out, "door bell") {
		return fmt.Errorf("exit code %d: %s", code, out)
	}
	return nil
}

func restarts(h *host, b bench, s *supervisor) error {
	if _, err := h.ask("mark"); err != nil {
		return err
	}
	if err := s.start(); err != nil {
		return err
	}
	if err := s.await(30 * time.Second); err != nil {
		return err
	}
	if err := errors.Join(wentThrough(h, b.opening, "0"), wentThrough(h, b.low, "1"), heldBy(b.chip, b.opening, "gateway chilli")); err != nil {
		return err
	}
	if !strings.Contains(s.said(), "closed chilli") || !strings.Contains(s.said(), "unfinished") {
		return fmt.Errorf("nothing is said of the watering that was cut short: %s", s.said())
	}
	return nil
}

func stops(h *host, b bench, s *supervisor) error {
	if err := water("bean"); err != nil {
		return err
	}
	if err := becomes(h, b.low, "0"); err != nil {
		return fmt.Errorf("the line that is energised by low did not open: %w", err)
	}
	history, _, err := h.during(b.low, func() error {
		if err := s.run.Process.Signal(syscall.SIGTERM); err != nil {
			return err
		}
		return s.run.Wait()
	})
	if err != nil {
		return fmt.Errorf("%w: %s", err, s.said())
	}
	if history != "0 1" {
		return fmt.Errorf("the pin went through %q", history)
	}
	return errors.Join(h.wantLevel(b.opening, "0"), h.wantLevel(b.low, "1"))
}

// said is what the gateway printed so far.
func (s *supervisor) said() string {
	raw, err := os.ReadFile(output)
	if err != nil {
		return err.Error()
	}
	return oneLine(string(raw))
}
