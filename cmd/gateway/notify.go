package main

import (
	"fmt"
	"io"
	"sync"
	"sync/atomic"
	"time"

	"github.com/coreos/go-systemd/v22/daemon"
)

// manager tells the service manager how we do, where one asked to be told
// (NOTIFY_SOCKET is set); elsewhere it does nothing. Only rounds of the control
// loop feed its watchdog: a program that merely breathes is one to restart.
type manager struct {
	err  io.Writer
	send func(state string) (bool, error)
	once sync.Once
	over atomic.Bool // stopping was told: nothing about reloads follows
	// turn holds the message that is under way. The socket holds a few; once they are
	// full a write waits until somebody reads.
	turn chan struct{}
	// patience is how long a round may take before the watchdog ends us.
	patience time.Duration
}

// newManager is for a loop with a round every so often.
func newManager(err io.Writer, every time.Duration) *manager {
	return &manager{
		err: err, patience: watchdogPatience(every), turn: make(chan struct{}, 1),
		// The socket stays in the environment: it is asked for on each call.
		send: func(state string) (bool, error) { return daemon.SdNotify(false, state) },
	}
}

// watchdogPatience leaves room for two rounds that failed slowly: each may wait
// for a bus that hangs and a card that does not answer.
func watchdogPatience(every time.Duration) time.Duration { return 3*every + 30*time.Second }

// progress is called after each round. The first tells that the gateway is
// ready: every line was closed and confirmed, and probes have been read.
func (m *manager) progress() {
	m.once.Do(func() {
		// The garden file sets the interval, so that the unit's own figure
		// only bounds the start.
		m.tell(fmt.Sprintf("%s\nWATCHDOG_USEC=%d\nSTATUS=keeping the garden", daemon.SdNotifyReady, m.patience.Microseconds()))
	})
	select {
	case m.turn <- struct{}{}:
		m.say(daemon.SdNotifyWatchdog)
	default: // the next round says the same
	}
}

// unwatched tells that we are ready and asks for no watchdog: for a bench, whose
// rounds have nothing real to neglect.
func (m *manager) unwatched() {
	m.tell(daemon.SdNotifyReady + "\nWATCHDOG_USEC=0\nSTATUS=on the virtual bench")
}

// reloading tells that the garden file is being read again, reloaded that this is
// over and what came of it.
func (m *manager) reloading() {
	if m.over.Load() {
		return
	}
	m.tell(daemon.SdNotifyReloading + "\n" + daemon.SdNotifyMonotonicUsec() + "STATUS=reading the garden file again")
}

func (m *manager) reloaded(words string) {
	if !m.over.Load() {
		m.tell(daemon.SdNotifyReady + "\nSTATUS=" + words)
	}
}

// stopping tells that lines are being closed for good.
func (m *manager) stopping() {
	m.over.Store(true)
	m.tell(daemon.SdNotifyStopping + "\nSTATUS=closing every line")
}

// heardWithin is how long a round waits for a service manager to take a message.
const heardWithin = time.Second

// tell says it after what is under way, and never holds up for long what it tells of, the
// closing of lines least of all: while the service manager reads nothing, what there is to
// say is left out.
func (m *manager) tell(state string) {
	select {
	case m.turn <- struct{}{}:
		m.say(state)
	case <-time.After(heardWithin):
	}
}

// say is for who has the turn, and gives it back when the message is taken.
func (m *manager) say(state string) {
	said := make(chan error, 1)
	go func() {
		_, err := m.send(state)
		<-m.turn
		said <- err
	}()
	err := fmt.Errorf("does not read what it is told, for %v now; going on without it", heardWithin)
	select {
	case err = <-said:
	case <-time.After(heardWithin):
	}
	if err != nil {
		fmt.Fprintln(m.err, "service manager:", err)
	}
}
