package main

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"fabricpot/cmd/gateway/internal/page"
	"fabricpot/control/garden"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/require"
)

// life is one process of the gateway, and whoever asks it for water.
type life struct {
	*exec.Cmd
	out  *lockedBuffer
	sock string
	wall func() time.Time // by its calendar
	stop context.CancelFunc
	// ending tells that what asks fails now as it should.
	ending atomic.Bool
	over   chan struct{}
}

// killProcess is the gateway's process, not started, with a folder for all it keeps.
func killProcess(dir, wall string, n int, args ...string) (*exec.Cmd, *lockedBuffer) {
	c, out := exec.Command(os.Args[0], args...), &lockedBuffer{}
	c.Env = append(os.Environ(), killEnv+"="+dir, killLifeEnv+"="+strconv.Itoa(n), killWallEnv+"="+wall,
		"STATE_DIRECTORY="+dir, "RUNTIME_DIRECTORY="+dir, "NOTIFY_SOCKET=")
	c.Stdout, c.Stderr = out, out
	return c, out
}

// plainStarts is how many times what a plain start takes a gateway has to close all
// lines, where that comes to over a second: several are started at the same time, and
// others may use the machine. Common practice, no source.
const plainStarts = 5

// plainStart is how long a process takes that says its version and ends.
func plainStart(t *testing.T, dir string) time.Duration {
	t.Helper()
	c, out := killProcess(dir, "0", 0, "--version")
	// Under the race detector a process otherwise sleeps for a second before it ends,
	// https://go.dev/doc/articles/race_detector.
	c.Env = append(c.Env, "GORACE=atexit_sleep_ms=0")
	began := time.Now()
	require.NoError(t, c.Run(), out.String())
	return time.Since(began)
}

// bearLife starts the gateway as its service does, on the far board.
func bearLife(t *testing.T, w *World, dir, wall string) *life {
	t.Helper()
	l := &life{sock: filepath.Join(dir, "gateway.sock"), over: make(chan struct{})}
	clock := newLeapClock(wall, time.UTC)
	l.wall = func() time.Time { return clock.Moment().Wall }
	l.Cmd, l.out = killProcess(dir, wall, w.bear(), "run", "--listen", "127.0.0.1:0", filepath.Join(dir, "garden.yaml"))
	require.NoError(t, l.Start())
	t.Cleanup(func() { _ = l.Process.Kill() })
	ctx, stop := context.WithCancel(context.Background())
	l.stop = stop
	go func() {
		defer close(l.over)
		if err := l.askOn(ctx, w); err != nil && !l.ending.Load() {
			fmt.Fprintln(l.out, "the harness could not ask:", err)
		}
	}()
	return l
}

// end kills it, or has it stop in good order, and waits until nobody asks any more.
func (l *life) end(by syscall.Signal) error {
	l.ending.Store(true)
	err := l.Process.Signal(by)
	if err == nil {
		err = l.Wait()
	}
	l.stop()
	<-l.over
	return err
}

// askOn asks for pulses, by turns through the page and over the broker.
func (l *life) askOn(ctx context.Context, w *World) error {
	// After this many crashes it waits for a person's word before it feeds.
	for page.NewClient(l.sock).Do(ctx, "POST", "/automatic", map[string]bool{"on": true}, nil) != nil {
		if !pause(ctx, killTick) {
			return nil
		}
	}
	at, err := l.said(ctx, `page: (http://\S+?)/?\n`)
	if err != nil {
		return err
	}
	mqtt, err := l.said(ctx, `broker: mqtt://(\S+), topics under`)
	if err != nil {
		return err
	}
	c := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + mqtt).SetClientID("person").SetAutoReconnect(false))
	if tok := c.Connect(); tok.WaitTimeout(5*time.Second) && tok.Error() != nil {
		return tok.Error()
	}
	defer c.Disconnect(0)
	for n := 0; pause(ctx, 2*killTick); n++ { // what opens meanwhile nobody has asked for
		var err error
		switch n % 2 {
		case 0:
			err = askPage(ctx, w, at, "a", killPulseL)
		case 1:
			w.ask("b")
			tok := c.Publish("fabricpot/kills/do", 1, false, fmt.Sprintf(`{"id":"%d-%d","do":"water","zone":"b","litres":%g,"expires":%q}`,
				l.Process.Pid, n, killPulseL, l.wall().Add(10*time.Second).Format(time.RFC3339)))
			tok.WaitTimeout(5 * time.Second)
			err = tok.Error()
		}
		if err != nil || !pause(ctx, 2*killTick) {
			return err
		}
	}
	return nil
}

var ticketInput = regexp.MustCompile(`name="ticket" value="([^"]+)"`)

// askPage looks at what a watering would do and confirms it, as a person does.
func askPage(ctx context.Context, w *World, at string, zone garden.ZoneID, litres float64) error {
	form := at + "/pot/" + string(zone) + "/water"
	get, err := http.NewRequestWithContext(ctx, "GET", fmt.Sprintf("%s?amount=%g&unit=L", form, litres), nil)
	if err != nil {
		return err
	}
	text, err := fetched(get)
	if err != nil {
		return err
	}
	m := ticketInput.FindStringSubmatch(text)
	if m == nil {
		return fmt.Errorf("no ticket in %s", text)
	}
	w.ask(garden.LineID(zone))
	said := url.Values{"ticket": {m[1]}, "litres": {fmt.Sprintf("%.3f", litres)}}
	post, err := http.NewRequestWithContext(ctx, "POST", form, strings.NewReader(said.Encode()))
	if err != nil {
		return err
	}
	post.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	_, err = fetched(post)
	return err
}

func fetched(r *http.Request) (string, error) {
	res, err := http.DefaultClient.Do(r)
	if err != nil {
		return "", err
	}
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	if err == nil && res.StatusCode != http.StatusOK {
		err = fmt.Errorf("%s %s: %s: %s", r.Method, r.URL, res.Status, b)
	}
	return string(b), err
}

// said waits until the gateway says something, and returns what stands in the brackets.
func (l *life) said(ctx context.Context, words string) (string, error) {
	for re := regexp.MustCompile(words); ; {
		if m := re.FindStringSubmatch(l.out.String()); m != nil {
			return m[1], nil
		}
		if !pause(ctx, 5*time.Millisecond) {
			return "", ctx.Err()
		}
	}
}

// pause waits; false where the context ended.
func pause(ctx context.Context, d time.Duration) bool {
	select {
	case <-ctx.Done():
		return false
	case <-time.After(d):
		return true
	}
}

type lockedBuffer struct {
	mu sync.Mutex
	b  []byte
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.b = append(l.b, p...)
	return len(p), nil
}

func (l *lockedBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return string(l.b)
}
