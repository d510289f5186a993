package main

import (
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"strings"
	"syscall"
	"time"

	"golang.org/x/sys/unix"
)

// supervisor does for the gateway what a service manager does: it starts it,
// hears of its progress over a datagram socket (sd_notify(3)), and feeds the
// hardware's watchdog only as long as it hears.
type supervisor struct {
	garden string
	socket *net.UnixConn
	run    *exec.Cmd
}

func newSupervisor(garden string) (*supervisor, error) {
	c, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: "/run/notify", Net: "unixgram"})
	return &supervisor{garden: garden, socket: c}, err
}

func (s *supervisor) start() error {
	out, err := os.Create(output)
	if err != nil {
		return err
	}
	defer out.Close()
	s.run = exec.Command(program, "run", s.garden, "--journal", journal, "--socket", control)
	s.run.Env = []string{"NOTIFY_SOCKET=/run/notify", "HOME=/run", "PATH=/"}
	s.run.Stdout, s.run.Stderr = out, out
	return s.run.Start()
}

// hear waits for one message.
func (s *supervisor) hear(until time.Time) (string, error) {
	if err := s.socket.SetReadDeadline(until); err != nil {
		return "", err
	}
	buf := make([]byte, 4096)
	n, err := s.socket.Read(buf)
	return string(buf[:n]), err
}

// await waits until the gateway is ready.
func (s *supervisor) await(limit time.Duration) error {
	start := time.Now()
	for {
		m, err := s.hear(start.Add(limit))
		if err != nil {
			return fmt.Errorf("the gateway did not get ready: %w: %s", err, s.said())
		}
		if strings.Contains(m, "READY=1") {
			return nil
		}
	}
}

func (s *supervisor) kill() error {
	if err := s.run.Process.Kill(); err != nil {
		return err
	}
	// It was killed: that Wait says so is no error.
	_ = s.run.Wait()
	if s.run.ProcessState.Success() {
		return errors.New("the gateway ended by itself")
	}
	return nil
}

// patience is the watchdog's, in seconds: two rounds of five.
const patience = 10

// watchdog feeds the board's watchdog from the gateway's progress for longer
// than its patience, then makes the gateway hang. It comes back only if the
// board is not reset.
func watchdog(h *host, b bench, s *supervisor) error {
	if err := s.start(); err != nil {
		return err
	}
	if err := s.await(30 * time.Second); err != nil {
		return err
	}
	w, err := os.OpenFile("/dev/watchdog", os.O_WRONLY, 0)
	if err != nil {
		return err
	}
	if err := unix.IoctlSetPointerInt(int(w.Fd()), unix.WDIOC_SETTIMEOUT, patience); err != nil {
		return fmt.Errorf("watchdog: %w", err)
	}
	armed := time.Now()
	for time.Since(armed) < (patience+3)*time.Second {
		m, err := s.hear(time.Now().Add(patience * time.Second))
		if err != nil {
			return err
		}
		if strings.Contains(m, "WATCHDOG=1") {
			if _, err := w.Write([]byte{0}); err != nil {
				return err
			}
		}
	}
	fmt.Printf("@ok a watchdog of %d s was kept off for %.0f s by the rounds of the gateway alone\n", patience, time.Since(armed).Seconds())
	if err := s.run.Process.Signal(syscall.SIGSTOP); err != nil {
		return err
	}
	if _, err := h.ask("expect reset within %d", patience+5); err != nil {
		return err
	}
	for until := time.Now().Add((patience + 5) * time.Second); time.Now().Before(until); {
		if m, err := s.hear(until); err == nil && strings.Contains(m, "WATCHDOG=1") {
			if _, err := w.Write([]byte{0}); err != nil {
				return err
			}
		}
	}
	return errors.New("the board was not reset")
}
