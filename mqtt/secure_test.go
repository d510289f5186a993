package mqtt_test

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/mqtt"
	"fabricpot/mqtt/broker"
	"fabricpot/mqtt/internal/rig"
)

func TestTLS(t *testing.T) {
	c := rig.NewCerts(t)
	t.Run("embedded", func(t *testing.T) {
		b, err := broker.Start(broker.Options{Listen: "127.0.0.1:0", CertFile: c.Cert, KeyFile: c.Key})
		require.NoError(t, err)
		defer b.Close()
		trust(t, b.Addr().String(), c, nil)
	})
	t.Run("mosquitto with client certificates", func(t *testing.T) {
		s := rig.Mosquitto(t, rig.Setup{CA: c.CA, Cert: c.Cert, Key: c.Key, ClientCerts: true})
		trust(t, s.Addr(), c, func(o *mqtt.Options) { o.TLS.CertFile, o.TLS.KeyFile = c.ClientCert, c.ClientKey })
		t.Run("without one it stays out", func(t *testing.T) { never(t, secure(s.Addr(), c.CA)) })
	})
	t.Run("a key others can read is refused", func(t *testing.T) {
		require.NoError(t, os.Chmod(c.ClientKey, 0o644))
		o := secure("127.0.0.1:1", c.CA)
		o.TLS.CertFile, o.TLS.KeyFile = c.ClientCert, c.ClientKey
		_, err := mqtt.New(o)
		assert.ErrorContains(t, err, "chmod 600")
	})
}

func secure(addr, ca string) mqtt.Options {
	o := rig.Quick(addr, "tls")
	o.URL, o.TLS.CAFile = "mqtts://"+addr, ca
	return o
}

func trust(t *testing.T, addr string, c rig.Certs, change func(*mqtt.Options)) {
	o := secure(addr, c.CA)
	if change != nil {
		change(&o)
	}
	var in *mqtt.Inbox
	l := rig.Link(t, o, func(l *mqtt.Link) { in, _ = l.Subscribe("t", 1, 1) })
	rig.Up(t, l)
	require.NoError(t, l.Send(msg("t", "safe"), time.Second))
	assert.Equal(t, "safe", string(rig.Next(t, in.C(), "over TLS").Payload))
	o.TLS.CAFile = c.OtherCA
	t.Run("another authority is not trusted", func(t *testing.T) { never(t, o) })
	o.TLS.CAFile, o.TLS.ServerName = c.CA, "elsewhere.example"
	t.Run("another name is not trusted", func(t *testing.T) { never(t, o) })
	o.TLS.CAFile, o.TLS.ServerName = "", ""
	t.Run("the system's authorities do not know it", func(t *testing.T) { never(t, o) })
}

func never(t *testing.T, o mqtt.Options) {
	l := rig.Link(t, o, nil)
	require.Eventually(t, func() bool { return l.Status().Attempts >= 3 }, 30*time.Second, time.Millisecond)
	assert.False(t, l.Connected())
	assert.NotEmpty(t, l.Status().LastError)
}

func TestLoginAndAccessList(t *testing.T) {
	dir := t.TempDir()
	login := func(user, password string) string {
		f := filepath.Join(dir, user+password)
		require.NoError(t, os.WriteFile(f, []byte(user+"\n"+password+"\n"), 0o600))
		return f
	}
	suite := func(t *testing.T, addr string) {
		gate := rig.Quick(addr, "gate")
		gate.PasswordFile = login("gateway", "right")
		var in *mqtt.Inbox
		l := rig.Link(t, gate, func(l *mqtt.Link) { in, _ = l.Subscribe("g/#", 1, 8) })
		rig.Up(t, l)
		t.Run("wrong password", func(t *testing.T) {
			o := rig.Quick(addr, "wrong")
			o.PasswordFile = login("gateway", "wrong")
			never(t, o)
		})
		t.Run("no login", func(t *testing.T) { never(t, rig.Quick(addr, "anon")) })
		t.Run("a node may only say what it is allowed to", func(t *testing.T) {
			o := rig.Quick(addr, "node")
			o.PasswordFile = login("node", "n")
			var ok, stolen *mqtt.Inbox
			n := rig.Link(t, o, func(l *mqtt.Link) {
				ok, _ = l.Subscribe("g/valve/a/set", 1, 8)
				stolen, _ = l.Subscribe("g/valve/b/set", 1, 8)
			})
			rig.Up(t, n)
			require.NoError(t, n.Send(mqtt.Message{Topic: "g/valve/a/set", Payload: []byte("forged")}, time.Second))
			require.NoError(t, n.Send(mqtt.Message{Topic: "g/probe/a", Payload: []byte("1")}, time.Second))
			m := rig.Next(t, in.C(), "what is allowed")
			assert.Equal(t, "g/probe/a", m.Topic, "the forged order was not passed on")
			require.NoError(t, l.Send(msg("g/valve/b/set", "secret"), time.Second))
			require.NoError(t, l.Send(msg("g/valve/a/set", "open"), time.Second))
			assert.Equal(t, "open", string(rig.Next(t, ok.C(), "its own orders").Payload))
			rig.Silent(t, stolen.C(), 50*time.Millisecond, "another's orders")
		})
	}
	t.Run("embedded", func(t *testing.T) {
		b, err := broker.Start(broker.Options{Listen: "127.0.0.1:0", Accounts: []broker.Account{
			{User: "gateway", Password: "right", Publish: []string{"g/#"}, Subscribe: []string{"g/#"}},
			{User: "node", Password: "n", Publish: []string{"g/probe/a", "g/valve/a/state"}, Subscribe: []string{"g/valve/a/set"}},
		}})
		require.NoError(t, err)
		defer b.Close()
		suite(t, b.Addr().String())
	})
	t.Run("mosquitto", func(t *testing.T) {
		s := rig.Mosquitto(t, rig.Setup{
			Users: map[string]string{"gateway": "right", "node": "n"},
			ACL:   "user gateway\ntopic readwrite g/#\nuser node\ntopic write g/probe/a\ntopic write g/valve/a/state\ntopic read g/valve/a/set\n",
		})
		suite(t, s.Addr())
	})
}
