package main

import (
	"bytes"
	"context"
	"errors"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/cmd/gateway/internal/page"
	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/garden"
	"fabricpot/testdata"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// kept is a running gateway whose garden file a test edits.
type kept struct {
	t    *testing.T
	r    *running
	file string
	sock string
	db   string
}

func keep(t *testing.T, speed string) *kept {
	t.Helper()
	return keepIn(context.Background(), t, speed)
}

func keepIn(ctx context.Context, t *testing.T, speed string) *kept {
	t.Helper()
	dir := t.TempDir()
	k := &kept{t: t, file: filepath.Join(dir, "garden.yaml"), sock: filepath.Join(dir, "s"), db: filepath.Join(dir, "journal.db")}
	k.write(string(testdata.Terrace))
	ctx, stop := context.WithCancel(ctx)
	k.r = &running{t: t, out: &output{}, errs: &output{}, stop: stop, done: make(chan int, 1)}
	go func() {
		k.r.done <- execute(ctx, streams{in: strings.NewReader(""), out: k.r.out, err: k.r.errs},
			[]string{"run", k.file, "--no-page", "--no-broker", "--speed", speed, "--socket", k.sock, "--journal", k.db})
	}()
	t.Cleanup(func() { k.r.end() })
	require.Eventually(t, func() bool {
		return page.NewClient(k.sock).Do(context.Background(), "GET", "/status", nil, nil) == nil
	}, 20*time.Second, 20*time.Millisecond, "%s", k.r.errs)
	return k
}

func (k *kept) write(src string) { require.NoError(k.t, os.WriteFile(k.file, []byte(src), 0o600)) }

// edit replaces one text of the file by another.
func (k *kept) edit(from, to string) {
	k.t.Helper()
	src, err := os.ReadFile(k.file)
	require.NoError(k.t, err)
	require.Contains(k.t, string(src), from)
	k.write(strings.Replace(string(src), from, to, 1))
}

func (k *kept) reload(args ...string) (code int, out, errs string) {
	c, o, e := gateway(context.Background(), append([]string{"reload", "--socket", k.sock}, args...)...)
	return c, o.String(), e.String()
}

func (k *kept) status() *runner.Status {
	st := &runner.Status{}
	require.NoError(k.t, page.NewClient(k.sock).Do(context.Background(), "GET", "/status", nil, st))
	return st
}

// calm closes every line and keeps it so, but for survival doses.
func (k *kept) calm() {
	code, _, errs := gateway(context.Background(), "close-all", "--socket", k.sock)
	require.Equal(k.t, exitDone, code, errs.String())
}

// TestReloadCommand: over the socket of a running gateway a bad file changes
// nothing and is shown, one that takes a restart changes nothing and is named, and
// a good one holds at once.
func TestReloadCommand(t *testing.T) {
	k := keep(t, "1")
	k.calm()
	capacity := func() float64 { return k.status().Zones[0].CapacityL }
	before := capacity()

	code, out, errs := k.reload()
	require.Equal(t, exitDone, code, errs)
	assert.Contains(t, out, "nothing changed")

	k.edit("size: 46 cm x 45 cm", "size: 46 furlongs")
	k.edit("canopy: 0.5 m2", "canopi: 0.5 m2")
	code, out, errs = k.reload()
	require.Equal(t, exitFailed, code)
	assert.Empty(t, out)
	assert.Regexp(t, `garden\.yaml:\d+:\d+: pots\.aubergine\.size: `, errs)
	assert.Regexp(t, `garden\.yaml:\d+:\d+: .*canopi.*canopy`, errs, "every fault at once")
	assert.Contains(t, errs, "nothing was changed")
	assert.Equal(t, before, capacity())

	k.write(string(testdata.Terrace))
	k.edit("size: 46 cm x 45 cm", "size: 46 cm x 40 cm")
	k.edit("depth: 36 cm", "depth: 32 cm")
	k.edit("sample-every: 1 min", "sample-every: 30 s")
	code, out, errs = k.reload()
	require.Equal(t, exitFailed, code)
	assert.Empty(t, out)
	assert.Regexp(t, `garden\.yaml:\d+:\d+: sample-every: changed; this takes a restart`, errs)
	assert.Regexp(t, `garden\.yaml:\d+:\d+: pots\.aubergine\.size: changed\n`, errs)
	assert.Contains(t, errs, "nothing was changed: restart the gateway")
	assert.Equal(t, before, capacity(), "all of it or nothing")

	k.edit("sample-every: 30 s", "sample-every: 1 min")
	code, out, errs = k.reload()
	require.Equal(t, exitDone, code, errs)
	assert.Contains(t, out, "pots.aubergine.size: changed")
	assert.Contains(t, out, "2 changed, in force now")
	assert.Less(t, capacity(), before, "a lower pot of the same width holds less")
	assert.False(t, k.status().Automatic, "what a person switched off stays off")

	require.Equal(t, exitDone, k.r.end(), k.r.errs)
	j, _, err := journal.Open(k.db)
	require.NoError(t, err)
	defer j.Close()
	all, err := j.Decisions(time.Unix(0, 0), time.Now().AddDate(10, 0, 0), 1000)
	require.NoError(t, err)
	told := 0
	for _, d := range all {
		if strings.Contains(d.Text, "garden file read again by gateway reload: ") {
			assert.Contains(t, d.Text, "pots.aubergine.size: changed")
			told++
		}
	}
	assert.Equal(t, 1, told, "the journal knows of the one that held")
}

// TestReloadWaitsForTheLines: while a line is open nothing changes, one that gives
// up changes nothing, and one that waits takes over at the close.
func TestReloadWaitsForTheLines(t *testing.T) {
	k := keep(t, "60")
	anyOpen := func() bool {
		for _, l := range k.status().Lines {
			if l.Open {
				return true
			}
		}
		return false
	}
	require.Eventually(t, anyOpen, 30*time.Second, 50*time.Millisecond)
	k.edit("size: 38 L ", "size: 40 L ")
	code, _, errs := k.reload("--wait", "300ms")
	require.Equal(t, exitFailed, code)
	assert.Contains(t, errs, "taken over when every line is closed")
	assert.Contains(t, errs, "nothing was changed: no moment came")
	volume := func() float64 {
		for _, z := range k.status().Zones {
			if z.Zone == "chilli" {
				return z.VolumeL
			}
		}
		return 0
	}
	assert.InDelta(t, 38, volume(), 0.01)
	// Three quarters of an hour at most, at 60 times real time.
	code, out, errs := k.reload("--wait", "2m")
	require.Equal(t, exitDone, code, errs)
	assert.Contains(t, out, "pots.chilli.size: changed")
	assert.InDelta(t, 40, volume(), 0.01)
	require.Eventually(t, anyOpen, 60*time.Second, 50*time.Millisecond, "watering goes on")
}

// TestReloadByHangup: a real SIGHUP reads the file again and does not end the
// program; with its terminal lost it does.
func TestReloadByHangup(t *testing.T) {
	ctx, release := withHangup(context.Background())
	defer release()
	var gone atomic.Bool
	hangupOf(ctx).lost = gone.Load
	hup := func() { require.NoError(t, syscall.Kill(os.Getpid(), syscall.SIGHUP)) }
	k := keepIn(ctx, t, "1")
	k.calm()
	k.edit("size: 38 L ", "size: 40 L ")
	hup()
	require.Eventually(t, func() bool { return strings.Contains(k.r.errs.String(), "1 changed, in force now") }, 10*time.Second, 20*time.Millisecond, "%s", k.r.errs)
	k.edit("size: 40 L ", "size: forty ")
	hup()
	require.Eventually(t, func() bool { return strings.Contains(k.r.errs.String(), "has faults: nothing was changed") }, 10*time.Second, 20*time.Millisecond, "%s", k.r.errs)
	assert.Regexp(t, `garden\.yaml:\d+:\d+: pots\.chilli\.size`, k.r.errs.String())
	select {
	case code := <-k.r.done:
		k.r.done <- code
		require.Fail(t, "a SIGHUP ended it", "exit code %d: %s", code, k.r.errs)
	default:
	}
	gone.Store(true)
	hup()
	select { // by itself: nothing but the signal stops it
	case code := <-k.r.done:
		k.r.done <- code
		require.Equal(t, exitDone, code, k.r.errs)
	case <-time.After(30 * time.Second):
		require.Fail(t, "it runs on without its terminal")
	}
	assert.Contains(t, k.r.out.String(), "lines confirmed closed")
}

func TestTerminalLost(t *testing.T) {
	there := true
	lost := terminalLost(func() bool { return there })
	assert.False(t, lost())
	there = false
	assert.True(t, lost())
	assert.False(t, terminalLost(func() bool { return there })(), "a service never had one")
}

// TestReloadIsRefusedClearly covers what never reaches the loop.
func TestReloadIsRefusedClearly(t *testing.T) {
	t.Run("nobody is running", func(t *testing.T) {
		code, _, errs := gateway(context.Background(), "reload", "--socket", filepath.Join(t.TempDir(), "s"))
		assert.Equal(t, exitFailed, code)
		assert.Contains(t, errs.String(), "no gateway is running")
	})
	t.Run("wrong use", func(t *testing.T) {
		for _, args := range [][]string{{"reload", "x"}, {"reload", "--wait", "-1s"}, {"reload", "--wait", "13h"}, {"reload", "--wait", "long"}} {
			code, _, _ := gateway(context.Background(), args...)
			assert.Equal(t, exitWrongUse, code, "%v", args)
		}
	})
	u, err := understand(nil)
	require.NoError(t, err)
	new := func(args ...string) (*reloader, *refuser, *bytes.Buffer) {
		errs := &bytes.Buffer{}
		r := newReloader(streams{err: errs}, args, u)
		loop := &refuser{}
		r.loop, r.ready, r.m = loop, func() bool { return true }, &manager{err: errs, turn: make(chan struct{}, 1), send: func(string) (bool, error) { return true, nil }}
		return r, loop, errs
	}
	file := filepath.Join(t.TempDir(), "g.yaml")
	require.NoError(t, os.WriteFile(file, []byte(strings.Replace(string(testdata.Terrace), "size: 38 L ", "size: 40 L ", 1)), 0o600))
	t.Run("the example has no file", func(t *testing.T) {
		r, loop, _ := new()
		rep := r.Read(context.Background(), time.Second, "test", "")
		assert.Equal(t, reloadFailed, rep.State)
		assert.Contains(t, rep.Why, "there is no file")
		assert.Zero(t, loop.asked)
	})
	t.Run("the file is gone", func(t *testing.T) {
		r, loop, errs := new(filepath.Join(t.TempDir(), "gone.yaml"))
		rep := r.Read(context.Background(), time.Second, "test", "")
		assert.Equal(t, reloadFaulty, rep.State)
		assert.Contains(t, errs.String(), "gone.yaml")
		assert.Zero(t, loop.asked)
	})
	t.Run("it has not started yet", func(t *testing.T) {
		r, loop, _ := new(file)
		r.ready = func() bool { return false }
		assert.Equal(t, reloadFailed, r.Read(context.Background(), time.Second, "test", "").State)
		assert.Zero(t, loop.asked)
	})
	t.Run("the loop refuses", func(t *testing.T) {
		r, loop, _ := new(file)
		loop.err = errors.New("no")
		rep := r.Read(context.Background(), time.Second, "test", "")
		assert.Equal(t, reloadFailed, rep.State)
		assert.Same(t, u, r.current())
	})
	t.Run("the one that asked last counts, and who gives up lets go", func(t *testing.T) {
		r, loop, _ := new(file)
		loop.err = runner.NotNow{Open: []garden.LineID{"chilli"}, Within: time.Minute}
		assert.Equal(t, reloadWaiting, r.Read(context.Background(), time.Hour, "one", "").State)
		assert.Equal(t, reloadWaiting, r.Read(context.Background(), time.Hour, "two", "").State)
		assert.Equal(t, 1, loop.letGo, "the first was given up")
		r.Stop()
		assert.Equal(t, 2, loop.letGo)
		assert.Equal(t, reloadGaveUp, r.report().State)
		loop.err = nil
		assert.Equal(t, reloadApplied, r.Read(context.Background(), time.Hour, "three", "").State)
		assert.Equal(t, reloadUnchanged, r.Read(context.Background(), time.Hour, "four", "").State)
	})
}

// refuser is a loop that answers as it is told.
type refuser struct {
	err          error
	asked, letGo int
}

func (l *refuser) Reload(context.Context, runner.Reloaded) error { l.asked++; return l.err }
func (l *refuser) LetGo(context.Context) error                   { l.letGo++; return nil }

// TestReloadIsNotified: the service manager hears that it begins and that it is
// over (sd_notify(3)), and nothing after the stop was told.
func TestReloadIsNotified(t *testing.T) {
	path := filepath.Join(t.TempDir(), "n")
	conn, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: path, Net: "unixgram"})
	require.NoError(t, err)
	defer conn.Close()
	t.Setenv("NOTIFY_SOCKET", path)
	var errs bytes.Buffer
	m := newManager(&errs, time.Minute)
	m.reloading()
	m.reloaded("keeping the garden; nothing changed")
	m.stopping()
	m.reloading()
	m.reloaded("too late")
	var got []string
	buf := make([]byte, 4096)
	require.NoError(t, conn.SetReadDeadline(time.Now().Add(20*time.Second)))
	for range 3 {
		n, err := conn.Read(buf)
		require.NoError(t, err)
		got = append(got, string(buf[:n]))
	}
	assert.Regexp(t, `^RELOADING=1\nMONOTONIC_USEC=\d+\n`, got[0])
	assert.Equal(t, "READY=1\nSTATUS=keeping the garden; nothing changed", got[1])
	assert.Contains(t, got[2], "STOPPING=1")
	require.NoError(t, conn.SetReadDeadline(time.Now().Add(50*time.Millisecond)))
	_, err = conn.Read(buf)
	assert.Error(t, err, "nothing more")
	assert.Empty(t, errs.String())
}
