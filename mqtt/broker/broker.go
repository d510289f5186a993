// Package broker is the embedded MQTT broker, for gardens that have no other.
//
// Nobody but this machine can reach it unless the caller gives both a listen
// address and at least one account. Every account has a list of filters it may
// publish to and one it may subscribe to; a last will is judged by the same
// list. What valves listen to is the gateway's own to write, whatever a list says
// and where nobody needs an account too. Everything a stranger could make grow is
// bounded: time until CONNECT, connections, packet size, what waits for a slow
// reader, what waits for an absent one and for how long, and the number of
// retained topics. Retained messages live in memory: publishers post them again
// on every connection.
package broker

import (
	"crypto/rand"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"sync"
	"time"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/listeners"

	"fabricpot/mqtt/topic"
)

// DefaultListen is where the broker listens when nothing else is asked for.
const DefaultListen = "127.0.0.1:1883"

// Account is who may connect and what it may do there.
type Account struct {
	User, Password string
	// Publish and Subscribe are topic filters. What no filter covers is
	// forbidden.
	Publish, Subscribe []string
}

// Options bound the broker. Zero fields take the value in brackets.
type Options struct {
	// Listen is host:port [DefaultListen]. A host that is not loopback needs
	// Accounts.
	Listen   string
	Accounts []Account
	// OwnOnly are topic filters that only the gateway's own account may publish to.
	OwnOnly []string
	// CertFile and KeyFile turn the listener into a TLS one.
	CertFile, KeyFile string
	// MaxClients bounds connected clients [64].
	MaxClients int
	// MaxPacket bounds a packet, bytes [64 KiB].
	MaxPacket int
	// MaxPending bounds what waits to be written to one client, messages [1024].
	MaxPending int
	// MaxRetained bounds retained topics [8192].
	MaxRetained int
	// SessionExpiry bounds how long an absent client's session is kept [1 h].
	SessionExpiry time.Duration
	// ConnectWithin bounds the time from accepting a connection to a complete
	// CONNECT, TLS handshake included [5 s].
	ConnectWithin time.Duration
	// MaxKeepAlive replaces a keep-alive of "never" [10 min].
	MaxKeepAlive time.Duration
	// Log takes the broker's warnings. Nil: nobody reads them.
	Log *slog.Logger
}

// Broker is a running broker.
type Broker struct {
	srv   *mochi.Server
	addr  net.Addr
	tls   bool
	own   Account
	close sync.Once
}

func (o *Options) check() error {
	def := func(p *int, v int) {
		if *p == 0 {
			*p = v
		}
	}
	if o.Listen == "" {
		o.Listen = DefaultListen
	}
	def(&o.MaxClients, 64)
	def(&o.MaxPacket, 64<<10)
	def(&o.MaxPending, 1024)
	def(&o.MaxRetained, 8192)
	if o.SessionExpiry == 0 {
		o.SessionExpiry = time.Hour
	}
	if o.ConnectWithin == 0 {
		o.ConnectWithin = 5 * time.Second
	}
	if o.MaxKeepAlive == 0 {
		o.MaxKeepAlive = 10 * time.Minute
	}
	if o.Log == nil {
		o.Log = slog.New(slog.NewTextHandler(io.Discard, nil))
	}
	if o.MaxClients < 1 || o.MaxPacket < 128 || o.MaxPending < 1 || o.MaxPending > 1<<16 || o.MaxRetained < 1 || o.SessionExpiry < 0 || o.ConnectWithin < 0 || o.MaxKeepAlive < time.Second || o.MaxKeepAlive > 12*time.Hour {
		return errors.New("broker: a limit is out of range")
	}
	host, _, err := net.SplitHostPort(o.Listen)
	if err != nil {
		return fmt.Errorf("broker: listen address %q: %w", o.Listen, err)
	}
	if len(o.Accounts) == 0 && !loopback(host) {
		return fmt.Errorf("broker: listen address %s can be reached from other machines: give at least one account, or listen on a loopback address", o.Listen)
	}
	for _, f := range o.OwnOnly {
		if !topic.ValidFilter(f) {
			return fmt.Errorf("broker: what is the gateway's own: %q is no topic filter", f)
		}
	}
	seen := map[string]bool{}
	for _, a := range o.Accounts {
		if a.User == "" || a.Password == "" || seen[a.User] {
			return fmt.Errorf("broker: account %q: expected a user of its own and a password", a.User)
		}
		seen[a.User] = true
		for _, f := range append(append([]string(nil), a.Publish...), a.Subscribe...) {
			if !topic.ValidFilter(f) {
				return fmt.Errorf("broker: account %q: %q is no topic filter", a.User, f)
			}
		}
	}
	return nil
}

