package main

import (
	"context"
	"database/sql"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"fabricpot/cmd/gateway/internal/page"
	"fabricpot/control/feed"
	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A service manager in small: it starts the whole gateway on the far terrace, listens
// where NOTIFY_SOCKET says, aborts it when WATCHDOG=1 stays away for WATCHDOG_USEC, and
// starts another (from memory, of systemd.service(5) under WatchdogSec= and
// sd_notify(3)).

// hangShare of the time that the gateway asks for is what this one gives: a garden file
// allows rounds of five seconds at the least, and here they are a hundredth of that.
const hangShare = 15

// hangGarden is the kill harness's, with something that comes over the broker.
var hangGarden = strings.NewReplacer(
	`listen: "127.0.0.1:0" }`, `listen: "127.0.0.1:0", weather: [ { quantity: temperature, topic: station, unit: C } ] }`,
	"input: 0x48/1 }", "input: 0x48/1 }, far: { depth: 30 cm, remote: percent }",
).Replace(killGarden)

// hung is a part of the gateway and how it is made to hang.
type hung struct {
	clock   string // the function that hangs asking for the time
	place   string // what hangs of the terrace
	table   string // whose next record never comes back, of rows
	rows    string // where that is so; empty for all
	refuses int    // a pin that refuses meanwhile
	mute    bool   // nobody reads what it prints
	in      string // a function that hung, as the aborted program says itself
}

// hangParts: each hangs while line a is open and line b is asked for water.
var hangParts = map[string]hung{
	"probes":              {place: "bus", in: "sensors.(*Sampler).Sample"},
	"probes of a broker":  {clock: "hub.(*sampler).Sample", in: "hub.(*sampler).Sample"},
	"weather of a broker": {clock: "hub.(*farSky).Observe", in: "hub.(*farSky).Observe"},
	"pulses":              {clock: "runner.endPulses", in: "runner.endPulses"},
	"gauges":              {clock: "runner.readGauges", in: "runner.readGauges"},
	"output's driver":     {place: "pin 27", in: "valves.(*Owned).call.func"},
	"teller":              {mute: true, in: "runner.(*Printer)"},
	"samples kept":        {table: "recent_samples", in: "journal.(*Journal).AddSamples"},
	"request kept":        {table: "asks", in: "runner.(*Keeper).Asked"},
	"intent kept":         {table: "intents", in: "valves.(*Guard).Request"},
	"decision kept":       {table: "decisions", in: "runner.(*Keeper).Decided"},
	"outcome kept":        {table: "outcomes", rows: "NEW.line='b'", in: "valves.(*Guard).Flush"},
	"alarm kept":          {table: "alarms", refuses: 27, in: "runner.(*Keeper).Alarmed"},
	"feed kept":           {table: "feed_steps", rows: fmt.Sprint("NEW.kind=", int(feed.PulseSettled)), in: "runner.(*Loop).keepFeeds"},
	"nothing":             {},
}

// managed is a gateway under that service manager.
type managed struct {
	*life
	t    *testing.T
	w    *World
	conn *net.UnixConn
	// patience is how long WATCHDOG=1 may stay away.
	patience time.Duration
	fed      int
}

// manage starts a gateway and waits until it is ready.
func manage(t *testing.T, w *World, conn *net.UnixConn, wall, clock string, out *os.File) *managed {
	t.Helper()
	m := &managed{t: t, w: w, conn: conn, life: &life{sock: filepath.Join(w.dir, "gateway.sock")}}
	m.Cmd, m.out = killProcess(w.dir, wall, w.bear(), "run", "--listen", "127.0.0.1:0", filepath.Join(w.dir, "garden.yaml"))
	m.Env = append(m.Env, killSnagEnv+"="+clock, "GOTRACEBACK=all", "NOTIFY_SOCKET="+conn.LocalAddr().String())
	if out != nil {
		m.Stdout = out
	}
	require.NoError(t, m.Start())
	t.Cleanup(func() { _ = m.Process.Kill() })
	for m.patience == 0 {
		words, err := m.hear(20 * time.Second)
		require.NoError(t, err, m.out)
		if !strings.HasPrefix(words, "READY=1\n") {
			continue
		}
		_, after, ok := strings.Cut(words, "WATCHDOG_USEC=")
		require.True(t, ok, words)
		usec, _, _ := strings.Cut(after, "\n")
		n, err := strconv.Atoi(usec)
		require.NoError(t, err)
		require.Positive(t, n)
		m.patience = time.Duration(n) * time.Microsecond / hangShare
	}
	return m
}

// hear is the next message to the service manager.
func (m *managed) hear(patience time.Duration) (string, error) {
	b := make([]byte, 4096)
	if err := m.conn.SetReadDeadline(time.Now().Add(patience)); err != nil {
		return "", err
	}
	n, err := m.conn.Read(b)
	if strings.HasPrefix(string(b[:n]), "WATCHDOG=1") {
		m.fed++
	}
	return string(b[:n]), err
}

// watch does as a service manager does, for so long, and tells whether the gateway was
// aborted. It was fed until then.
func (m *managed) watch(long time.Duration) (aborted bool) {
	m.t.Helper()
	for end, last := time.Now().Add(long), time.Now(); time.Now().Before(end); {
		words, err := m.hear(time.Until(last.Add(m.patience)))
		switch {
		case strings.HasPrefix(words, "WATCHDOG=1"):
			last = time.Now()
		case err != nil:
			require.ErrorIs(m.t, err, os.ErrDeadlineExceeded)
			// It says where each goroutine was.
			require.NoError(m.t, m.Process.Signal(syscall.SIGABRT))
			require.Error(m.t, m.Wait())
			require.Contains(m.t, m.out.String(), "SIGABRT")
			return true
		}
	}
	return false
}

// TestTheServiceManagerResetsWhatHangs hangs each part of the whole gateway in turn,
// with a line open: the service manager misses it and starts another, which closes what
// was left open within a second of its exec, or as fast as a crowded machine starts
// anything, and is fed again.
func TestTheServiceManagerResetsWhatHangs(t *testing.T) {
	for name, part := range hangParts {
		if few := name == "output's driver" || name == "outcome kept" || name == "pulses" || name == "nothing"; testing.Short() && !few {
			continue
		}
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			resetPart(t, part)
		})
	}
}

