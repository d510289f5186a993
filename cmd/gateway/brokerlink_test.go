package main

import (
	"context"
	"encoding/json"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/cmd/gateway/internal/hub"
	"fabricpot/testdata"
)

// running is a whole gateway in the background.
type running struct {
	t         *testing.T
	out, errs *output
	stop      context.CancelFunc
	done      chan int
}

// start runs the gateway with a socket and journal of its own and no page.
func start(t *testing.T, args ...string) *running {
	t.Helper()
	dir := t.TempDir()
	ctx, stop := context.WithCancel(context.Background())
	r := &running{t: t, out: &output{}, errs: &output{}, stop: stop, done: make(chan int, 1)}
	args = append([]string{"run", "--no-page", "--socket", filepath.Join(dir, "s"), "--journal", filepath.Join(dir, "journal.db")}, args...)
	go func() {
		r.done <- execute(ctx, streams{in: strings.NewReader(""), out: r.out, err: r.errs}, args)
	}()
	t.Cleanup(func() { r.end() })
	return r
}

// end stops it and returns the exit code.
func (r *running) end() int {
	r.stop()
	select {
	case code := <-r.done:
		r.done <- code
		return code
	case <-time.After(30 * time.Second):
		r.t.Error("the gateway did not stop")
		return -1
	}
}

// broker is where it says that the broker is, host:port.
func (r *running) broker() string {
	r.t.Helper()
	said := regexp.MustCompile(`broker: mqtt://(\S+), topics under`)
	require.Eventually(r.t, func() bool { return said.MatchString(r.errs.String()) }, 20*time.Second, 10*time.Millisecond, "%s", r.errs)
	return said.FindStringSubmatch(r.errs.String())[1]
}

// TestTheExampleOverItsBroker runs the example with the broker inside it and
// watches it with a client from outside, as a hub or a person would.
func TestTheExampleOverItsBroker(t *testing.T) {
	r := start(t, "--speed", "60", "--broker-listen", "127.0.0.1:0")
	o := outside(t, r.broker(), "person")
	const base = "fabricpot/terrace/"
	o.until(10*time.Second, base+"zone/chilli", `"water_percent":4`)

	t.Run("close all, and nothing flows", func(t *testing.T) {
		// Before the controller's first pulse, which would have to soak in first.
		o.say(base+"do", false, command("shut-all", `"do":"close-all"`))
		o.until(20*time.Second, base+"reply/shut-all", `"accepted":true`)
		o.until(10*time.Second, base+"status", `"automatic":false`, `"open_lines":0`)
	})
	t.Run("a late subscriber sees the state", func(t *testing.T) {
		var zone struct {
			Name    string
			Percent *float64 `json:"water_percent"`
			Held    *float64 `json:"held_l"`
		}
		late := outside(t, r.broker(), "late")
		m := late.until(5*time.Second, base+"zone/chilli")
		assert.True(t, m.Retained())
		require.NoError(t, json.Unmarshal(m.Payload(), &zone))
		assert.Equal(t, "Chilli", zone.Name)
		require.NotNil(t, zone.Percent)
		assert.InDelta(t, 38**zone.Percent/100, *zone.Held, 0.1, "litres held are the pot's 38 L times its water")
		assert.True(t, late.until(5*time.Second, base+"status", `"online"`).Retained())
		assert.True(t, late.until(5*time.Second, base+"line/chilli").Retained())
		assert.True(t, late.until(5*time.Second, "homie/5/fabricpot-terrace/$state", "ready").Retained())
		doc := late.until(5*time.Second, "homeassistant/device/fabricpot-terrace/config")
		assert.True(t, doc.Retained())
		assert.Empty(t, hub.Validate(doc.Topic(), doc.Retained(), doc.Payload()))
		assert.Contains(t, string(doc.Payload()), base+"zone/trough-cucumber")
	})
	t.Run("water by a command", func(t *testing.T) {
		o.say(base+"do", false, command("drink", `"do":"water","zone":"chilli","litres":0.5`))
		o.until(20*time.Second, base+"reply/drink", `"accepted":true`)
		o.until(20*time.Second, base+"line/chilli", `"open"`)
		m := o.until(20*time.Second, base+"delivery", `"zone":"chilli"`, `"kind":"by hand"`, `"ended":"complete"`)
		assert.False(t, m.Retained(), "an event")
		var d struct{ Litres, Seconds float64 }
		require.NoError(t, json.Unmarshal(m.Payload(), &d))
		// 3 emitters of 2 L/h give 0.5 L in 300 s.
		assert.InDelta(t, 0.5, d.Litres, 0.02)
		assert.InDelta(t, 300, d.Seconds, 10)
		o.until(10*time.Second, base+"zone/chilli", `"last_watering_l":0.5`)
		for _, m := range o.on(base + "reply/drink") {
			assert.NotContains(t, string(m.Payload()), "false", "met, so never refused")
		}
	})
	t.Run("the same command again", func(t *testing.T) {
		o.say(base+"do", false, command("drink", `"do":"water","zone":"chilli","litres":0.5`))
		o.until(20*time.Second, base+"reply/drink", `"accepted":false`)
	})
	t.Run("kept shut", func(t *testing.T) {
		o.say(base+"do", false, command("rest", `"do":"keep-shut","zone":"chilli","minutes":600`))
		o.until(20*time.Second, base+"reply/rest", `"accepted":true`)
		o.until(10*time.Second, base+"zone/chilli", `"kept_shut":true`)
		o.say(base+"do", false, command("drink-2", `"do":"water","zone":"chilli","litres":0.5`))
		o.until(20*time.Second, base+"reply/drink-2", `"accepted":false`, "kept shut")
		o.say(base+"do", false, command("rest-no-more", `"do":"release","zone":"chilli"`))
		o.until(20*time.Second, base+"reply/rest-no-more", `"accepted":true`)
		require.Eventually(t, func() bool {
			ms := o.on(base + "zone/chilli")
			return strings.Contains(string(ms[len(ms)-1].Payload()), `"kept_shut":false`)
		}, 10*time.Second, 20*time.Millisecond)
	})
	t.Run("what can't be", func(t *testing.T) {
		for id, c := range map[string]struct{ rest, why string }{
			"nobody":   {`"do":"water","zone":"cactus","litres":1`, "cactus"},
			"by-hand":  {`"do":"water","zone":"chard","litres":1`, "tended by hand"},
			"flood":    {`"do":"water","zone":"chilli","litres":1e9`, "litres"},
			"no-alarm": {`"do":"acknowledge","alarm":"nothing"`, "no alarm"},
			"no-task":  {`"do":"done","task":"nothing"`, "no such task"},
			"unfed":    {`"do":"feed","zone":"trough-bean"`, "no feed plan"},
			"surplus":  {`"do":"close-all","zone":"chilli"`, "zone"},
		} {
			o.say(base+"do", false, command(id, c.rest))
			o.until(20*time.Second, base+"reply/"+id, `"accepted":false`, c.why)
		}
		o.say(base+"do", false, `{"id":"late","do":"water","zone":"chilli","litres":1,"expires":"2020-01-01T00:00:00Z"}`)
		o.until(20*time.Second, base+"reply/late", `"accepted":false`)
	})
	t.Run("feeds and the gardener's list", func(t *testing.T) {
		o.say(base+"do", false, command("food", `"do":"feed","zone":"aubergine"`))
		o.until(20*time.Second, base+"reply/food", `"accepted":true`)
		o.until(10*time.Second, base+"zone/aubergine", `"feed_due_at":"20`)
		o.until(10*time.Second, base+"tasks", `"id":"round-`)
		var list struct {
			Tasks []struct{ ID string }
		}
		ms := o.on(base + "tasks")
		require.NoError(t, json.Unmarshal(ms[len(ms)-1].Payload(), &list))
		i := slices.IndexFunc(list.Tasks, func(x struct{ ID string }) bool { return strings.HasPrefix(x.ID, "round-") })
		require.GreaterOrEqual(t, i, 0)
		round := list.Tasks[i].ID
		o.say(base+"do", false, command("ticked", `"do":"done","task":"`+round+`"`))
		o.until(20*time.Second, base+"reply/ticked", `"accepted":true`)
		require.Eventually(t, func() bool {
			ms := o.on(base + "tasks")
			return !strings.Contains(string(ms[len(ms)-1].Payload()), round)
		}, 10*time.Second, 20*time.Millisecond, "a ticked task leaves the list")
	})
	t.Run("an alarm, seen by somebody", func(t *testing.T) {
		// Control has been off for ten minutes of the bench by now.
		const id = "automatic-control-is-off"
		o.until(20*time.Second, base+"alarm/"+id, `"acknowledged":false`)
		o.until(20*time.Second, base+"event", `"raised"`, id)
		o.say(base+"do", false, command("seen", `"do":"acknowledge","alarm":"`+id+`"`))
		o.until(10*time.Second, base+"alarm/"+id, `"acknowledged":true`)
		o.say(base+"do", false, command("on", `"do":"automatic-on"`))
		require.Eventually(t, func() bool {
			ms := o.on(base + "alarm/" + id)
			return len(ms[len(ms)-1].Payload()) == 0
		}, 20*time.Second, 20*time.Millisecond, "cleared and taken away")
	})
	assert.Equal(t, exitDone, r.end(), r.errs)
	assert.Contains(t, r.out.String(), "5 of 5 lines confirmed closed")
}

