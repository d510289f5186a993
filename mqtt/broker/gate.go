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
		return &counted{Conn: c, leave: func() { <-g.room }}, nil
	}
}

// counted gives its place back when it is closed.
type counted struct {
	net.Conn
	once  sync.Once
	leave func()
}

func (c *counted) Close() error {
	c.once.Do(c.leave)
	return c.Conn.Close()
}
