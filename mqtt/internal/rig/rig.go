// Package rig gives tests a broker to talk to, a line to it that can be made to
// fail, and clocks that need no waiting. Everything listens on loopback.
package rig

import (
	"context"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/require"

	"fabricpot/mqtt"
	"fabricpot/mqtt/broker"
	"fabricpot/mqtt/internal/need"
)

// Server is a broker that can be killed and started again on the same port.
type Server interface {
	// Addr is host:port.
	Addr() string
	// Kill ends it without a goodbye, Start begins it again.
	Kill(testing.TB)
	Start(testing.TB)
}

// Each runs the same suite against the embedded broker and against Mosquitto.
func Each(t *testing.T, suite func(*testing.T, Server)) {
	t.Run("embedded", func(t *testing.T) { suite(t, Embedded(t)) })
	t.Run("mosquitto", func(t *testing.T) { suite(t, Mosquitto(t, Setup{})) })
}

// FreeAddr is a loopback address nobody listened on a moment ago.
func FreeAddr(t testing.TB) string {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close()
	return l.Addr().String()
}

type embedded struct {
	addr string
	b    *broker.Broker
}

// Embedded starts the embedded broker.
func Embedded(t testing.TB) Server {
	e := &embedded{addr: FreeAddr(t)}
	e.Start(t)
	t.Cleanup(func() { e.Kill(t) })
	return e
}

func (e *embedded) Addr() string { return e.addr }

func (e *embedded) Kill(testing.TB) {
	if e.b != nil {
		e.b.Close()
		e.b = nil
	}
}

func (e *embedded) Start(t testing.TB) {
	require.Eventually(t, func() bool {
		b, err := broker.Start(broker.Options{Listen: e.addr, MaxPending: 8192, MaxClients: 256})
		e.b = b
		return err == nil
	}, patience, 20*time.Millisecond, "start the embedded broker")
}

// Setup is how a Mosquitto is configured beyond the defaults.
type Setup struct {
	// Users are name → password; ACL is the text of an access list.
	Users map[string]string
	ACL   string
	// CA, Cert, Key turn TLS on; ClientCerts asks clients for theirs.
	CA, Cert, Key string
	ClientCerts   bool
}

type mosquitto struct {
	path, conf, addr string
	cmd              *exec.Cmd
}

// Mosquitto starts a real one on a free port, or skips the test.
func Mosquitto(t testing.TB, s Setup) Server {
	m := &mosquitto{path: need.Tool(t, "mosquitto"), addr: FreeAddr(t)}
	dir := t.TempDir()
	_, port, _ := net.SplitHostPort(m.addr)
	// Mosquitto gives root up and could then not read the test's files.
	conf := "persistence false\nmax_queued_messages 20000\n"
	if os.Getuid() == 0 {
		conf += "user root\n"
	}
	conf += "listener " + port + " 127.0.0.1\n"
	if len(s.Users) == 0 {
		conf += "allow_anonymous true\n"
	} else {
		file := filepath.Join(dir, "passwd")
		tool := need.Tool(t, "mosquitto_passwd")
		require.NoError(t, os.WriteFile(file, nil, 0o600))
		for u, p := range s.Users {
			out, err := exec.Command(tool, "-b", file, u, p).CombinedOutput()
			require.NoError(t, err, string(out))
		}
		conf += "allow_anonymous false\npassword_file " + file + "\n"
	}
	if s.ACL != "" {
		file := filepath.Join(dir, "acl")
		require.NoError(t, os.WriteFile(file, []byte(s.ACL), 0o600))
		conf += "acl_file " + file + "\n"
	}
	if s.Cert != "" {
		conf += fmt.Sprintf("cafile %s\ncertfile %s\nkeyfile %s\nrequire_certificate %v\n", s.CA, s.Cert, s.Key, s.ClientCerts)
	}
	m.conf = filepath.Join(dir, "mosquitto.conf")
	require.NoError(t, os.WriteFile(m.conf, []byte(conf), 0o600))
	m.Start(t)
	t.Cleanup(func() { m.Kill(t) })
	return m
}