// mosquitto starts a real broker on a free port, or skips.
func mosquitto(t *testing.T) string {
	t.Helper()
	path, err := exec.LookPath("mosquitto")
	if err != nil {
		for _, dir := range []string{"/usr/sbin", "/usr/local/sbin"} {
			if _, e := os.Stat(filepath.Join(dir, "mosquitto")); e == nil {
				path, err = filepath.Join(dir, "mosquitto"), nil
			}
		}
	}
	if err != nil {
		if os.Getenv("GATEWAY_CI") == "1" {
			t.Fatal("mosquitto is not installed")
		}
		t.Skip("mosquitto is not installed")
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	addr := l.Addr().String()
	require.NoError(t, l.Close())
	_, port, _ := net.SplitHostPort(addr)
	conf := filepath.Join(t.TempDir(), "mosquitto.conf")
	require.NoError(t, os.WriteFile(conf, []byte("listener "+port+" 127.0.0.1\nallow_anonymous true\npersistence false\n"), 0o600))
	cmd := exec.Command(path, "-c", conf)
	require.NoError(t, cmd.Start())
	t.Cleanup(func() { _ = cmd.Process.Kill(); _ = cmd.Wait() })
	require.Eventually(t, func() bool {
		c, err := net.Dial("tcp", addr)
		if err == nil {
			_ = c.Close()
		}
		return err == nil
	}, 5*time.Second, 20*time.Millisecond)
	return addr
}

// exampleAt is the example with another broker.
func exampleAt(t *testing.T, url string) string {
	t.Helper()
	text := strings.Replace(string(testdata.Terrace), "url: embedded", url, 1)
	text = strings.Replace(text, "sample-every: 1 min", "sample-every: 5 s", 1)
	name := filepath.Join(t.TempDir(), "terrace.yaml")
	require.NoError(t, os.WriteFile(name, []byte(text), 0o600))
	return name
}
