package mqtt_test

import (
	"context"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/mqtt"
	"fabricpot/mqtt/internal/need"
	"fabricpot/mqtt/internal/rig"
)

func msg(topic, payload string) mqtt.Message {
	return mqtt.Message{Topic: topic, Payload: []byte(payload), QoS: 1}
}

func TestLink(t *testing.T) {
	rig.Each(t, func(t *testing.T, s rig.Server) {
		t.Run("both directions, will and farewell", func(t *testing.T) { bothWays(t, s) })
		t.Run("subscribes again after every reconnect", func(t *testing.T) { resubscribes(t, s) })
		t.Run("an order given before or during an outage never arrives", func(t *testing.T) { neverLate(t, s) })
		t.Run("a half-open line is noticed", func(t *testing.T) { halfOpen(t, s) })
		t.Run("packets cut in two arrive whole", func(t *testing.T) { shredded(t, s) })
		t.Run("two clients with one id do not hammer the broker", func(t *testing.T) { twins(t, s) })
		t.Run("broker restarted: retained values are there again", func(t *testing.T) { brokerRestart(t, s) })
	})
}

func bothWays(t *testing.T, s rig.Server) {
	out := rig.Outsider(t, s.Addr(), "out")
	heard := rig.Heard(t, out, "b/#")
	o := rig.Quick(s.Addr(), "both")
	o.Will = &mqtt.Message{Topic: "b/status", Payload: []byte("lost"), QoS: 1, Retain: true}
	o.Farewell = &mqtt.Message{Topic: "b/status", Payload: []byte("gone"), QoS: 1, Retain: true}
	l, err := mqtt.New(o)
	require.NoError(t, err)
	in, err := l.Subscribe("in/+", 1, 4)
	require.NoError(t, err)
	l.Start(context.Background())
	rig.Up(t, l)
	require.NoError(t, l.Post(mqtt.Message{Topic: "b/state", Payload: []byte("1"), QoS: 1, Retain: true}))
	require.NoError(t, l.Send(msg("b/event", "now"), time.Second))
	got := map[string]string{}
	for range 2 {
		m := rig.Next(t, heard, "post and send")
		got[m.Topic()] = string(m.Payload())
	}
	assert.Equal(t, map[string]string{"b/state": "1", "b/event": "now"}, got)
	rig.Publish(t, out, "in/a", 1, false, "hello")
	m := rig.Next(t, in.C(), "inbound")
	assert.Equal(t, "hello", string(m.Payload))
	assert.False(t, m.At.Wall.IsZero(), "arrivals are stamped")
	require.NoError(t, l.Post(mqtt.Message{Topic: "b/last", Payload: []byte("words"), QoS: 1}))
	l.Close(2 * time.Second)
	assert.Equal(t, "words", string(rig.Next(t, heard, "what was unsent at close").Payload()))
	assert.Equal(t, "gone", string(rig.Next(t, heard, "farewell").Payload()))
	rig.Silent(t, heard, 100*time.Millisecond, "no will after a farewell")
	assert.False(t, l.Connected())
	rig.Publish(t, out, "b/status", 1, true, "")
	rig.Publish(t, out, "b/state", 1, true, "")
}

func resubscribes(t *testing.T, s rig.Server) {
	p := rig.NewProxy(t, s.Addr())
	var in *mqtt.Inbox
	l := rig.Link(t, rig.Quick(p.Addr(), "resub"), func(l *mqtt.Link) { in, _ = l.Subscribe("r/+", 1, 8) })
	out := rig.Outsider(t, s.Addr(), "resub-out")
	for i := range 3 {
		rig.Up(t, l)
		rig.Publish(t, out, "r/x", 1, false, strconv.Itoa(i))
		assert.Equal(t, strconv.Itoa(i), string(rig.Next(t, in.C(), "message on connection").Payload))
		before, _ := l.Epoch()
		p.Cut()
		require.Eventually(t, func() bool { e, up := l.Epoch(); return e >= before+2 && up }, 30*time.Second, time.Millisecond, "reconnect")
	}
	rig.Silent(t, in.C(), 50*time.Millisecond, "nothing twice")
}

