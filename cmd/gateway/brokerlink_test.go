package main

import (
	"context"
	"encoding/json"
	"fmt"
	"net"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/cmd/gateway/internal/hub"
	"fabricpot/sim/node"
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

// outsider is a client that shares no code with the gateway but the library,
// and remembers all it hears, in the order it was said.
type outsider struct {
	t *testing.T
	paho.Client
	mu    sync.Mutex
	heard []paho.Message
}

func outside(t *testing.T, addr, id string) *outsider {
	t.Helper()
	o := &outsider{t: t}
	o.Client = paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + addr).SetClientID(id).SetProtocolVersion(4))
	tok := o.Connect()
	require.True(t, tok.WaitTimeout(5*time.Second))
	require.NoError(t, tok.Error())
	t.Cleanup(func() { o.Disconnect(50) })
	tok = o.Subscribe("#", 1, func(_ paho.Client, m paho.Message) {
		o.mu.Lock()
		defer o.mu.Unlock()
		o.heard = append(o.heard, m)
	})
	require.True(t, tok.WaitTimeout(5*time.Second))
	return o
}

// on is everything heard on a topic so far.
func (o *outsider) on(topic string) (out []paho.Message) {
	o.mu.Lock()
	defer o.mu.Unlock()
	for _, m := range o.heard {
		if m.Topic() == topic {
			out = append(out, m)
		}
	}
	return out
}

// until waits for a message on topic that has all of the words.
func (o *outsider) until(patience time.Duration, topic string, words ...string) paho.Message {
	o.t.Helper()
	var got paho.Message
	require.Eventually(o.t, func() bool {
		for _, m := range o.on(topic) {
			missing := false
			for _, w := range words {
				missing = missing || !strings.Contains(string(m.Payload()), w)
			}
			if !missing {
				got = m
				return true
			}
		}
		return false
	}, patience, 20*time.Millisecond, "%s with %q", topic, words)
	return got
}

func (o *outsider) say(topic string, retain bool, payload string) {
	o.t.Helper()
	tok := o.Publish(topic, 1, retain, payload)
	require.True(o.t, tok.WaitTimeout(5*time.Second))
	require.NoError(o.t, tok.Error())
}

