package page

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"net/http"
	"strconv"
	"time"
)

// DefaultListen is where the page is where nothing else was asked for.
const DefaultListen = "127.0.0.1:8077"

// Door is where the page can be reached.
type Door struct {
	// Addr is a literal IP address or localhost with a port, or ":port" for
	// every address.
	Addr string
	// CertFile and KeyFile make it TLS; both or none must be given.
	CertFile, KeyFile string
	// Secrets are the page's; without a password only loopback is open.
	Secrets Secrets
}

// Check refuses a door that must not be opened, without opening it: whoever
// reaches the page can open valves.
func (d Door) Check() error {
	host, _, err := net.SplitHostPort(d.Addr)
	if err != nil {
		return fmt.Errorf("page: listen on %q: %w; expected an address such as %s", d.Addr, err, DefaultListen)
	}
	if !d.Secrets.Set() && !localName(host) {
		return fmt.Errorf("page: listen on %q: others could reach it and there is no password; set one with: gateway password, or listen on %s", d.Addr, DefaultListen)
	}
	if (d.CertFile == "") != (d.KeyFile == "") {
		return errors.New("page: a certificate and its key belong together; give both or none")
	}
	return nil
}

// Listen opens the door.
func (d Door) Listen() (net.Listener, error) {
	if err := d.Check(); err != nil {
		return nil, err
	}
	var conf *tls.Config
	if d.CertFile != "" {
		pair, err := tls.LoadX509KeyPair(d.CertFile, d.KeyFile)
		if err != nil {
			return nil, fmt.Errorf("page: certificate: %w", err)
		}
		conf = &tls.Config{Certificates: []tls.Certificate{pair}, MinVersion: tls.VersionTLS12, NextProtos: []string{"h2", "http/1.1"}}
	}
	l, err := net.Listen("tcp", d.Addr)
	if err != nil {
		return nil, fmt.Errorf("page: %w; name another address with --listen, or none with --no-page", err)
	}
	l = &bounded{Listener: l, room: make(chan struct{}, maxConns)}
	if conf != nil {
		l = tls.NewListener(l, conf)
	}
	return l, nil
}

// knockEvery is how often a door that did not open is tried again.
const knockEvery = 10 * time.Second

// Keep serves at the door until the context ends. A door that can't be opened
// yet, as when the network comes up late, is tried again: a page must never
// keep the garden from being watered. tell gets a line for a person.
func (p *Page) Keep(ctx context.Context, d Door, tell func(string)) {
	told := ""
	for {
		l, err := d.Listen()
		if err == nil {
			told = ""
			tell("page: " + d.url(l.Addr()))
			err = p.Serve(ctx, l)
		}
		if ctx.Err() != nil {
			return
		}
		if err != nil && err.Error() != told {
			told = err.Error()
			tell(told + "; the garden is kept without it, and it is tried again")
		}
		select {
		case <-ctx.Done():
			return
		case <-time.After(knockEvery):
		}
	}
}

// url is where a browser finds the page: each address of the machine that others may
// know where it listens on all of them.
func (d Door) url(at net.Addr) string {
	scheme := "http://"
	if d.CertFile != "" {
		scheme = "https://"
	}
	tcp, ok := at.(*net.TCPAddr)
	if !ok || !tcp.IP.IsUnspecified() {
		return scheme + at.String() + "/"
	}
	port := strconv.Itoa(tcp.Port)
	out := scheme + net.JoinHostPort("localhost", port) + "/ on this machine"
	own, err := net.InterfaceAddrs()
	if err != nil {
		own = nil
	}
	for _, a := range own {
		if n, ok := a.(*net.IPNet); ok && n.IP.IsGlobalUnicast() {
			out += ", " + scheme + net.JoinHostPort(n.IP.String(), port) + "/"
		}
	}
	return out
}

// Serve answers on l until the context ends; then it gives open answers a
// moment and closes the rest.
func (p *Page) Serve(ctx context.Context, l net.Listener) error {
	srv := NewServer(p)
	srv.ReadTimeout, srv.WriteTimeout = 15*time.Second, 30*time.Second
	srv.BaseContext = func(net.Listener) context.Context { return ctx }
	failed := make(chan error, 1)
	go func() { failed <- srv.Serve(l) }()
	select {
	case err := <-failed:
		return fmt.Errorf("page: %w", err)
	case <-ctx.Done():
	}
	patience, cancel := context.WithTimeout(context.Background(), 2*time.Second)
	defer cancel()
	err := srv.Shutdown(patience)
	if err != nil {
		err = srv.Close()
	}
	<-failed
	if err != nil && !errors.Is(err, http.ErrServerClosed) {
		return fmt.Errorf("page: %w", err)
	}
	return nil
}

// maxConns bounds the open connections, and with them memory and goroutines.
const maxConns = 256

// bounded lets only so many connections be open at once; more wait unaccepted.
type bounded struct {
	net.Listener
	room chan struct{}
}

func (b *bounded) Accept() (net.Conn, error) {
	b.room <- struct{}{}
	c, err := b.Listener.Accept()
	if err != nil {
		<-b.room
		return nil, err
	}
	return &boundedConn{Conn: c, room: b.room, open: make(chan struct{}, 1)}, nil
}

type boundedConn struct {
	net.Conn
	room chan struct{}
	open chan struct{}
}

func (c *boundedConn) Close() error {
	err := c.Conn.Close()
	select {
	case c.open <- struct{}{}: // the first Close gives the place back
		<-c.room
	default:
	}
	return err
}