// neverLate proves the trap that made every connection get a client of its own:
// the library would send an unacknowledged publication again after a reconnect.
func neverLate(t *testing.T, s rig.Server) {
	heard := rig.Heard(t, rig.Outsider(t, s.Addr(), "late-out"), "late/#")
	p := rig.NewProxy(t, s.Addr())
	l := rig.Link(t, rig.Quick(p.Addr(), "late"), nil)
	rig.Up(t, l)
	before, _ := l.Epoch()
	p.Set(rig.Stall)
	require.NoError(t, l.Send(msg("late/open", "1"), time.Minute), "accepted while the line still seems up")
	time.Sleep(50 * time.Millisecond) // let it be written into the stalled line
	p.Set(rig.Deny)                   // what was held back is let go …
	p.Cut()                           // … into a connection that is gone
	require.Eventually(t, func() bool { return !l.Connected() }, 30*time.Second, time.Millisecond)
	assert.ErrorIs(t, l.Send(msg("late/open", "2"), time.Minute), mqtt.ErrOffline)
	p.Set(rig.Pass)
	require.Eventually(t, func() bool { e, up := l.Epoch(); return e > before && up }, 30*time.Second, time.Millisecond)
	require.NoError(t, l.Send(msg("late/close", "3"), time.Minute))
	for {
		m := rig.Next(t, heard, "the message of the new connection")
		if string(m.Payload()) == "3" {
			break
		}
		// The stalled line may have let "1" through before it was cut; it
		// must not come again.
		require.Equal(t, "1", string(m.Payload()))
		require.False(t, m.Duplicate())
	}
	rig.Silent(t, heard, 150*time.Millisecond, "nothing of the old connection")
}

// TestTheLibraryAloneWouldBeLate shows that the rig can tell: the same outage,
// with the library's own reconnect, delivers the order afterwards.
func TestTheLibraryAloneWouldBeLate(t *testing.T) {
	s := rig.Embedded(t)
	heard := rig.Heard(t, rig.Outsider(t, s.Addr(), "trap-out"), "late/#")
	p := rig.NewProxy(t, s.Addr())
	c := rig.Outsider(t, p.Addr(), "trap")
	p.Set(rig.Deny)
	p.Cut()
	require.Eventually(t, func() bool { return !c.IsConnectionOpen() }, 30*time.Second, time.Millisecond)
	assert.True(t, c.IsConnected(), "it says connected while it is not")
	c.Publish("late/open", 1, false, "1")
	p.Set(rig.Pass)
	assert.Equal(t, "1", string(rig.Next(t, heard, "the late order").Payload()))
}

func halfOpen(t *testing.T, s rig.Server) {
	p := rig.NewProxy(t, s.Addr())
	l := rig.Link(t, rig.Quick(p.Addr(), "half"), nil)
	// One that takes minutes to notice: who waited for the line would wait as long.
	o := rig.Quick(p.Addr(), "half-patient")
	o.KeepAlive, o.Timeout = 2*time.Minute, 2*time.Minute
	patient := rig.Link(t, o, nil)
	rig.Up(t, l)
	rig.Up(t, patient)
	before, _ := l.Epoch()
	p.Set(rig.Stall)
	start := time.Now()
	for i := range 100 { // nobody waits for a stalled line
		for _, l := range []*mqtt.Link{l, patient} {
			_ = l.Post(msg("h/"+strconv.Itoa(i%10), "x"))
			_ = l.Send(msg("h/e", "x"), time.Minute)
		}
	}
	assert.Less(t, time.Since(start), 20*time.Second, "posting never waits")
	require.Eventually(t, func() bool { e, _ := l.Epoch(); return e > before }, 30*time.Second, 5*time.Millisecond, "the stall is noticed by the keep-alive")
	assert.True(t, patient.Connected(), "not so soon where the keep-alive is long")
	p.Set(rig.Deny)
	p.Cut()
	p.Set(rig.Pass)
	rig.Up(t, l)
}

func shredded(t *testing.T, s rig.Server) {
	p := rig.NewProxy(t, s.Addr())
	p.Set(rig.Shred)
	var in *mqtt.Inbox
	l := rig.Link(t, rig.Quick(p.Addr(), "shred"), func(l *mqtt.Link) { in, _ = l.Subscribe("s/+", 1, 64) })
	rig.Up(t, l)
	big := fmt.Sprintf("%0900d", 7)
	for range 5 {
		require.NoError(t, l.Send(msg("s/x", big), time.Second))
		assert.Equal(t, big, string(rig.Next(t, in.C(), "whole message").Payload))
	}
}