func (m *mosquitto) Addr() string { return m.addr }

func (m *mosquitto) Kill(testing.TB) {
	if m.cmd != nil {
		_ = m.cmd.Process.Kill()
		_ = m.cmd.Wait()
		m.cmd = nil
	}
}

func (m *mosquitto) Start(t testing.TB) {
	var said strings.Builder
	m.cmd = exec.Command(m.path, "-c", m.conf)
	m.cmd.Stdout, m.cmd.Stderr = &said, &said
	require.NoError(t, m.cmd.Start())
	require.Eventually(t, func() bool {
		c, err := net.Dial("tcp", m.addr)
		if err == nil {
			_ = c.Close()
		}
		return err == nil
	}, patience, 10*time.Millisecond, "mosquitto does not listen")
}

// patience is for what comes at once where it comes at all, on a busy machine and
// under the race detector.
const patience = 30 * time.Second

// Quick are link options with short times, for tests.
func Quick(addr, id string) mqtt.Options {
	return mqtt.Options{
		URL: "mqtt://" + addr, ClientID: id, KeepAlive: time.Second, Timeout: time.Second,
		MinBackoff: 20 * time.Millisecond, MaxBackoff: 200 * time.Millisecond, StableAfter: 100 * time.Millisecond,
	}
}

// Link starts a link and closes it when the test ends.
func Link(t testing.TB, o mqtt.Options, prepare func(*mqtt.Link)) *mqtt.Link {
	l, err := mqtt.New(o)
	require.NoError(t, err)
	if prepare != nil {
		prepare(l)
	}
	l.Start(context.Background())
	t.Cleanup(func() { l.Close(time.Second) })
	return l
}

// Up waits until the link is connected.
func Up(t testing.TB, l *mqtt.Link) {
	require.Eventually(t, l.Connected, patience, 5*time.Millisecond, "the link does not connect: %v", l.Status())
}

// Outsider is a client that shares no code with the link but the library. It
// reconnects by the library's own means.
func Outsider(t testing.TB, addr, id string, set ...func(*paho.ClientOptions)) paho.Client {
	o := paho.NewClientOptions().AddBroker("tcp://" + addr).SetClientID(id).SetProtocolVersion(4).SetMaxReconnectInterval(100 * time.Millisecond)
	for _, f := range set {
		f(o)
	}
	c := paho.NewClient(o)
	tok := c.Connect()
	require.True(t, tok.WaitTimeout(patience))
	require.NoError(t, tok.Error())
	t.Cleanup(func() { c.Disconnect(50) })
	return c
}

// Publish publishes with an outsider and waits for the broker's word.
func Publish(t testing.TB, c paho.Client, topic string, qos byte, retain bool, payload string) {
	tok := c.Publish(topic, qos, retain, payload)
	require.True(t, tok.WaitTimeout(patience))
	require.NoError(t, tok.Error())
}

// Heard subscribes an outsider and returns what it hears.
func Heard(t testing.TB, c paho.Client, filter string) <-chan paho.Message {
	ch := make(chan paho.Message, 1024)
	tok := c.Subscribe(filter, 1, func(_ paho.Client, m paho.Message) {
		select {
		case ch <- m:
		default:
		}
	})
	require.True(t, tok.WaitTimeout(patience))
	require.NoError(t, tok.Error())
	return ch
}

// Next is the next message of a channel, or a failure.
func Next[M any](t testing.TB, ch <-chan M, what string) M {
	t.Helper()
	select {
	case m := <-ch:
		return m
	case <-time.After(patience):
		require.FailNow(t, "nothing came", what)
		panic("unreachable")
	}
}

// Silent fails if anything comes within d.
func Silent[M any](t testing.TB, ch <-chan M, d time.Duration, what string) {
	t.Helper()
	select {
	case m := <-ch:
		require.FailNow(t, "something came", "%s: %v", what, m)
	case <-time.After(d):
	}
}
