package page

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"net/http"
	"time"
)

// DefaultListen is where the page is where nothing else was asked for.
const DefaultListen = "127.0.0.1:8077"

// Listen opens the page's address, which must be a literal IP address or
// localhost with a port, or ":port" for every address. Without a password it
// refuses everything but loopback: whoever reaches the page can open valves.
// certFile and keyFile make it TLS; both or none must be given.
func Listen(addr string, s Secrets, certFile, keyFile string) (net.Listener, error) {
	host, _, err := net.SplitHostPort(addr)
	if err != nil {
		return nil, fmt.Errorf("page: listen on %q: %w; expected an address such as %s", addr, err, DefaultListen)
	}
	if !s.Set() && !localName(host) {
		return nil, fmt.Errorf("page: listen on %q: others could reach it and there is no password; set one with: gateway password, or listen on %s", addr, DefaultListen)
	}
	if (certFile == "") != (keyFile == "") {
		return nil, errors.New("page: a certificate and its key belong together; give both or none")
	}
	var conf *tls.Config
	if certFile != "" {
		pair, err := tls.LoadX509KeyPair(certFile, keyFile)
		if err != nil {
			return nil, fmt.Errorf("page: certificate: %w", err)
		}
		conf = &tls.Config{Certificates: []tls.Certificate{pair}, MinVersion: tls.VersionTLS12, NextProtos: []string{"h2", "http/1.1"}}
	}
	l, err := net.Listen("tcp", addr)
	if err != nil {
		return nil, fmt.Errorf("page: %w; name another address with --listen, or none with --no-page", err)
	}
	l = &bounded{Listener: l, room: make(chan struct{}, maxConns)}
	if conf != nil {
		l = tls.NewListener(l, conf)
	}
	return l, nil
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
