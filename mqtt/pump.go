package mqtt

import (
	"context"
	"errors"
	"fmt"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

// flying is a publication the broker has not confirmed yet.
type flying struct {
	t       paho.Token
	s       *slot // nil for what came through Send
	version uint64
	at      time.Time
}

// pump writes what is to be written until the connection is lost or the link
// is closed. At most inFlight publications are unconfirmed at a time.
func (l *Link) pump(ctx context.Context, c paho.Client, lost <-chan error) error {
	var air []flying
	// What dies with the connection goes back to the outbox, where it is a
	// latest value; what came through Send dies.
	defer func() {
		for _, f := range air {
			if f.s != nil {
				l.out.done(f.s, f.version, settled(f.t) && f.t.Error() == nil)
			}
		}
	}()
	var first []Message
	if l.o.Greeting != nil {
		first = l.o.Greeting()
	}
	for {
		if !c.IsConnectionOpen() {
			return l.why(lost)
		}
		var err error
		if air, err = l.land(ctx, air, lost, inFlight); err != nil {
			return err
		}
		if len(first) > 0 {
			if m := first[0]; l.fits(m) == nil {
				air = append(air, flying{t: publish(c, m), at: time.Now()})
			}
			first = first[1:]
			continue
		}
		select {
		case s := <-l.sends:
			air = l.write(c, air, s)
			continue
		default:
		}
		if s, m, version := l.out.next(); s != nil {
			air = append(air, flying{t: publish(c, m), s: s, version: version, at: time.Now()})
			continue
		}
		if air, err = l.idle(ctx, c, air, lost); err != nil {
			return err
		}
	}
}

// idle waits, with nothing to write, for whatever comes first.
func (l *Link) idle(ctx context.Context, c paho.Client, air []flying, lost <-chan error) ([]flying, error) {
	var landed <-chan struct{}
	var late <-chan time.Time
	if len(air) > 0 {
		landed = air[0].t.Done()
		t := time.NewTimer(time.Until(air[0].at.Add(l.o.Timeout)))
		defer t.Stop()
		late = t.C
	}
	select {
	case <-ctx.Done():
		return air, ctx.Err()
	case err := <-lost:
		return air, fmt.Errorf("connection lost: %w", err)
	case <-l.quit:
		return nil, l.farewell(ctx, c, air, lost)
	case s := <-l.sends:
		return l.write(c, air, s), nil
	case <-late:
		return air, errors.New("the broker does not confirm what is published")
	case <-l.out.wake:
	case <-landed:
	}
	return air, nil
}

// write publishes what came through Send, unless its moment is over.
func (l *Link) write(c paho.Client, air []flying, s send) []flying {
	if s.epoch != l.epoch.Load() || time.Now().After(s.until) {
		l.note(func(st *Status) { st.TooOld++ })
		return air
	}
	return append(air, flying{t: publish(c, s.m), at: time.Now()})
}

func publish(c paho.Client, m Message) paho.Token {
	return c.Publish(m.Topic, m.QoS, m.Retain, m.Payload)
}

// land removes what is confirmed, and waits while there is no room for more.
func (l *Link) land(ctx context.Context, air []flying, lost <-chan error, room int) ([]flying, error) {
	for len(air) > 0 {
		f := air[0]
		if !settled(f.t) {
			if len(air) < room {
				return air, nil
			}
			if err := l.await(ctx, f.t, lost); err != nil {
				return air, fmt.Errorf("publish: %w", err)
			}
		}
		if f.s != nil {
			l.out.done(f.s, f.version, f.t.Error() == nil)
		}
		air = air[1:]
		if f.t.Error() != nil {
			return air, fmt.Errorf("publish: %w", f.t.Error())
		}
	}
	return nil, nil
}

// settled reports whether the token is done without waiting for it.
func settled(t paho.Token) bool {
	select {
	case <-t.Done():
		return true
	default:
		return false
	}
}

// farewell writes what is left and the last word. Close bounds its time by
// cancelling ctx.
func (l *Link) farewell(ctx context.Context, c paho.Client, air []flying, lost <-chan error) error {
	for {
		var err error
		if air, err = l.land(ctx, air, lost, inFlight); err != nil {
			return errClosing
		}
		s, m, version := l.out.next()
		if s == nil {
			break
		}
		air = append(air, flying{t: publish(c, m), s: s, version: version, at: time.Now()})
	}
	if w := l.o.Farewell; w != nil {
		air = append(air, flying{t: publish(c, *w), at: time.Now()})
	}
	_, _ = l.land(ctx, air, lost, 1)
	return errClosing
}

// why waits a moment for the reason of a loss that was noticed by its state.
func (l *Link) why(lost <-chan error) error {
	select {
	case err := <-lost:
		return fmt.Errorf("connection lost: %w", err)
	case <-time.After(time.Second):
		return errors.New("connection lost")
	}
}
