package notify

import (
	"bufio"
	"crypto/tls"
	"encoding/base64"
	"encoding/pem"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// authority is a certificate for 127.0.0.1 and the file that vouches for it.
func authority(t *testing.T) (*tls.Config, string) {
	s := httptest.NewUnstartedServer(http.NotFoundHandler())
	s.StartTLS()
	defer s.Close()
	file := filepath.Join(t.TempDir(), "ca.pem")
	require.NoError(t, os.WriteFile(file, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: s.Certificate().Raw}), 0o600))
	return &tls.Config{Certificates: s.TLS.Certificates}, file
}

func secret(t *testing.T, text string) string {
	file := filepath.Join(t.TempDir(), "secret")
	require.NoError(t, os.WriteFile(file, []byte(text), 0o600))
	return file
}

// postman is a mail server (RFC 5321) that does what a test wants of it.
type postman struct {
	addr string
	tls  *tls.Config
	// startTLS offers it, from wants TLS from the first byte.
	startTLS, from bool
	user, password string // asked for where set
	answer         string // to a recipient, where it is no welcome
	deaf           bool   // accepts and says nothing

	mu      sync.Mutex
	letters []letter
	hidden  bool // every letter came over TLS
}

type letter struct {
	from, text string
	to         []string
}

func (p *postman) open(t *testing.T) *postman {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	p.addr, p.hidden = l.Addr().String(), true
	var all sync.WaitGroup
	var mu sync.Mutex
	conns := map[net.Conn]bool{}
	t.Cleanup(func() {
		l.Close()
		mu.Lock()
		for c := range conns {
			c.Close()
		}
		mu.Unlock()
		all.Wait()
	})
	all.Add(1)
	go func() {
		defer all.Done()
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			mu.Lock()
			conns[c] = true
			mu.Unlock()
			all.Add(1)
			go func() { defer all.Done(); defer c.Close(); p.talk(c) }()
		}
	}()
	return p
}

func (p *postman) talk(c net.Conn) {
	if p.deaf {
		_, _ = io.Copy(io.Discard, c)
		return
	}
	secure := p.from
	if p.from {
		c = tls.Server(c, p.tls)
	}
	_ = c.SetDeadline(time.Now().Add(20 * time.Second))
	r := bufio.NewReader(c)
	say := func(s string) { fmt.Fprintf(c, "%s\r\n", s) }
	say("220 postman.test ready")
	var in letter
	known := p.user == ""
	for {
		line, err := r.ReadString('\n')
		if err != nil {
			return
		}
		line = strings.TrimRight(line, "\r\n")
		verb, rest, _ := strings.Cut(line, " ")
		switch strings.ToUpper(verb) {
		case "EHLO", "HELO":
			say("250-postman.test")
			if p.startTLS && !secure {
				say("250-STARTTLS")
			}
			if p.user != "" {
				say("250-AUTH PLAIN")
			}
			say("250 8BITMIME")
		case "STARTTLS":
			say("220 go ahead")
			c = tls.Server(c, p.tls)
			r, secure = bufio.NewReader(c), true
		case "AUTH":
			_, arg, _ := strings.Cut(rest, " ")
			b, _ := base64.StdEncoding.DecodeString(arg)
			if known = string(b) == "\x00"+p.user+"\x00"+p.password; known {
				say("235 welcome")
			} else {
				say("535 no such account")
			}
		case "MAIL":
			if !known {
				say("530 who are you")
				continue
			}
			in = letter{from: rest}
			say("250 fine")
		case "RCPT":
			if p.answer != "" {
				say(p.answer)
				continue
			}
			in.to = append(in.to, rest)
			say("250 fine")
		case "DATA":
			say("354 go on")
			var b strings.Builder
			for {
				l, err := r.ReadString('\n')
				if err != nil {
					return
				}
				if l == ".\r\n" {
					break
				}
				b.WriteString(l)
			}
			in.text = b.String()
			p.mu.Lock()
			p.letters = append(p.letters, in)
			p.hidden = p.hidden && secure
			p.mu.Unlock()
			say("250 taken")
		case "QUIT":
			say("221 bye")
			return
		default:
			say("250 fine")
		}
	}
}

func (p *postman) got() []letter {
	p.mu.Lock()
	defer p.mu.Unlock()
	return append([]letter(nil), p.letters...)
}