func resetPart(t *testing.T, part hung) {
	w, _, start := keepTerrace(t, hangGarden)
	conn, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: filepath.Join(w.dir, "notify"), Net: "unixgram"})
	require.NoError(t, err)
	defer conn.Close()
	ctx, stop := context.WithCancel(context.Background())
	defer stop()
	if part.table == "feed_steps" {
		trip(t, w.dir, part) // its pulse may end at any time from now on
	}
	var out *os.File
	if part.mute {
		var in *os.File
		in, out, err = os.Pipe()
		require.NoError(t, err)
		defer in.Close()
		defer out.Close()
	}
	m := manage(t, w, conn, w.feedDue(start, 0), part.clock, out)
	require.NoError(t, page.NewClient(m.sock).Do(ctx, "POST", "/automatic", map[string]bool{"on": true}, nil))
	at, err := m.said(ctx, `page: (http://\S+?)/?\n`)
	require.NoError(t, err)
	require.NoError(t, askPage(ctx, w, at, "a", 20))
	for ended := time.Now().Add(20 * time.Second); !w.driven("a"); {
		require.True(t, time.Now().Before(ended), "line a never opened: %s", m.out)
		require.False(t, m.watch(killTick), "aborted while nothing hung")
	}

	hang(t, w, m, part, out)
	asked := make(chan error, 1)
	go func() { asked <- askPage(ctx, w, at, "b", killPulseL) }()
	if part == (hung{}) {
		require.False(t, m.watch(2*m.patience), "aborted while nothing hung: %s", m.out)
		require.NoError(t, <-asked)
		require.NoError(t, m.Process.Signal(syscall.SIGTERM))
		require.NoError(t, m.Wait(), m.out)
		assert.Greater(t, m.fed, 10)
		return
	}
	require.True(t, m.watch(40*time.Second), "nobody missed it: %s", m.out)
	assert.Contains(t, m.out.String(), part.in, "what hung is what was meant to")
	stop()
	<-asked
	assert.Positive(t, m.fed, "fed until then")
	assert.True(t, w.driven("a"), "a line is left open, or nothing is proved of the restart")

	w.died()
	w.free()
	untrip(t, w.dir)
	usual := usualStart(t, w.dir)
	next := manage(t, w, conn, w.feedDue(start, 1), "", nil)
	w.mu.Lock()
	assert.False(t, w.opened, "opened a line before all were closed")
	assert.Positive(t, w.took, "never closed all: %s", next.out)
	t.Logf("closed what was left open %.2f times what a process takes that says its version and ends (%v over %v)",
		float64(w.took)/float64(usual), w.took.Round(time.Millisecond), usual.Round(time.Millisecond))
	assert.LessOrEqual(t, w.took, max(time.Second, plainStarts*usual), "closed what was left open")
	w.mu.Unlock()
	require.False(t, next.watch(next.patience*3/2), "the next one hangs too: %s", next.out)
	require.NoError(t, next.Process.Signal(syscall.SIGTERM))
	require.NoError(t, next.Wait(), next.out)
	assert.Greater(t, next.fed, 10)
}

