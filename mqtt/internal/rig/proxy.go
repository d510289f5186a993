package rig

import (
	"net"
	"runtime"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// Proxy is a line to a broker that can be stalled, slowed and cut.
type Proxy struct {
	l      net.Listener
	to     string
	mode   atomic.Int32
	tries  atomic.Int32
	mu     sync.Mutex
	conns  []net.Conn
	closed chan struct{}
}

// Modes of a proxy.
const (
	Pass  = int32(iota)
	Stall // half-open: bytes are taken and go nowhere, nothing is closed
	Shred // every byte in a segment of its own, so every packet is cut in two
	Deny  // connections are closed as soon as they are made
)

// NewProxy starts a proxy to addr.
func NewProxy(t testing.TB, addr string) *Proxy {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	p := &Proxy{l: l, to: addr, closed: make(chan struct{})}
	go p.serve()
	t.Cleanup(func() { close(p.closed); _ = l.Close(); p.Cut() })
	return p
}

// Addr is where to connect.
func (p *Proxy) Addr() string { return p.l.Addr().String() }

// Set changes what happens to bytes from now on.
func (p *Proxy) Set(mode int32) { p.mode.Store(mode) }

// Tries counts connections made to the proxy.
func (p *Proxy) Tries() int { return int(p.tries.Load()) }

// Cut closes every connection at once.
func (p *Proxy) Cut() {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, c := range p.conns {
		_ = c.Close()
	}
	p.conns = nil
}

func (p *Proxy) serve() {
	for {
		in, err := p.l.Accept()
		if err != nil {
			return
		}
		p.tries.Add(1)
		if p.mode.Load() == Deny {
			_ = in.Close()
			continue
		}
		out, err := net.Dial("tcp", p.to)
		if err != nil {
			_ = in.Close()
			continue
		}
		p.mu.Lock()
		p.conns = append(p.conns, in, out)
		p.mu.Unlock()
		go p.carry(in, out)
		go p.carry(out, in)
	}
}

func (p *Proxy) carry(from, to net.Conn) {
	defer from.Close()
	defer to.Close()
	buf := make([]byte, 32<<10)
	for {
		n, err := from.Read(buf)
		for b := buf[:n]; len(b) > 0; {
			switch p.mode.Load() {
			case Stall:
				select {
				case <-p.closed:
					return
				case <-time.After(5 * time.Millisecond):
				}
				continue // held back, and let through if the mode changes
			case Shred:
				if _, err := to.Write(b[:1]); err != nil {
					return
				}
				b = b[1:]
				runtime.Gosched()
			default:
				if _, err := to.Write(b); err != nil {
					return
				}
				b = nil
			}
		}
		if err != nil {
			return
		}
	}
}
