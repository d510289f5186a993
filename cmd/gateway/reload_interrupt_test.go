package main

import (
	"bytes"
	"context"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"fabricpot/cmd/gateway/internal/page"
	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/garden"
	"fabricpot/testdata"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// socketOf serves a handler on a control socket of its own.
func socketOf(t *testing.T, h http.Handler) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "s")
	l, err := net.Listen("unix", path)
	require.NoError(t, err)
	srv := &http.Server{Handler: h}
	go func() { _ = srv.Serve(l) }()
	t.Cleanup(func() { _ = srv.Close() })
	return path
}

// busyLoop is a loop whose lines are open until it is told otherwise.
type busyLoop struct {
	tries, letGo atomic.Int64
	shut         atomic.Bool
	first        atomic.Pointer[runner.Reloaded]
	others       atomic.Int64 // tries with something made anew
	holdUp       chan struct{}
	in           chan struct{}
}

func (l *busyLoop) Reload(_ context.Context, r runner.Reloaded) error {
	if l.tries.Add(1) == 1 {
		l.first.Store(&r)
	}
	if f := l.first.Load(); f.Feeding != r.Feeding || f.Plan != r.Plan || f.Garden != r.Garden {
		l.others.Add(1)
	}
	if l.holdUp != nil {
		l.in <- struct{}{}
		<-l.holdUp
	}
	if l.shut.Load() {
		return nil
	}
	return runner.NotNow{Open: []garden.LineID{"chilli"}, Within: time.Minute}
}

func (l *busyLoop) LetGo(context.Context) error { l.letGo.Add(1); return nil }

func busyReloader(t *testing.T, loop *busyLoop) *reloader {
	t.Helper()
	u, err := understand(nil)
	require.NoError(t, err)
	file := filepath.Join(t.TempDir(), "g.yaml")
	require.NoError(t, os.WriteFile(file, []byte(strings.Replace(string(testdata.Terrace), "size: 38 L ", "size: 40 L ", 1)), 0o600))
	errs := &output{}
	r := newReloader(streams{err: errs}, []string{file}, u)
	r.loop, r.ready = loop, func() bool { return true }
	r.m = &manager{err: errs, turn: make(chan struct{}, 1), send: func(string) (bool, error) { return true, nil }}
	// As on the bench, where it is made for the hardware at hand.
	r.played = func(g *garden.Garden) *garden.Garden { c := *g; return &c }
	return r
}

// TestReloadIsPreparedOnce: what is made of a file is made once, however often the
// loop is asked whether its lines are closed.
func TestReloadIsPreparedOnce(t *testing.T) {
	loop := &busyLoop{}
	r := busyReloader(t, loop)
	require.Equal(t, reloadWaiting, r.Read(context.Background(), time.Hour, "test", "").State)
	require.Eventually(t, func() bool { return loop.tries.Load() >= 4 }, 20*time.Second, 10*time.Millisecond)
	assert.Zero(t, loop.others.Load(), "made anew for another try")
	r.Stop()
}

