package mqtt

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"math/rand/v2"
	"net"
	"net/url"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

var errClosing = errors.New("closing")

// run makes one connection after another until it is told to stop.
//
// The library can reconnect by itself, but then it carries unacknowledged
// publications from one connection to the next, and an order to open must not
// survive an outage. So every connection gets a client of its own, and what was
// in flight dies with it.
func (l *Link) run(ctx context.Context) {
	defer close(l.ended)
	pause := l.o.MinBackoff
	for {
		l.note(func(s *Status) { s.Attempts++ })
		lasted, err := l.session(ctx)
		l.note(func(s *Status) {
			if err != nil {
				s.LastError = err.Error()
			}
			if lasted > 0 && lasted < l.o.StableAfter && !errors.Is(err, errClosing) {
				s.Flaps++
			}
		})
		if errors.Is(err, errClosing) || ctx.Err() != nil {
			return
		}
		// Only a connection that proved stable earns a short pause. Two
		// clients with one id throw each other out at once and for ever; this
		// slows both down instead of hammering the broker.
		if lasted >= l.o.StableAfter {
			pause = l.o.MinBackoff
		}
		t := time.NewTimer(time.Duration(float64(pause) * (0.75 + 0.25*rand.Float64())))
		select {
		case <-ctx.Done():
		case <-l.quit:
		case <-t.C:
		}
		t.Stop()
		if stopping(l.quit) || ctx.Err() != nil {
			return
		}
		pause = min(2*pause, l.o.MaxBackoff)
	}
}

func stopping(c <-chan struct{}) bool {
	select {
	case <-c:
		return true
	default:
		return false
	}
}

// session is one connection from dial to loss. It returns how long it was up.
func (l *Link) session(ctx context.Context) (time.Duration, error) {
	lost := make(chan error, 1)
	o, err := l.pahoOptions(ctx, lost)
	if err != nil {
		return 0, err
	}
	c := paho.NewClient(o)
	if err := l.await(ctx, c.Connect(), lost); err != nil {
		c.Disconnect(0)
		return 0, fmt.Errorf("connect to %s: %w", l.url.Host, err)
	}
	defer c.Disconnect(250)
	if err := l.subscribe(ctx, c, lost); err != nil {
		return 0, err
	}
	// Anything still in the queue belongs to an earlier connection.
	l.drain()
	l.out.again()
	l.epoch.Add(1)
	up := time.Now()
	l.note(func(s *Status) { s.Connected, s.Since = true, up })
	err = l.pump(ctx, c, lost)
	l.epoch.Add(1)
	l.note(func(s *Status) { s.Connected, s.Since = false, time.Now() })
	l.drain()
	return max(1, time.Since(up)), err
}

func (l *Link) pahoOptions(ctx context.Context, lost chan<- error) (*paho.ClientOptions, error) {
	o := paho.NewClientOptions()
	o.AddBroker(l.url.String())
	o.SetClientID(l.o.ClientID)
	o.SetProtocolVersion(4)
	o.SetCleanSession(true)
	// One message after the other: of two words of a valve the last holds. The
	// handler below never waits, so nothing is held up by it.
	o.SetOrderMatters(true)
	o.SetAutoReconnect(false)
	o.SetConnectRetry(false)
	o.SetKeepAlive(l.o.KeepAlive)
	o.SetPingTimeout(min(l.o.Timeout, l.o.KeepAlive))
	o.SetConnectTimeout(l.o.Timeout)
	o.SetWriteTimeout(l.o.Timeout)
	o.SetMaxReconnectInterval(MaxBackoffLimit)
	if l.o.Login != nil {
		// Asked anew for each connection, so that a changed password needs
		// no restart.
		user, password, err := l.o.Login()
		if err != nil {
			return nil, err
		}
		o.SetUsername(user)
		o.SetPassword(password)
	}
	if w := l.o.Will; w != nil {
		o.SetBinaryWill(w.Topic, w.Payload, w.QoS, w.Retain)
	}
	o.SetConnectionLostHandler(func(_ paho.Client, err error) {
		select {
		case lost <- err:
		default:
		}
	})
	o.SetCustomOpenConnectionFn(func(_ *url.URL, _ paho.ClientOptions) (net.Conn, error) { return l.dial(ctx) })
	o.SetDefaultPublishHandler(func(_ paho.Client, m paho.Message) {
		msg := Message{Topic: m.Topic(), Payload: m.Payload(), QoS: m.Qos(), Retain: m.Retained(), Duplicate: m.Duplicate(), At: l.o.Clock()}
		for _, in := range l.inboxes {
			if in.wants(msg.Topic) {
				in.put(msg)
			}
		}
	})
	return o, nil
}

func (l *Link) dial(ctx context.Context) (net.Conn, error) {
	ctx, cancel := context.WithTimeout(ctx, l.o.Timeout)
	defer cancel()
	d := &net.Dialer{}
	var conn net.Conn
	var err error
	if l.tls != nil {
		conn, err = (&tls.Dialer{NetDialer: d, Config: l.tls}).DialContext(ctx, "tcp", l.url.Host)
	} else {
		conn, err = d.DialContext(ctx, "tcp", l.url.Host)
	}
	if err != nil {
		return nil, err
	}
	return &frameLimit{Conn: conn, max: l.o.MaxPacket}, nil
}

// await waits for a token, but never for ever.
func (l *Link) await(ctx context.Context, t paho.Token, lost <-chan error) error {
	timer := time.NewTimer(l.o.Timeout + time.Second)
	defer timer.Stop()
	select {
	case <-t.Done():
		return t.Error()
	case err := <-lost:
		return fmt.Errorf("connection lost: %w", err)
	case <-timer.C:
		return errors.New("no answer from the broker in time")
	case <-ctx.Done():
		return ctx.Err()
	}
}

// subscribe makes every subscription on the new connection. A filter the
// broker refuses is reported and the others stand.
func (l *Link) subscribe(ctx context.Context, c paho.Client, lost <-chan error) error {
	var refused []string
	for _, in := range l.inboxes {
		t := c.Subscribe(in.filter, in.qos, nil)
		err := l.await(ctx, t, lost)
		// 0x80 is "failure" in MQTT 3.1.1, section 3.9.3.
		if st, ok := t.(*paho.SubscribeToken); ok && st.Result()[in.filter] == 0x80 {
			refused = append(refused, in.filter)
			continue
		}
		if err != nil {
			return fmt.Errorf("subscribe to %s: %w", in.filter, err)
		}
	}
	l.note(func(s *Status) { s.Refused = refused })
	return nil
}

func (l *Link) drain() {
	for {
		select {
		case <-l.sends:
		default:
			return
		}
	}
}

func (l *Link) note(f func(*Status)) {
	l.mu.Lock()
	defer l.mu.Unlock()
	f(&l.status)
}
