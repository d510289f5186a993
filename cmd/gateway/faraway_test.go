package main

import (
	"fmt"
	"net"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/sim/node"
)

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