// TestReloadInterrupted: Ctrl-C takes back what was asked for, and what is said is
// what the gateway then answers.
func TestReloadInterrupted(t *testing.T) {
	run := func(t *testing.T, socket string, when func(stop func())) (out, errs *bytes.Buffer, err error) {
		ctx, stop := context.WithCancel(context.Background())
		defer stop()
		go when(stop)
		out, errs = &bytes.Buffer{}, &bytes.Buffer{}
		err = reload(ctx, streams{out: out, err: errs}, page.NewClient(socket), time.Hour)
		return out, errs, err
	}
	t.Run("while it waits", func(t *testing.T) {
		loop := &busyLoop{}
		r := busyReloader(t, loop)
		_, _, err := run(t, socketOf(t, r.serve(http.NotFoundHandler())), func(stop func()) {
			for loop.tries.Load() < 2 {
				time.Sleep(5 * time.Millisecond)
			}
			stop()
		})
		require.EqualError(t, err, "interrupted; nothing was changed")
		assert.Equal(t, reloadGaveUp, r.report().State)
		assert.Equal(t, int64(1), loop.letGo.Load(), "waterings go on")
	})
	t.Run("while it is read: the request is taken back", func(t *testing.T) {
		loop := &busyLoop{holdUp: make(chan struct{}), in: make(chan struct{})}
		r := busyReloader(t, loop)
		_, _, err := run(t, socketOf(t, r.serve(http.NotFoundHandler())), func(stop func()) {
			<-loop.in
			stop()
			time.Sleep(50 * time.Millisecond)
			close(loop.holdUp)
		})
		require.EqualError(t, err, "interrupted; nothing was changed")
		assert.Equal(t, reloadGaveUp, r.report().State)
		tries := loop.tries.Load()
		time.Sleep(3 * reloadLook)
		assert.Equal(t, tries, loop.tries.Load(), "it is still waited for")
		assert.Positive(t, loop.letGo.Load())
	})
	t.Run("too late", func(t *testing.T) {
		loop := &busyLoop{holdUp: make(chan struct{}), in: make(chan struct{})}
		loop.shut.Store(true)
		r := busyReloader(t, loop)
		out, errs, err := run(t, socketOf(t, r.serve(http.NotFoundHandler())), func(stop func()) {
			<-loop.in
			stop()
			time.Sleep(50 * time.Millisecond)
			close(loop.holdUp)
		})
		require.NoError(t, err, "it was done")
		assert.Contains(t, errs.String(), "too late")
		assert.Contains(t, out.String(), "1 changed, in force now")
		assert.Equal(t, reloadApplied, r.report().State)
	})
	t.Run("another's that came later stands", func(t *testing.T) {
		loop := &busyLoop{}
		r := busyReloader(t, loop)
		defer r.Stop()
		c := page.NewClient(socketOf(t, r.serve(http.NotFoundHandler())))
		assert.Equal(t, reloadWaiting, r.Read(context.Background(), time.Hour, "test", "one").State)
		assert.Equal(t, reloadWaiting, r.Read(context.Background(), time.Hour, "test", "another").State)
		err := withdraw(context.Background(), streams{}, c, "one", context.Canceled)
		require.EqualError(t, err, "interrupted; nothing was changed")
		assert.Equal(t, reloadWaiting, r.report().State)
		assert.Equal(t, "another", r.report().Ask)
		gone, leave := context.WithCancel(context.Background())
		leave()
		assert.Equal(t, reloadGaveUp, r.Read(gone, time.Hour, "test", "too late").State)
		assert.Equal(t, reloadWaiting, r.report().State, "one that has gone before its turn takes nothing back")
	})
	t.Run("what an earlier one came to is not this one's", func(t *testing.T) {
		mux := http.NewServeMux()
		mux.HandleFunc("POST /reload", func(_ http.ResponseWriter, q *http.Request) { <-q.Context().Done() })
		mux.HandleFunc("DELETE /reload", func(w http.ResponseWriter, _ *http.Request) {
			page.Answer(w, reloadReport{State: reloadApplied, Ask: "another"})
		})
		_, _, err := run(t, socketOf(t, mux), func(stop func()) { time.Sleep(50 * time.Millisecond); stop() })
		require.EqualError(t, err, "interrupted; nothing was changed")
	})
	t.Run("nothing is claimed that is not known", func(t *testing.T) {
		mux := http.NewServeMux()
		mux.HandleFunc("POST /reload", func(_ http.ResponseWriter, q *http.Request) { <-q.Context().Done() })
		mux.HandleFunc("DELETE /reload", func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusInternalServerError) })
		_, _, err := run(t, socketOf(t, mux), func(stop func()) { time.Sleep(50 * time.Millisecond); stop() })
		require.ErrorContains(t, err, "not known")
		assert.NotContains(t, err.Error(), "nothing was changed")
	})
}