func twins(t *testing.T, s rig.Server) {
	p := rig.NewProxy(t, s.Addr())
	o := rig.Quick(p.Addr(), "twin")
	o.StableAfter = time.Minute
	o.MaxBackoff = 5 * time.Second
	a, b := rig.Link(t, o, nil), rig.Link(t, o, nil)
	begun := time.Now()
	time.Sleep(1500 * time.Millisecond)
	flaps := func() uint64 { return a.Status().Flaps + b.Status().Flaps }
	require.Eventually(t, func() bool { return flaps() >= 2 }, 30*time.Second, 5*time.Millisecond, "they throw each other out, and say so")
	// 20 ms doubling: at most 7 pauses fit in 1.5 s, for each of the two. One
	// that took every loss as a fresh start would try about a hundred times. A
	// machine that is elsewhere for a while leaves time for another pause.
	tries, most := p.Tries(), 16
	for d := time.Since(begun) / 2; d > 1500*time.Millisecond; d /= 2 {
		most += 2
	}
	assert.LessOrEqual(t, tries, most)
}

func brokerRestart(t *testing.T, s rig.Server) {
	l := rig.Link(t, rig.Quick(s.Addr(), "restart"), nil)
	rig.Up(t, l)
	require.NoError(t, l.Post(mqtt.Message{Topic: "k/zone", Payload: []byte("old"), QoS: 1, Retain: true}))
	require.NoError(t, l.Post(mqtt.Message{Topic: "k/kept", Payload: []byte("kept"), QoS: 1, Retain: true}))
	time.Sleep(100 * time.Millisecond)
	s.Kill(t)
	require.Eventually(t, func() bool { return !l.Connected() }, 30*time.Second, time.Millisecond)
	require.NoError(t, l.Post(mqtt.Message{Topic: "k/zone", Payload: []byte("new"), QoS: 1, Retain: true}))
	s.Start(t)
	rig.Up(t, l)
	heard := rig.Heard(t, rig.Outsider(t, s.Addr(), "restart-out"), "k/#")
	got := map[string]string{}
	for len(got) < 2 {
		m := rig.Next(t, heard, "retained values")
		got[m.Topic()] = string(m.Payload())
	}
	assert.Equal(t, map[string]string{"k/zone": "new", "k/kept": "kept"}, got)
	for topic := range got { // an empty retained value forgets the topic
		require.NoError(t, l.Post(mqtt.Message{Topic: topic, QoS: 1, Retain: true}))
	}
	for range 2 {
		assert.Empty(t, rig.Next(t, heard, "cleared").Payload())
	}
}

func TestWithoutABrokerNothingWaits(t *testing.T) {
	least := time.Hour
	for range 3 { // a machine may be elsewhere for a moment, but not each time
		l := rig.Link(t, rig.Quick(rig.FreeAddr(t), "nobody"), nil)
		start := time.Now()
		assert.ErrorIs(t, l.Send(msg("a", "b"), time.Minute), mqtt.ErrOffline)
		assert.NoError(t, l.Post(msg("a", "b")))
		l.Close(500 * time.Millisecond)
		least = min(least, time.Since(start))
		assert.Contains(t, l.Status().LastError, "connect")
	}
	assert.Less(t, least, 2*time.Second)
}

func TestOfflinePublicationsDoNotGrowMemory(t *testing.T) {
	o := rig.Quick(rig.FreeAddr(t), "offline")
	o.MaxTopics = 1000
	l := rig.Link(t, o, nil)
	heap := func() uint64 {
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		return m.HeapAlloc
	}
	payload := make([]byte, 200)
	post := func(n int) (refused int) {
		for i := range n {
			if err := l.Post(mqtt.Message{Topic: "o/" + strconv.Itoa(i%1200), Payload: append([]byte(nil), payload...), QoS: 1, Retain: true}); err != nil {
				require.ErrorIs(t, err, mqtt.ErrFull)
				refused++
			}
		}
		return refused
	}
	post(2400) // fill
	full := heap()
	refused := post(65000)
	// 54 whole rounds of 1200 topics, 200 of them over the bound, and a tail
	// of 200 topics within it.
	assert.Equal(t, 54*200, refused, "topics beyond the bound are refused, the others replaced")
	assert.Less(t, float64(heap()), float64(full)+256<<10, "65 000 publications more leave the heap where it was")
}

func TestAFullInboxKeepsTheNewest(t *testing.T) {
	s := rig.Embedded(t)
	var small, other *mqtt.Inbox
	l := rig.Link(t, rig.Quick(s.Addr(), "slow"), func(l *mqtt.Link) {
		small, _ = l.Subscribe("f/+", 0, 4)
		other, _ = l.Subscribe("cmd", 1, 4)
	})
	rig.Up(t, l)
	out := rig.Outsider(t, s.Addr(), "flood")
	const n = 5000
	for i := range n {
		rig.Publish(t, out, "f/x", 0, false, strconv.Itoa(i))
	}
	rig.Publish(t, out, "cmd", 1, false, "close")
	assert.Equal(t, "close", string(rig.Next(t, other.C(), "a flood in one inbox leaves the others alone").Payload))
	require.Eventually(t, func() bool { return small.Dropped() > 0 }, 30*time.Second, time.Millisecond)
	assert.LessOrEqual(t, len(small.C()), 4)
	assert.True(t, l.Connected(), "nobody read, and the link still lives")
}

