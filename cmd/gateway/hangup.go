package main

import (
	"context"
	"os"
	"os/signal"
	"sync/atomic"
	"syscall"
)

// hangup is what SIGHUP does: end the program, as a lost terminal should, unless
// a running gateway has taken it over to read its garden file again.
type hangup struct {
	take atomic.Pointer[func()]
	// lost tells that the terminal the program was started from is gone.
	lost func() bool
}

// Take has f run at each SIGHUP while the terminal is there, until the returned
// function is called.
func (h *hangup) Take(f func()) (release func()) {
	if h == nil {
		return func() {}
	}
	h.take.Store(&f)
	return func() { h.take.Store(nil) }
}

// came is one SIGHUP.
func (h *hangup) came(end func()) {
	if f := h.take.Load(); f != nil && !h.lost() {
		(*f)()
		return
	}
	end()
}

type hangupKey struct{}

func hangupOf(ctx context.Context) *hangup {
	h, _ := ctx.Value(hangupKey{}).(*hangup)
	return h
}

// withHangup ends the context at a SIGHUP, or has what took it over run.
func withHangup(ctx context.Context) (context.Context, context.CancelFunc) {
	h := &hangup{lost: terminalLost(controllingTerminal)}
	ctx, cancel := context.WithCancel(context.WithValue(ctx, hangupKey{}, h))
	came := make(chan os.Signal, 1)
	signal.Notify(came, syscall.SIGHUP)
	go func() {
		for {
			select {
			case <-came:
				h.came(cancel)
			case <-ctx.Done():
				return
			}
		}
	}()
	return ctx, func() { signal.Stop(came); cancel() }
}

// terminalLost reports whether a terminal that was there at the start is no more.
func terminalLost(there func() bool) func() bool {
	began := there()
	return func() bool { return began && !there() }
}

// controllingTerminal reports whether the program has a terminal.
func controllingTerminal() bool {
	f, err := os.OpenFile("/dev/tty", os.O_RDWR|syscall.O_NOCTTY, 0)
	if err != nil {
		return false
	}
	f.Close()
	return true
}
