package main

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"fabricpot/cmd/gateway/internal/notify"
	"fabricpot/testdata"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestAlarmsReachAPerson runs the whole gateway with a webhook: its test message
// arrives, its state is shown, an alarm goes out of service and back, and a garden file that names nobody says so.
func TestAlarmsReachAPerson(t *testing.T) {
	got := make(chan notify.Message, 8)
	status := http.StatusOK
	hub := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		var m notify.Message
		assert.NoError(t, json.NewDecoder(r.Body).Decode(&m))
		assert.Equal(t, "Bearer s3cret", r.Header.Get("Authorization"))
		w.WriteHeader(status)
		got <- m
	}))
	defer hub.Close()
	dir := t.TempDir()
	file, socket, db := filepath.Join(dir, "garden.yaml"), filepath.Join(dir, "s"), filepath.Join(dir, "journal.db")
	secret := filepath.Join(dir, "hook.secret")
	require.NoError(t, os.WriteFile(secret, []byte("Bearer s3cret\n"), 0o600))
	src := string(testdata.Terrace) + "\nalarms:\n  webhooks:\n    - post-to: " + hub.URL + "/hook\n      headers: [{ name: Authorization, secret-file: hook.secret }]\n"
	require.NoError(t, os.WriteFile(file, []byte(src), 0o600))

	run := func(during func()) {
		ctx, stop := context.WithCancel(context.Background())
		defer stop()
		done, errs := make(chan int, 1), &output{}
		go func() {
			done <- execute(ctx, streams{in: strings.NewReader(""), out: &output{}, err: errs},
				[]string{"run", file, "--socket", socket, "--journal", db, "--no-broker", "--listen", "127.0.0.1:0"})
		}()
		require.Eventually(t, func() bool {
			code, _, _ := gateway(context.Background(), "alarms", "--socket", socket)
			return code == exitDone
		}, 30*time.Second, 50*time.Millisecond, "%s", errs)
		during()
		stop()
		select {
		case code := <-done:
			assert.Equal(t, exitDone, code, errs.String())
		case <-time.After(20 * time.Second):
			t.Fatal("the gateway did not stop")
		}
		assert.Contains(t, errs.String(), "alarms reach you by webhook 127.0.0.1")
		assert.NotContains(t, errs.String(), "s3cret")
	}
	call := func(want int, args ...string) string {
		code, out, errs := gateway(context.Background(), append(args, "--socket", socket)...)
		assert.Equal(t, want, code, "%v: %s", args, errs)
		return out.String() + errs.String()
	}
	run(func() {
		assert.Contains(t, call(exitDone, "alarms", "ring"), ": taken")
		m := <-got
		assert.Equal(t, notify.KindSelfTest, m.Kind)
		assert.Equal(t, "terrace", m.Garden)
		assert.Contains(t, call(exitFailed, "alarms", "ring"), "a moment ago")
		assert.Contains(t, call(exitDone, "alarms"), "works, last sent")
		assert.Contains(t, call(exitFailed, "alarms", "seen", "tank low"), `no alarm "tank low"`)
		assert.Contains(t, call(exitFailed, "alarms", "seen", "tank lo"), "there is no alarm called \"tank lo\": expected a name as 'gateway alarms' shows it")
		assert.Contains(t, call(exitWrongUse, "alarms", "rest", "tank low"), "--for")
		assert.Contains(t, call(exitFailed, "alarms", "rest", "tank low", "--for", "999h"), "for 41.62 days: expected a time of up to 30 days")
		assert.Contains(t, call(exitFailed, "alarms", "rest", "tank low", "--for", "99999h"), "for 4167 days: expected a time of up to 30 days")
		call(exitDone, "alarms", "rest", "tank low", "--for", "3d")
		call(exitDone, "alarms", "rest", "tank low", "--for", "2h")
		assert.Contains(t, call(exitDone, "alarms"), `"tank low": out of service, does not hold now`)
		assert.NotContains(t, call(exitDone, "alarms"), "0001-01-01")
		assert.Contains(t, call(exitFailed, "alarms", "rest", "no flow", "tomato", "--for", "2h"), `nothing of this garden is called so; expected one of aubergine, `)
		assert.Contains(t, call(exitFailed, "alarms", "rest", "tank low", "barrel", "--for", "2h"), "about nothing in particular")
		call(exitDone, "alarms", "rest", "tank low", "--for", "0")
		assert.Contains(t, call(exitDone, "alarms"), "no alarm")
	})
	// With none running it is tried from here.
	assert.Contains(t, call(exitFailed, "alarms", "ring"), "no gateway is running")
	assert.Contains(t, call(exitDone, "alarms", "ring", file), ": taken")
	<-got
	status = http.StatusForbidden
	said := call(exitFailed, "alarms", "ring", file)
	assert.Contains(t, said, "403 Forbidden")
	assert.Contains(t, said, "not every way took the message")
	<-got
	require.NoError(t, os.Chmod(secret, 0o644))
	assert.Contains(t, call(exitFailed, "alarms", "ring", file), "run: chmod 600")
	_, out, errs := gateway(context.Background(), "check", file)
	assert.Contains(t, out.String(), "alarms: by webhook 127.0.0.1")
	line := strings.Count(src, "\n")
	at := fmt.Sprintf("%s:%d:53: warning: alarms.webhooks.1.headers.1.secret-file: no alarm goes this way until it is mended: secret: ", file, line)
	assert.Contains(t, errs.String(), at+secret+" has mode 0644")
	require.NoError(t, os.Remove(secret))
	_, out, errs = gateway(context.Background(), "check", file)
	assert.Contains(t, errs.String(), at+"there is no file "+secret+"; write it")
	assert.NotContains(t, out.String(), "secret")
	_, out, _ = gateway(context.Background(), "check")
	assert.Contains(t, out.String(), "on the page and through a hub alone")
}