// hang has the part hang from now on.
func hang(t *testing.T, w *World, m *managed, part hung, out *os.File) {
	t.Helper()
	switch {
	case part.place != "":
		w.snag(part.place)
	case part.clock != "":
		w.snag(part.clock)
	case part.mute:
		fill(t, out)
	case part.table != "" && part.table != "feed_steps":
		trip(t, w.dir, part)
	}
	w.mu.Lock()
	w.failing = part.refuses
	w.mu.Unlock()
}

// trip has the journal's next record of that kind never come back.
func trip(t *testing.T, dir string, part hung) {
	t.Helper()
	when := ""
	if part.rows != "" {
		when = " WHEN " + part.rows
	}
	onJournal(t, dir, "CREATE TRIGGER tripped BEFORE INSERT ON "+part.table+when+" BEGIN SELECT hang(); END")
}

func untrip(t *testing.T, dir string) {
	t.Helper()
	onJournal(t, dir, "DROP TRIGGER IF EXISTS tripped")
}

func onJournal(t *testing.T, dir, statement string) {
	t.Helper()
	db, err := sql.Open("sqlite", "file:"+filepath.Join(dir, "journal.db")+"?_pragma=busy_timeout(10000)")
	require.NoError(t, err)
	_, err = db.Exec(statement)
	require.NoError(t, err)
	require.NoError(t, db.Close())
}

// fill writes into a pipe that nobody reads until no more goes in.
func fill(t *testing.T, pipe *os.File) {
	t.Helper()
	// The gateway's own end blocks; this one, opened anew, does not.
	fd, err := syscall.Open(fmt.Sprint("/proc/self/fd/", pipe.Fd()), syscall.O_WRONLY|syscall.O_NONBLOCK, 0)
	require.NoError(t, err)
	defer syscall.Close(fd)
	for chunk := make([]byte, 4096); len(chunk) > 0; {
		if _, err = syscall.Write(fd, chunk); err != nil {
			require.ErrorIs(t, err, syscall.EAGAIN)
			chunk = chunk[:len(chunk)/2]
		}
	}
}

// driven tells whether a line's pin is.
func (w *World) driven(id garden.LineID) bool {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.wires.Pin(id).Energised()
}

// usualStart is how long the program takes that says its version and ends, in the middle
// of three.
func usualStart(t *testing.T, dir string) time.Duration {
	t.Helper()
	plain := []time.Duration{plainStart(t, dir), plainStart(t, dir), plainStart(t, dir)}
	slices.Sort(plain)
	return plain[1]
}