// command is a command that is still good.
func command(id, rest string) string {
	return fmt.Sprintf(`{"id":%q,%s,"expires":%q}`, id, rest, time.Now().Add(time.Minute).Format(time.RFC3339))
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

// farGarden has its probe and its valve at the far end of a broker.
const farGarden = `site: { name: Far, id: far, latitude: 40, longitude: 22, elevation: 10 m, time-zone: Europe/Athens }
sample-every: 5 s
mixes:
  light:
    retention: { model: van-genuchten, theta-r: 10 %, theta-s: 88 %, alpha: 0.15 /cm, n: 1.6, conductivity: 30 cm/h }
pots:
  chilli:
    mix: light
    size: 38 L
    plants: [{ crop: chilli }]
    probes:
      top: { depth: 15 cm, remote: { quantity: percent, stale-after: 30 s } }
lines:
  one:
    valve: { remote: tap }
    waters: { chilli: 4 x 2 L/h }
supply: { flow: 60 L/h }
limits: { min-rest: 0 s }
hardware: { kind: bench }
broker:
  url: URL
  weather:
    - { quantity: temperature, topic: station/temp, unit: F }
`

func farFile(t *testing.T, url string) string {
	t.Helper()
	name := filepath.Join(t.TempDir(), "far.yaml")
	require.NoError(t, os.WriteFile(name, []byte(strings.Replace(farGarden, "URL", url, 1)), 0o600))
	return name
}

// TestAGardenFarAway: a probe and a valve on nodes, on the embedded broker and
// on a real one.
func TestAGardenFarAway(t *testing.T) {
	t.Run("embedded", func(t *testing.T) {
		t.Parallel()
		r := start(t, farFile(t, "embedded"), "--broker-listen", "127.0.0.1:0")
		farAway(t, r, r.broker(), false)
	})
	t.Run("mosquitto", func(t *testing.T) {
		t.Parallel()
		addr := mosquitto(t)
		// What somebody left there long ago must move nothing.
		before := outside(t, addr, "before")
		before.say("fabricpot/far/do", true, command("left", `"do":"water","zone":"chilli","litres":3`))
		r := start(t, farFile(t, "mqtt://"+addr))
		require.Equal(t, addr, r.broker())
		farAway(t, r, addr, true)
		before.until(5*time.Second, "fabricpot/far/reply/left", `"accepted":false`, "retained")
	})
}

// tap is the reference node on a connection of its own.
type tap struct {
	*outsider
	mu    sync.Mutex
	n     *node.Node
	conn  net.Conn
	opens int
	open  bool
}

func newTap(t *testing.T, addr string) *tap {
	t.Helper()
	const base = "fabricpot/far/valve/tap/"
	p := &tap{}
	begun := time.Now()
	c := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://"+addr).SetClientID("tap").SetProtocolVersion(4).
		SetWill(base+"state", `{"state":"lost"}`, 1, true).SetAutoReconnect(false).
		SetCustomOpenConnectionFn(func(u *url.URL, _ paho.ClientOptions) (net.Conn, error) {
			conn, err := net.Dial("tcp", u.Host)
			p.locked(func() { p.conn = conn })
			return conn, err
		}))
	p.outsider = &outsider{t: t, Client: c}
	p.n = &node.Node{
		Coil: func(open bool) {
			if open && !p.open {
				p.opens++
			}
			p.open = open
		},
		Publish: func(b []byte) { c.Publish(base+"state", 1, true, b) },
	}
	require.True(t, c.Connect().WaitTimeout(5*time.Second))
	require.True(t, c.Subscribe(base+"set", 0, func(_ paho.Client, m paho.Message) {
		if !m.Retained() {
			p.locked(func() { p.n.Command(time.Since(begun), m.Payload()) })
		}
	}).WaitTimeout(5*time.Second))
	p.locked(func() { p.n.LinkUp(time.Since(begun)) })
	ended := make(chan struct{})
	go func() {
		tick := time.NewTicker(200 * time.Millisecond)
		defer tick.Stop()
		for {
			select {
			case <-ended:
				return
			case <-tick.C:
				p.locked(func() { p.n.Tick(time.Since(begun)) })
			}
		}
	}()
	t.Cleanup(func() { close(ended); c.Disconnect(50) })
	return p
}

func (p *tap) locked(f func()) {
	p.mu.Lock()
	defer p.mu.Unlock()
	f()
}

// cut ends its connection without a goodbye: it closes by itself, and the broker
// speaks its will after the last it said. (From another connection the same
// words could overtake what the node has just said.)
func (p *tap) cut() {
	p.locked(func() {
		p.n.LinkLost()
		_ = p.conn.Close()
	})
}

func (p *tap) flowing() (open bool, opens int) {
	p.locked(func() { open, opens = p.open, p.opens })
	return open, opens
}