// TestNothingIsSentWithSpeed: what the garden file names stays silent there, and it is that
// which is said.
func TestNothingIsSentWithSpeed(t *testing.T) {
	k := keep(t, "60")
	ring := func() string {
		code, _, errs := gateway(context.Background(), "alarms", "ring", "--socket", k.sock)
		require.Equal(t, exitFailed, code)
		return errs.String()
	}
	assert.Contains(t, ring(), "names no way to reach anybody")
	k.write(string(testdata.Terrace) + "\nalarms:\n  webhooks:\n    - post-to: http://127.0.0.1:1\n")
	code, _, errs := k.reload()
	require.Equal(t, exitDone, code, errs)
	assert.Contains(t, ring(), "nothing is sent with --speed")
}

// TestReloadTakesTheWaysOver: messages go by the ways of the garden file that was read
// last, and by none where it names none.
func TestReloadTakesTheWaysOver(t *testing.T) {
	k := keep(t, "1")
	hook := func() (*httptest.Server, *atomic.Int64) {
		n := &atomic.Int64{}
		srv := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { n.Add(1) }))
		t.Cleanup(srv.Close)
		return srv, n
	}
	one, ones := hook()
	two, twos := hook()
	ring := func(want int) string {
		code, out, errs := gateway(context.Background(), "alarms", "ring", "--socket", k.sock)
		require.Equal(t, want, code, errs)
		return out.String() + errs.String()
	}
	names := func(ways string) string {
		k.write(string(testdata.Terrace) + ways)
		code, out, errs := k.reload()
		require.Equal(t, exitDone, code, errs)
		return out + errs
	}
	at := func(url, more string) string { return "\nalarms:\n  webhooks:\n    - post-to: " + url + more + "\n" }
	assert.Contains(t, ring(exitFailed), "names no way to reach anybody")

	said := names(at(one.URL, ""))
	assert.Contains(t, said, "alarms.webhooks: changed")
	assert.Contains(t, said, "1 changed, in force now")
	ring(exitDone)
	assert.EqualValues(t, 1, ones.Load())

	// The secret of the second can be read by others: that is said at once, and the way
	// is there all the same.
	loose := filepath.Join(filepath.Dir(k.file), "hook.secret")
	require.NoError(t, os.WriteFile(loose, []byte("s3cret\n"), 0o644))
	said = names(at(two.URL, "\n      headers: [{ name: Authorization, secret-file: hook.secret }]"))
	assert.Contains(t, said, "run: chmod 600")
	assert.NotContains(t, said, "s3cret")
	assert.Contains(t, ring(exitFailed), "chmod 600")
	assert.EqualValues(t, 1, ones.Load(), "the first is named no more")
	require.NoError(t, os.Chmod(loose, 0o600))
	names(at(two.URL, "\n      headers: [{ name: Authorization, secret-file: hook.secret }]\n  most-per-hour: 6"))
	ring(exitDone)
	assert.EqualValues(t, 1, twos.Load())

	// A reload that takes a restart leaves the ways as they were.
	k.write(strings.Replace(string(testdata.Terrace), "sample-every: 1 min", "sample-every: 30 s", 1))
	code, _, errs := k.reload()
	require.Equal(t, exitFailed, code, errs)
	assert.Contains(t, errs, "alarms.webhooks: changed")
	_, out, _ := gateway(context.Background(), "alarms", "--socket", k.sock)
	assert.Contains(t, out.String(), "works, last sent")
	assert.Contains(t, out.String(), "webhook 127.0.0.1")

	// Another number of messages an hour makes a new sender, which counts on.
	names(at(two.URL, "\n      headers: [{ name: Authorization, secret-file: hook.secret }]\n  most-per-hour: 5"))
	_, out, _ = gateway(context.Background(), "alarms", "--socket", k.sock)
	assert.Contains(t, out.String(), "works, last sent")

	names("")
	assert.Contains(t, ring(exitFailed), "names no way to reach anybody")
	assert.EqualValues(t, 1, ones.Load())
	assert.EqualValues(t, 1, twos.Load())
	require.Equal(t, exitDone, k.r.end(), k.r.errs)
}
