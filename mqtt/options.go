package mqtt

import (
	"errors"
	"fmt"
	"net"
	"net/url"
	"time"

	"fabricpot/control/garden"
	"fabricpot/mqtt/topic"
)

// Defaults of Options.
const (
	DefaultKeepAlive  = 30 * time.Second
	DefaultMaxBackoff = 60 * time.Second
	MaxBackoffLimit   = 60 * time.Second
	DefaultMaxPacket  = 64 << 10
	DefaultTopics     = 4096
	sendDepth         = 64
	inFlight          = 16
)

// Options say where the broker is and how to treat it. Zero fields take the
// defaults above.
type Options struct {
	// URL is mqtt://host[:port] or mqtts://host[:port]. User and password do
	// not belong in it.
	URL string
	// ClientID must be the only one of its kind at the broker.
	ClientID string
	// PasswordFile holds the user on its first line and the password on its
	// second. Nobody but its owner may have access to it. Empty: no login.
	PasswordFile string
	// Login gives user and password where they are in no file, as with the
	// embedded broker's own account. It wins over PasswordFile.
	Login func() (user, password string, err error)
	// TLS is used with mqtts.
	TLS TLS
	// Will is what the broker says for us when we vanish.
	Will *Message
	// Farewell is what we say ourselves at a clean close; the broker then
	// keeps the will to itself.
	Farewell *Message
	// Greeting, if set, is asked on every connection, after the subscriptions
	// are made, for what is said first and in that order.
	Greeting func() []Message
	// KeepAlive is how long the line may be silent, whole seconds ≥ 1 s.
	KeepAlive time.Duration
	// Timeout bounds the handshake, each acknowledgement and each write.
	Timeout time.Duration
	// MinBackoff and MaxBackoff bound the pause between attempts; MaxBackoff
	// is at most MaxBackoffLimit.
	MinBackoff, MaxBackoff time.Duration
	// StableAfter is how long a connection must have lasted before the pause
	// starts small again. Shorter ones count as flaps.
	StableAfter time.Duration
	// MaxPacket bounds a packet in either direction, bytes.
	MaxPacket int
	// MaxTopics bounds how many topics Post remembers.
	MaxTopics int
	// Clock stamps what arrives. Nil: the process's own clocks.
	Clock func() garden.Moment
}

// Message is one message in either direction.
type Message struct {
	Topic   string
	Payload []byte
	// QoS is 0 or 1. Nothing here needs 2: what must not happen twice
	// carries an identity.
	QoS    byte
	Retain bool
	// Duplicate is set on what arrived as a possible repetition.
	Duplicate bool
	// At is when it arrived. Only set on what arrived.
	At garden.Moment
}

// check fills defaults into a copy and judges it.
func (o Options) check() (Options, *url.URL, error) {
	u, err := url.Parse(o.URL)
	if err != nil {
		return o, nil, fmt.Errorf("mqtt: broker address: %w", err)
	}
	port := ""
	switch u.Scheme {
	case "mqtt", "tcp":
		u.Scheme, port = "mqtt", "1883"
	case "mqtts", "ssl", "tls":
		u.Scheme, port = "mqtts", "8883"
	default:
		return o, nil, fmt.Errorf("mqtt: broker address %q: scheme %q, expected mqtt:// or mqtts://", o.URL, u.Scheme)
	}
	if u.User != nil {
		return o, nil, fmt.Errorf("mqtt: broker %s: user and password belong in a file of their own, not in the address", u.Host)
	}
	if u.Hostname() == "" || u.Path != "" || u.RawQuery != "" {
		return o, nil, fmt.Errorf("mqtt: broker address %q: expected %s://host:port and nothing more", o.URL, u.Scheme)
	}
	if u.Port() == "" {
		u.Host = net.JoinHostPort(u.Hostname(), port)
	}
	if o.ClientID == "" || len(o.ClientID) > 128 || !topic.ValidName(o.ClientID) {
		return o, nil, fmt.Errorf("mqtt: client id %q: expected 1 to 128 plain characters", o.ClientID)
	}
	for _, m := range []*Message{o.Will, o.Farewell} {
		if m != nil && (!topic.ValidName(m.Topic) || m.QoS > 1) {
			return o, nil, fmt.Errorf("mqtt: will on topic %q with QoS %d: expected a topic name and QoS 0 or 1", m.Topic, m.QoS)
		}
	}
	def := func(d *time.Duration, v time.Duration) {
		if *d == 0 {
			*d = v
		}
	}
	def(&o.KeepAlive, DefaultKeepAlive)
	def(&o.Timeout, 10*time.Second)
	def(&o.MinBackoff, time.Second)
	def(&o.MaxBackoff, DefaultMaxBackoff)
	def(&o.StableAfter, o.MaxBackoff)
	if o.MaxPacket == 0 {
		o.MaxPacket = DefaultMaxPacket
	}
	if o.MaxTopics == 0 {
		o.MaxTopics = DefaultTopics
	}
	if o.KeepAlive < time.Second || o.Timeout < 0 || o.MinBackoff < 0 || o.MinBackoff > o.MaxBackoff || o.MaxBackoff > MaxBackoffLimit || o.MaxPacket < 128 || o.MaxTopics < 1 {
		return o, nil, errors.New("mqtt: keep-alive under 1 s, or a negative time, or a pause over 60 s, or a packet limit under 128 bytes")
	}
	if o.Login == nil && o.PasswordFile != "" {
		name := o.PasswordFile
		o.Login = func() (string, string, error) { return ReadPassword(name) }
	}
	if o.Clock == nil {
		start := time.Now()
		o.Clock = func() garden.Moment {
			now := time.Now()
			return garden.Moment{Mono: now.Sub(start), Wall: now}
		}
	}
	return o, u, nil
}