func farAway(t *testing.T, r *running, addr string, vanish bool) {
	const base = "fabricpot/far/"
	o := outside(t, addr, "person")
	valve := newTap(t, addr)
	stop := make(chan struct{})
	var probe sync.WaitGroup
	probe.Go(func() {
		for n := 0; ; n++ {
			o.Publish(base+"probe/chilli-top", 0, false, fmt.Sprintf(`{"value":%.1f,"seq":%d}`, 22+0.1*float64(n%3), n))
			o.Publish("station/temp", 0, false, "77")
			select {
			case <-stop:
				return
			case <-time.After(500 * time.Millisecond):
			}
		}
	})
	defer probe.Wait()
	defer close(stop)
	isOpen := func() bool { open, _ := valve.flowing(); return open }

	// The controller itself would begin after three minutes of readings; that
	// it acts on a remote reading is seen in the zone's water.
	o.until(20*time.Second, base+"zone/chilli", `"water_percent":2`)
	o.say(base+"do", false, command("first", `"do":"water","zone":"chilli","litres":2`))
	o.until(20*time.Second, base+"reply/first", `"accepted":true`)
	require.Eventually(t, isOpen, 30*time.Second, 20*time.Millisecond, "a pot is watered through the node: %s\n%s", r.errs, r.out)
	o.until(10*time.Second, base+"line/one", `"open"`)
	if vanish {
		// The node's connection is cut while it waters: it closes by itself,
		// and the gateway ends the pulse and says what is wrong.
		valve.cut()
		require.Eventually(t, func() bool {
			ms := o.on(base + "line/one")
			return strings.Contains(string(ms[len(ms)-1].Payload()), "unknown")
		}, 15*time.Second, 20*time.Millisecond, "what can't be heard is not called closed")
		o.until(30*time.Second, base+"alarm/valve-driver-failed-one", "node has gone")
		assert.Equal(t, exitFailed, r.end(), "its one line could not be confirmed closed")
		return
	}
	o.say(base+"do", false, command("enough", `"do":"stop","zone":"chilli"`))
	require.Eventually(t, func() bool { return !isOpen() }, 20*time.Second, 20*time.Millisecond)
	o.until(10*time.Second, base+"delivery", `"line":"one"`, "stopped early")
	_, opens := valve.flowing()
	assert.Equal(t, 1, opens)
	assert.Equal(t, exitDone, r.end(), r.errs)
	assert.False(t, isOpen(), "closed at the end")
	assert.Contains(t, r.out.String(), "1 of 1 lines confirmed closed")
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

// TestRealTimeStaysReal: remote devices and other brokers know one speed.
func TestRealTimeStaysReal(t *testing.T) {
	for name, args := range map[string][]string{
		"remote devices": {"run", farFile(t, "embedded"), "--speed", "2"},
		"another broker": {"run", exampleAt(t, "url: mqtt://192.0.2.1"), "--speed", "2"},
	} {
		t.Run(name, func(t *testing.T) {
			code, _, said := gateway(context.Background(), args...)
			assert.Equal(t, exitWrongUse, code)
			assert.Contains(t, said.String(), "real time")
		})
	}
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

// TestNoBrokerNeeded: with a broker that can't be begun and with none at all the
// garden is watered all the same. (One that is away is package hub's to test.)
func TestNoBrokerNeeded(t *testing.T) {
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	t.Cleanup(func() { taken.Close() })
	for name, c := range map[string]struct {
		args []string
		says string
	}{
		"port taken":  {[]string{"--speed", "600", "--broker-listen", taken.Addr().String()}, "kept without it"},
		"none wanted": {[]string{farFile(t, "embedded"), "--speed", "600", "--no-broker"}, "virtual bench"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			r := start(t, c.args...)
			require.Eventually(t, func() bool { return strings.Contains(r.out.String(), " opens ") }, 60*time.Second, 50*time.Millisecond, "%s\n%s", r.errs, r.out)
			assert.Contains(t, r.errs.String(), c.says)
			assert.Equal(t, exitDone, r.end())
			assert.Contains(t, r.out.String(), "confirmed closed")
		})
	}
}

// TestSimulateOpensNoBroker, not even where remote devices are simulated: the
// broker's own port is watched meanwhile.
func TestSimulateOpensNoBroker(t *testing.T) {
	door, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer door.Close()
	knocked := make(chan struct{}, 1)
	go func() {
		if c, err := door.Accept(); err == nil {
			_ = c.Close()
			knocked <- struct{}{}
		}
	}()
	code, out, errs := gateway(context.Background(), "simulate", farFile(t, "mqtt://"+door.Addr().String()), "--from", "2026-07-01", "--to", "2026-07-03", "--json")
	require.Equal(t, exitDone, code, errs.String())
	var got struct {
		Zones []struct {
			Applied float64 `json:"applied_l"`
		}
	}
	require.NoError(t, json.Unmarshal([]byte(out.String()), &got))
	require.Len(t, got.Zones, 1)
	assert.Positive(t, got.Zones[0].Applied, "the bench plays the remote probe and valve")
	select {
	case <-knocked:
		t.Error("a simulation talked to the broker")
	default:
	}
}