// loopback reports whether only this machine can reach the host. A name other
// than localhost counts as reachable: what it means is not ours to decide.
func loopback(host string) bool {
	if host == "localhost" {
		return true
	}
	ip := net.ParseIP(host)
	return ip != nil && ip.IsLoopback()
}

// Start opens the listener and serves.
func Start(o Options) (*Broker, error) {
	if err := o.check(); err != nil {
		return nil, err
	}
	b := &Broker{own: Account{User: "gateway-" + rand.Text()[:8], Password: rand.Text(), Publish: []string{"#"}, Subscribe: []string{"#"}}}
	var tc *tls.Config
	if o.CertFile != "" || o.KeyFile != "" {
		pair, err := tls.LoadX509KeyPair(o.CertFile, o.KeyFile)
		if err != nil {
			return nil, fmt.Errorf("broker: certificate: %w", err)
		}
		tc, b.tls = &tls.Config{MinVersion: tls.VersionTLS12, Certificates: []tls.Certificate{pair}}, true
	}
	l, err := net.Listen("tcp", o.Listen)
	if err != nil {
		return nil, fmt.Errorf("broker: listen: %w", err)
	}
	b.addr = l.Addr()
	caps := mochi.NewDefaultServerCapabilities()
	caps.MaximumClients = int64(o.MaxClients)
	caps.MaximumPacketSize = uint32(o.MaxPacket)
	caps.MaximumClientWritesPending = int32(o.MaxPending)
	caps.MaximumInflight = uint16(min(o.MaxPending, 4096))
	caps.MaximumSessionExpiryInterval = uint32(o.SessionExpiry / time.Second)
	// The library's default of a day would take away retained documents.
	caps.MaximumMessageExpiryInterval = 0
	caps.MinimumProtocolVersion = 4
	// An alias hides the topic from the check of rights; shared
	// subscriptions are another spelling of a filter.
	caps.TopicAliasMaximum = 0
	caps.SharedSubAvailable = 0
	b.srv = mochi.New(&mochi.Options{Capabilities: caps, Logger: o.Log, SysTopicResendInterval: 60})
	r := newRights(b.srv, o, b.own)
	for _, h := range []mochi.Hook{r, &retained{}} {
		if err := b.srv.AddHook(h, nil); err != nil {
			_ = l.Close()
			return nil, fmt.Errorf("broker: %w", err)
		}
	}
	var guarded net.Listener = newGate(l, o.ConnectWithin, 2*o.MaxClients)
	if tc != nil {
		guarded = tls.NewListener(guarded, tc)
	}
	if err := b.srv.AddListener(listeners.NewNet("net", guarded)); err != nil {
		_ = l.Close()
		return nil, fmt.Errorf("broker: %w", err)
	}
	if err := b.srv.Serve(); err != nil {
		_ = l.Close()
		return nil, fmt.Errorf("broker: %w", err)
	}
	for name := range b.srv.Topics.Retained.GetAll() {
		if name[0] == '$' {
			r.system.Add(1)
		}
	}
	return b, nil
}

// Addr is the address it listens on.
func (b *Broker) Addr() net.Addr { return b.addr }

// URL is the address for a link on the same machine.
func (b *Broker) URL() string {
	scheme := "mqtt"
	if b.tls {
		scheme = "mqtts"
	}
	return scheme + "://" + b.addr.String()
}

// Login is the gateway's own account: made anew at every start, allowed
// everything, and known to nobody outside this process.
func (b *Broker) Login() (user, password string, err error) { return b.own.User, b.own.Password, nil }

// Close disconnects everybody and stops.
func (b *Broker) Close() { b.close.Do(func() { _ = b.srv.Close() }) }
