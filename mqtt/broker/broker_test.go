package broker_test

import (
	"io"
	"net"
	"os"
	"strconv"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/mqtt"
	"fabricpot/mqtt/broker"
	"fabricpot/mqtt/internal/rig"
)

func start(t *testing.T, o broker.Options) *broker.Broker {
	o.Listen = "127.0.0.1:0"
	b, err := broker.Start(o)
	require.NoError(t, err)
	t.Cleanup(b.Close)
	return b
}

func TestNobodyElseGetsInUnlessAsked(t *testing.T) {
	for _, listen := range []string{":1883", "0.0.0.0:1883", "[::]:1883", "192.0.2.7:1883", "roof.example:1883"} {
		_, err := broker.Start(broker.Options{Listen: listen})
		assert.ErrorContains(t, err, "at least one account", listen)
	}
	for name, a := range map[string][]broker.Account{
		"no password": {{User: "a"}},
		"no user":     {{Password: "x"}},
		"twice":       {{User: "a", Password: "x"}, {User: "a", Password: "y"}},
		"bad filter":  {{User: "a", Password: "x", Publish: []string{"a/#/b"}}},
	} {
		_, err := broker.Start(broker.Options{Listen: "127.0.0.1:0", Accounts: a})
		assert.Error(t, err, name)
	}
	assert.Equal(t, "127.0.0.1:1883", broker.DefaultListen)
}

func TestTheGatewaysOwnAccount(t *testing.T) {
	b := start(t, broker.Options{Accounts: []broker.Account{{User: "n", Password: "n"}}})
	o := rig.Quick(b.Addr().String(), "own")
	o.Login = b.Login
	var in *mqtt.Inbox
	l := rig.Link(t, o, func(l *mqtt.Link) { in, _ = l.Subscribe("any/#", 1, 1) })
	rig.Up(t, l)
	require.NoError(t, l.Post(mqtt.Message{Topic: "any/where", Payload: []byte("x")}))
	rig.Next(t, in.C(), "own message")
}

func TestSilenceBeforeConnectEnds(t *testing.T) {
	b := start(t, broker.Options{ConnectWithin: 150 * time.Millisecond, MaxClients: 2})
	dial := func(b *broker.Broker) net.Conn {
		c, err := net.Dial("tcp", b.Addr().String())
		require.NoError(t, err)
		t.Cleanup(func() { c.Close() })
		return c
	}
	ended := func(c net.Conn, within time.Duration) bool {
		_ = c.SetReadDeadline(time.Now().Add(within))
		_, err := c.Read(make([]byte, 1))
		return err == io.EOF
	}
	t.Run("nothing sent", func(t *testing.T) { assert.True(t, ended(dial(b), 20*time.Second)) })
	t.Run("a CONNECT that never ends", func(t *testing.T) {
		c := dial(b)
		// 16 383 bytes to come: eight minutes' trickling.
		_, _ = c.Write([]byte{0x10, 0xff, 0x7f})
		go func() {
			for {
				time.Sleep(30 * time.Millisecond)
				if _, err := c.Write([]byte{0}); err != nil {
					return
				}
			}
		}()
		_ = c.SetReadDeadline(time.Now().Add(20 * time.Second))
		_, err := c.Read(make([]byte, 1))
		require.Error(t, err)
		assert.NotErrorIs(t, err, os.ErrDeadlineExceeded, "trickling does not move the deadline")
	})
	t.Run("more strangers than places", func(t *testing.T) {
		b := start(t, broker.Options{ConnectWithin: time.Hour, MaxClients: 2})
		for range 4 {
			dial(b)
		}
		assert.True(t, ended(dial(b), 20*time.Second), "closed at once, not after the deadline")
	})
	t.Run("a client stays", func(t *testing.T) {
		time.Sleep(200 * time.Millisecond)
		l := rig.Link(t, rig.Quick(b.Addr().String(), "stays"), nil)
		rig.Up(t, l)
		time.Sleep(400 * time.Millisecond)
		assert.True(t, l.Connected(), "the deadline ends with CONNECT")
	})
}

func TestLimits(t *testing.T) {
	b := start(t, broker.Options{MaxClients: 2, MaxPacket: 512, MaxRetained: 4})
	addr := b.Addr().String()
	rig.Outsider(t, addr, "a", func(o *paho.ClientOptions) { o.SetAutoReconnect(false) })
	w := rig.Outsider(t, addr, "w", func(o *paho.ClientOptions) { o.SetAutoReconnect(false) })
	t.Run("clients", func(t *testing.T) {
		tok := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + addr).SetClientID("third").SetProtocolVersion(4)).Connect()
		require.True(t, tok.WaitTimeout(30*time.Second))
		assert.Error(t, tok.Error())
	})
	t.Run("retained topics", func(t *testing.T) {
		for i := range 10 {
			rig.Publish(t, w, "x/"+strconv.Itoa(i), 1, true, "v")
		}
		rig.Publish(t, w, "x/0", 1, true, "replaced")
		kept := rig.Heard(t, w, "x/#")
		for i := range 4 {
			assert.True(t, rig.Next(t, kept, "kept").Retained(), i)
		}
		rig.Silent(t, kept, 100*time.Millisecond, "beyond the bound nothing is kept")
	})
	t.Run("packet size", func(t *testing.T) {
		w.Publish("x/big", 0, false, make([]byte, 600))
		assert.Eventually(t, func() bool { return !w.IsConnectionOpen() }, 30*time.Second, time.Millisecond, "who sends too much is thrown out")
	})
}

