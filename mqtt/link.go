package mqtt

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"net/url"
	"sync"
	"sync/atomic"
	"time"

	"fabricpot/mqtt/topic"
)

var (
	// ErrOffline is returned by Send while there is no connection.
	ErrOffline = errors.New("mqtt: no connection to the broker")
	// ErrBusy is returned by Send when too much waits to be written.
	ErrBusy = errors.New("mqtt: the link is busy")
)

// Link is a connection to a broker that looks after itself.
type Link struct {
	o       Options
	url     *url.URL
	tls     *tls.Config
	inboxes []*Inbox
	out     *outbox
	sends   chan send

	cancel  context.CancelFunc
	quit    chan struct{}
	stop    sync.Once
	ended   chan struct{}
	started bool

	// epoch is odd while connected and grows by one with every change.
	epoch atomic.Uint64

	mu     sync.Mutex
	status Status
}

// send is a message that is for now or never.
type send struct {
	m     Message
	epoch uint64
	until time.Time
}

// Status is what a person should know about the link.
type Status struct {
	// Connected, and since when it is so or not.
	Connected bool
	Since     time.Time
	// LastError is why the last attempt or connection ended, in words.
	LastError string
	// Attempts counts connection attempts, Flaps those connections that were
	// lost before they were stable. Many flaps in a row with no network
	// trouble mean another client uses the same client id.
	Attempts, Flaps uint64
	// TooOld counts messages that were given to Send and became too old
	// before they could be written.
	TooOld uint64
	// Refused lists filters the broker did not let us subscribe to.
	Refused []string
}

// New checks the options and reads the certificate files. It connects nothing.
func New(o Options) (*Link, error) {
	o, u, err := o.check()
	if err != nil {
		return nil, err
	}
	l := &Link{o: o, url: u, out: newOutbox(o.MaxTopics), sends: make(chan send, sendDepth), quit: make(chan struct{}), ended: make(chan struct{})}
	l.status.Since = time.Now()
	if u.Scheme == "mqtts" {
		if l.tls, err = o.TLS.config(u.Hostname()); err != nil {
			return nil, err
		}
	} else if o.TLS != (TLS{}) {
		return nil, fmt.Errorf("mqtt: certificates are given but the address is %s, expected mqtts://", o.URL)
	}
	if o.Login != nil {
		if _, _, err := o.Login(); err != nil {
			return nil, err
		}
	}
	return l, nil
}

// Subscribe declares an inbox for a filter. It must be called before Start: a
// subscription is made anew on every connection, so all of them must be known.
func (l *Link) Subscribe(filter string, qos byte, depth int) (*Inbox, error) {
	if l.started {
		return nil, errors.New("mqtt: subscribe before start")
	}
	if !topic.ValidFilter(filter) || qos > 1 || depth < 1 {
		return nil, fmt.Errorf("mqtt: subscription to %q with QoS %d and room for %d: expected a topic filter, QoS 0 or 1, room for at least one", filter, qos, depth)
	}
	in := &Inbox{filter: filter, qos: qos, c: make(chan Message, depth)}
	l.inboxes = append(l.inboxes, in)
	return in, nil
}

// Start begins to connect, in the background and for as long as it takes. The
// context ends the link without a farewell; Close ends it politely.
func (l *Link) Start(ctx context.Context) {
	if l.started {
		return
	}
	l.started = true
	ctx, l.cancel = context.WithCancel(ctx)
	go l.run(ctx)
}

// Close sends what is unsent, says farewell and disconnects. It returns within
// a second after timeout whatever the network does.
func (l *Link) Close(timeout time.Duration) {
	if !l.started {
		return
	}
	l.stop.Do(func() { close(l.quit) })
	t := time.NewTimer(timeout)
	defer t.Stop()
	select {
	case <-l.ended:
	case <-t.C:
		// A write that hangs in the kernel is left to its own time limit.
		l.cancel()
		select {
		case <-l.ended:
		case <-time.After(time.Second):
		}
	}
	l.cancel()
}

// Post replaces the latest value of m's topic and returns at once. It is sent
// when there is a connection, and again on every new one while it is retained.
// An empty retained payload clears the topic. It fails only on a message that
// can never be sent and with ErrFull.
func (l *Link) Post(m Message) error {
	if err := l.fits(m); err != nil {
		return err
	}
	return l.out.post(m)
}

// Send writes m now or never: ErrOffline without a connection, ErrBusy when
// too much waits. A nil error means it was accepted; should the connection go
// down, or goodFor pass, before it is written, it is dropped. Send never waits.
func (l *Link) Send(m Message, goodFor time.Duration) error {
	if err := l.fits(m); err != nil {
		return err
	}
	if m.Retain {
		return fmt.Errorf("mqtt: %s: a retained message is no message for one moment", m.Topic)
	}
	epoch := l.epoch.Load()
	if epoch%2 == 0 {
		return ErrOffline
	}
	select {
	case l.sends <- send{m: m, epoch: epoch, until: time.Now().Add(goodFor)}:
		return nil
	default:
		return ErrBusy
	}
}

func (l *Link) fits(m Message) error {
	if !topic.ValidName(m.Topic) || m.QoS > 1 {
		return fmt.Errorf("mqtt: topic %q with QoS %d: expected a topic name and QoS 0 or 1", m.Topic, m.QoS)
	}
	if n := len(m.Topic) + len(m.Payload) + 9; n > l.o.MaxPacket {
		return fmt.Errorf("mqtt: %s: packet of %d bytes, allowed are %d", m.Topic, n, l.o.MaxPacket)
	}
	return nil
}

// Epoch changes with every connection and every loss of one; up tells which of
// the two the last change was. Who keeps state about the other end compares
// epochs to learn that it may have missed something.
func (l *Link) Epoch() (epoch uint64, up bool) {
	e := l.epoch.Load()
	return e, e%2 == 1
}

// Connected reports whether there is a connection with all subscriptions made.
func (l *Link) Connected() bool { return l.epoch.Load()%2 == 1 }

// Status returns a copy of the link's status.
func (l *Link) Status() Status {
	l.mu.Lock()
	defer l.mu.Unlock()
	s := l.status
	s.Refused = append([]string(nil), s.Refused...)
	return s
}