func TestOversizePacketsEndTheConnectionNotTheMemory(t *testing.T) {
	s := rig.Embedded(t)
	o := rig.Quick(s.Addr(), "limit")
	o.MaxPacket = 1024
	var in *mqtt.Inbox
	l := rig.Link(t, o, func(l *mqtt.Link) { in, _ = l.Subscribe("big", 0, 4) })
	rig.Up(t, l)
	out := rig.Outsider(t, s.Addr(), "big-out")
	rig.Publish(t, out, "big", 0, false, string(make([]byte, 1000)))
	assert.Len(t, rig.Next(t, in.C(), "just small enough").Payload, 1000)
	before, _ := l.Epoch()
	rig.Publish(t, out, "big", 0, false, string(make([]byte, 1100)))
	require.Eventually(t, func() bool { e, _ := l.Epoch(); return e > before }, 30*time.Second, time.Millisecond)
	rig.Up(t, l)
	rig.Silent(t, in.C(), 50*time.Millisecond, "the oversize message")
	assert.Error(t, l.Post(msg("big", string(make([]byte, 1100)))), "and none is sent")
}

func TestTooOldToSend(t *testing.T) {
	s := rig.Embedded(t)
	l := rig.Link(t, rig.Quick(s.Addr(), "old"), nil)
	rig.Up(t, l)
	heard := rig.Heard(t, rig.Outsider(t, s.Addr(), "old-out"), "old")
	require.NoError(t, l.Send(msg("old", "x"), -time.Second))
	require.Eventually(t, func() bool { return l.Status().TooOld == 1 }, 30*time.Second, time.Millisecond)
	rig.Silent(t, heard, 50*time.Millisecond, "a message past its moment")
}

func TestReconnectsLeaveNoGoroutines(t *testing.T) {
	s := rig.Embedded(t)
	p := rig.NewProxy(t, s.Addr())
	l := rig.Link(t, rig.Quick(p.Addr(), "leak"), func(l *mqtt.Link) { _, _ = l.Subscribe("x", 1, 1) })
	rig.Up(t, l)
	cycle := func() {
		e, _ := l.Epoch()
		p.Cut()
		require.Eventually(t, func() bool { n, up := l.Epoch(); return n > e && up }, 30*time.Second, time.Millisecond)
		time.Sleep(120 * time.Millisecond) // stable again: short pauses
	}
	cycle()
	before := runtime.NumGoroutine()
	for range 10 {
		cycle()
	}
	assert.Eventually(t, func() bool { return runtime.NumGoroutine() <= before+5 }, 30*time.Second, 20*time.Millisecond, "from %d to %d goroutines", before, runtime.NumGoroutine())
}

func TestBadOptionsAreRefused(t *testing.T) {
	good := rig.Quick("127.0.0.1:1", "x")
	for name, change := range map[string]func(*mqtt.Options){
		"no scheme":            func(o *mqtt.Options) { o.URL = "127.0.0.1:1883" },
		"websocket":            func(o *mqtt.Options) { o.URL = "ws://127.0.0.1" },
		"password in address":  func(o *mqtt.Options) { o.URL = "mqtt://u:p@127.0.0.1" },
		"path":                 func(o *mqtt.Options) { o.URL = "mqtt://127.0.0.1/x" },
		"no client id":         func(o *mqtt.Options) { o.ClientID = "" },
		"wildcard will":        func(o *mqtt.Options) { o.Will = &mqtt.Message{Topic: "a/#"} },
		"long pause":           func(o *mqtt.Options) { o.MaxBackoff = 61 * time.Second },
		"keep-alive":           func(o *mqtt.Options) { o.KeepAlive = time.Millisecond },
		"certificates, no TLS": func(o *mqtt.Options) { o.TLS.CAFile = "x" },
		"no such CA":           func(o *mqtt.Options) { o.URL, o.TLS.CAFile = "mqtts://127.0.0.1", "/nonexistent" },
		"no such login":        func(o *mqtt.Options) { o.PasswordFile = "/nonexistent" },
	} {
		t.Run(name, func(t *testing.T) {
			o := good
			change(&o)
			_, err := mqtt.New(o)
			assert.Error(t, err)
		})
	}
	l, err := mqtt.New(good)
	require.NoError(t, err)
	_, err = l.Subscribe("a/#/b", 0, 1)
	assert.Error(t, err)
	assert.Error(t, l.Post(mqtt.Message{Topic: "a/+"}))
	assert.Error(t, l.Post(mqtt.Message{Topic: ""}), "what the topic tree could not build")
	assert.Error(t, l.Send(mqtt.Message{Topic: "a", Retain: true}, time.Second))
}