func TestWillsAndIDsAreJudged(t *testing.T) {
	b := start(t, broker.Options{Accounts: []broker.Account{
		{User: "n", Password: "n", Publish: []string{"n/#"}, Subscribe: []string{"n/#"}},
		{User: "m", Password: "m", Publish: []string{"m/#"}, Subscribe: []string{"m/#"}},
	}})
	connect := func(user, id, will string) error {
		o := paho.NewClientOptions().AddBroker("tcp://" + b.Addr().String()).SetClientID(id).SetUsername(user).SetPassword(user).SetProtocolVersion(4).SetAutoReconnect(false)
		if will != "" {
			o.SetWill(will, "x", 1, true)
		}
		c := paho.NewClient(o)
		t.Cleanup(func() { c.Disconnect(10) })
		tok := c.Connect()
		require.True(t, tok.WaitTimeout(30*time.Second))
		return tok.Error()
	}
	assert.NoError(t, connect("n", "one", "n/status"))
	assert.Error(t, connect("n", "two", "m/valve/set"), "a will outside its rights")
	assert.Error(t, connect("m", "one", ""), "another account's client id")
	assert.NoError(t, connect("n", "one", ""), "its own again")
	assert.NoError(t, connect("m", "three", ""))
}

// TestOnlyTheGatewayCommandsValves: neither where nobody needs an account, nor with
// a grant of everything, nor by a will.
func TestOnlyTheGatewayCommandsValves(t *testing.T) {
	for name, accounts := range map[string][]broker.Account{
		"open":                nil,
		"all of it is theirs": {{User: "n", Password: "n", Publish: []string{"#", "g/valve/tap/set"}, Subscribe: []string{"#"}}},
	} {
		t.Run(name, func(t *testing.T) {
			b := start(t, broker.Options{Accounts: accounts, OwnOnly: []string{"g/valve/+/set", "plug/3/set"}})
			as := func(o *paho.ClientOptions) {
				o.SetAutoReconnect(false)
				if accounts != nil {
					o.SetUsername("n").SetPassword("n")
				}
			}
			ears := rig.Outsider(t, b.Addr().String(), "ears", as)
			heard := rig.Heard(t, ears, "#")
			for _, to := range []string{"g/valve/tap/set", "g/valve/any/set", "plug/3/set"} {
				for qos := range byte(3) {
					for _, kept := range []bool{false, true} {
						// Who asks for an acknowledgement may be thrown out.
						c := rig.Outsider(t, b.Addr().String(), "mad", as)
						c.Publish(to, qos, kept, `{"id":"x","do":"open","order":"1","seconds":60}`).WaitTimeout(time.Second)
						c.Disconnect(20)
					}
				}
				o := paho.NewClientOptions().AddBroker("tcp://"+b.Addr().String()).SetClientID("dying").SetProtocolVersion(4).SetAutoReconnect(false).SetWill(to, "x", 1, false)
				as(o)
				tok := paho.NewClient(o).Connect()
				require.True(t, tok.WaitTimeout(30*time.Second))
				assert.Error(t, tok.Error(), "a will to %s", to)
			}
			rig.Publish(t, ears, "g/valve/tap/state", 1, false, "closed")
			assert.Equal(t, "g/valve/tap/state", rig.Next(t, heard, "what anybody may say").Topic(), "nothing came before it")
			o := rig.Quick(b.Addr().String(), "own")
			o.Login = b.Login
			l := rig.Link(t, o, nil)
			rig.Up(t, l)
			for _, to := range []string{"g/valve/tap/set", "plug/3/set"} {
				require.NoError(t, l.Send(mqtt.Message{Topic: to, Payload: []byte("close"), QoS: 1}, time.Second))
				assert.Equal(t, to, rig.Next(t, heard, "the gateway's own").Topic())
			}
		})
	}
	_, err := broker.Start(broker.Options{Listen: "127.0.0.1:0", OwnOnly: []string{"a/#/b"}})
	assert.ErrorContains(t, err, "no topic filter")
}

// TestAShortKeepAliveIsKept: a client that pings once in its keep-alive stays
// connected, be that a second: it has half as long again (MQTT 3.1.1, section
// 3.1.2.10).
func TestAShortKeepAliveIsKept(t *testing.T) {
	b := start(t, broker.Options{})
	ends := func(silence time.Duration) bool {
		c, err := net.Dial("tcp", b.Addr().String())
		require.NoError(t, err)
		t.Cleanup(func() { c.Close() })
		begun := time.Now() // before the broker can have begun to count
		// CONNECT of MQTT 3.1.1 with a clean session, a keep-alive of 1 s and the id "k".
		_, err = c.Write([]byte{0x10, 13, 0, 4, 'M', 'Q', 'T', 'T', 4, 2, 0, 1, 0, 1, 'k'})
		require.NoError(t, err)
		buf := make([]byte, 4)
		_ = c.SetReadDeadline(begun.Add(20 * time.Second))
		_, err = io.ReadFull(c, buf)
		require.NoError(t, err)
		require.Equal(t, []byte{0x20, 2, 0, 0}, buf, "CONNACK, accepted")
		_ = c.SetReadDeadline(begun.Add(silence))
		_, err = c.Read(buf)
		return err == io.EOF
	}
	assert.False(t, ends(1300*time.Millisecond), "within one and a half times")
	assert.True(t, ends(30*time.Second), "who is silent for good is not kept")
}
