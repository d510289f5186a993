package main

import (
	"bytes"
	"errors"
	"net"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The wire format is that of sd_notify(3): lines of NAME=value in one datagram
// to the socket that NOTIFY_SOCKET names (from memory).
func TestManager(t *testing.T) {
	t.Run("only progress says ready and feeds the watchdog", func(t *testing.T) {
		path := filepath.Join(t.TempDir(), "notify")
		conn, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: path, Net: "unixgram"})
		require.NoError(t, err)
		defer conn.Close()
		t.Setenv("NOTIFY_SOCKET", path)
		var errs bytes.Buffer
		m := newManager(&errs, time.Minute)
		m.progress()
		m.progress()
		m.stopping()
		var got []string
		buf := make([]byte, 4096)
		require.NoError(t, conn.SetReadDeadline(time.Now().Add(20*time.Second)))
		for range 4 {
			n, err := conn.Read(buf)
			require.NoError(t, err)
			got = append(got, string(buf[:n]))
		}
		first := strings.Split(got[0], "\n")
		assert.Equal(t, "READY=1", first[0])
		assert.Contains(t, first, "WATCHDOG_USEC=210000000", "three rounds and half a minute")
		assert.Equal(t, []string{"WATCHDOG=1", "WATCHDOG=1"}, got[1:3])
		assert.True(t, strings.HasPrefix(got[3], "STOPPING=1"), got[3])
		assert.Empty(t, errs.String())
	})
	t.Run("without a service manager it is silent", func(t *testing.T) {
		t.Setenv("NOTIFY_SOCKET", "")
		var errs bytes.Buffer
		m := newManager(&errs, time.Minute)
		m.progress()
		m.stopping()
		assert.Empty(t, errs.String())
	})
	t.Run("a failing socket is told and harms nothing", func(t *testing.T) {
		var errs bytes.Buffer
		m := newManager(&errs, time.Minute)
		m.send = func(string) (bool, error) { return false, errors.New("gone") }
		m.progress()
		assert.Contains(t, errs.String(), "gone")
	})
	// A socket that nobody reads takes as many messages as the kernel's
	// net.unix.max_dgram_qlen says, a few hundred at the most; then a write waits.
	t.Run("one that reads nothing holds up no round, and hears when it reads again", func(t *testing.T) {
		path := filepath.Join(t.TempDir(), "notify")
		conn, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: path, Net: "unixgram"})
		require.NoError(t, err)
		defer conn.Close()
		t.Setenv("NOTIFY_SOCKET", path)
		var errs bytes.Buffer
		m := newManager(&errs, time.Minute)
		ended := make(chan bool)
		go func() {
			defer close(ended)
			for range 2000 {
				m.progress()
			}
			m.stopping()
		}()
		select {
		case <-ended:
		case <-time.After(30 * time.Second):
			require.Fail(t, "the loop waits for the service manager")
		}
		assert.Equal(t, 1, strings.Count(errs.String(), "does not read what it is told"), "said once: %s", &errs)
		// Reading goes on by itself: when the last message was taken, and when its
		// sender gave the turn back, are two moments.
		heard := make(chan string, 4000)
		go func() {
			defer close(heard)
			buf := make([]byte, 4096)
			for {
				n, err := conn.Read(buf)
				if err != nil {
					return
				}
				heard <- string(buf[:n])
			}
		}()
		require.Eventually(t, func() bool { return len(m.turn) == 0 }, 20*time.Second, time.Millisecond, "what was under way is never taken")
		m.stopping()
		late := time.After(20 * time.Second)
		for last := ""; !strings.HasPrefix(last, "STOPPING=1"); {
			select {
			case s, ok := <-heard:
				require.True(t, ok, "the socket closed after %q", last)
				last = s
			case <-late:
				require.Fail(t, "never said that it stops", "after %q", last)
			}
		}
	})
	t.Run("what a reload says comes after what a round says", func(t *testing.T) {
		var errs bytes.Buffer
		m := newManager(&errs, time.Minute)
		under, goOn := make(chan bool), make(chan bool)
		var got []string
		m.send = func(state string) (bool, error) {
			if state == "WATCHDOG=1" {
				close(under)
				<-goOn
			}
			got = append(got, strings.SplitN(state, "\n", 2)[0])
			return true, nil
		}
		m.once.Do(func() {})
		round := make(chan bool)
		go func() { m.progress(); close(round) }()
		<-under
		told := make(chan bool)
		go func() { m.reloaded("all of it"); close(told) }()
		time.AfterFunc(50*time.Millisecond, func() { close(goOn) })
		<-round
		<-told
		assert.Equal(t, []string{"WATCHDOG=1", "READY=1"}, got)
		assert.Empty(t, errs.String())
	})
}