func TestPasswordFile(t *testing.T) {
	dir := t.TempDir()
	write := func(text string, mode os.FileMode) string {
		name := filepath.Join(dir, strconv.Itoa(len(text))+mode.String())
		require.NoError(t, os.WriteFile(name, []byte(text), mode))
		require.NoError(t, os.Chmod(name, mode))
		return name
	}
	u, p, err := mqtt.ReadPassword(write("ada\ns e c\r\n", 0o600))
	require.NoError(t, err)
	assert.Equal(t, [2]string{"ada", "s e c"}, [2]string{u, p})
	for _, mode := range []os.FileMode{0o644, 0o640, 0o604, 0o660} {
		_, _, err = mqtt.ReadPassword(write("a\nb\n", mode))
		assert.ErrorContains(t, err, "chmod 600", mode.String())
	}
	for _, text := range []string{"", "a", "a\n\n", "\nb", "a\nb\nc", "a\n\xff"} {
		_, _, err = mqtt.ReadPassword(write(text, 0o600))
		assert.Error(t, err, "%q", text)
	}
}

func TestGreetingComesFirstAndInOrder(t *testing.T) {
	rig.Each(t, func(t *testing.T, s rig.Server) {
		out := rig.Outsider(t, s.Addr(), "greeted")
		heard := rig.Heard(t, out, "g/#")
		p := rig.NewProxy(t, s.Addr())
		o := rig.Quick(p.Addr(), "greeter")
		o.Greeting = func() []mqtt.Message {
			return []mqtt.Message{msg("g/state", "init"), msg("g/description", "d"), msg("g/state", "ready")}
		}
		l, err := mqtt.New(o)
		require.NoError(t, err)
		require.NoError(t, l.Post(mqtt.Message{Topic: "g/first", Payload: []byte("1"), QoS: 1, Retain: true}))
		require.NoError(t, l.Post(mqtt.Message{Topic: "g/second", Payload: []byte("2"), QoS: 1, Retain: true}))
		l.Start(context.Background())
		defer l.Close(time.Second)
		for range 2 {
			// Quality of service 1 may repeat but keeps its order.
			for _, want := range []string{"init", "d", "ready", "1", "2"} {
				assert.Equal(t, want, string(rig.Next(t, heard, want).Payload()))
			}
			p.Cut()
		}
	})
}

// TestOutsideClients talks with Mosquitto's own tools to the embedded broker
// and to Mosquitto.
func TestOutsideClients(t *testing.T) {
	pub, sub := need.Tool(t, "mosquitto_pub"), need.Tool(t, "mosquitto_sub")
	rig.Each(t, func(t *testing.T, s rig.Server) {
		host, port, err := net.SplitHostPort(s.Addr())
		require.NoError(t, err)
		var in *mqtt.Inbox
		l := rig.Link(t, rig.Quick(s.Addr(), "inside"), func(l *mqtt.Link) { in, _ = l.Subscribe("fabricpot/roof/do", 1, 4) })
		rig.Up(t, l)
		require.NoError(t, l.Post(mqtt.Message{Topic: "fabricpot/roof/zone/chilli", Payload: []byte(`{"water_percent":41.4}`), QoS: 1, Retain: true}))
		require.Eventually(t, func() bool {
			out, err := exec.Command(sub, "-h", host, "-p", port, "-t", "fabricpot/roof/zone/+", "-C", "1", "-W", "2").CombinedOutput()
			return err == nil && string(out) == "{\"water_percent\":41.4}\n"
		}, 30*time.Second, 20*time.Millisecond, "a late subscriber finds the state")
		out, err := exec.Command(pub, "-h", host, "-p", port, "-q", "1", "-t", "fabricpot/roof/do", "-m", `{"id":"x"}`).CombinedOutput()
		require.NoError(t, err, string(out))
		assert.Equal(t, `{"id":"x"}`, string(rig.Next(t, in.C(), "from outside").Payload))
	})
}
