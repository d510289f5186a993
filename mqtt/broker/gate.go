package broker

import (
	"net"
	"sync"
	"time"
)

// gate bounds what can be had without logging in. The library waits for a
// CONNECT for as long as it takes, so each connection starts with a deadline,
// which the library replaces by the keep-alive once the client has connected.
// And it counts clients only when they have connected, so the gate counts
// connections.
type gate struct {
	net.Listener
	within time.Duration
	room   chan struct{}

	mu     sync.Mutex
	closed bool
	open   map[*counted]struct{}
}

func newGate(l net.Listener, within time.Duration, room int) *gate {
	return &gate{Listener: l, within: within, room: make(chan struct{}, room), open: make(map[*counted]struct{})}
}

func (g *gate) Accept() (net.Conn, error) {
	for {
		c, err := g.Listener.Accept()
		if err != nil {
			return nil, err
		}
		select {
		case g.room <- struct{}{}:
		default:
			_ = c.Close()
			continue
		}
		_ = c.SetDeadline(time.Now().Add(g.within))
		out := &counted{Conn: c, gate: g}
		g.mu.Lock()
		closed := g.closed
		g.open[out] = struct{}{}
		g.mu.Unlock()
		if closed {
			_ = out.Close()
			return nil, net.ErrClosed
		}
		return out, nil
	}
}

// Close ends whatever is still connected, too. The library closes the clients it
// knows of; it lets fall whoever is only being let in, and that one would wait
// for an answer until its own patience ends.
func (g *gate) Close() error {
	err := g.Listener.Close()
	g.mu.Lock()
	g.closed = true
	var left []*counted
	for c := range g.open {
		left = append(left, c)
	}
	g.mu.Unlock()
	for _, c := range left {
		_ = c.Close()
	}
	return err
}

// counted gives its place back when it is closed.
type counted struct {
	net.Conn
	once sync.Once
	gate *gate
}

func (c *counted) Close() error {
	c.once.Do(func() {
		c.gate.mu.Lock()
		delete(c.gate.open, c)
		c.gate.mu.Unlock()
		<-c.gate.room
	})
	return c.Conn.Close()
}
