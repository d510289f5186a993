package season

import (
	"net"
	"os"
	"path/filepath"
	"strings"

	"fabricpot/cmd/gateway/internal/socket"
)

// controlLock is the control socket of a campaign's gateway, taken as the program
// takes it before it touches a pin: a real one, since what refuses a second
// gateway is the first that answers there. Only scripts with a second gateway have
// one; the methods of nil do nothing.
type controlLock struct {
	path string
	held net.Listener // nil where none is
	none bool         // a trick: it is never held
}

func newControlLock(s *Script, none bool) (*controlLock, error) {
	for _, m := range s.Mishaps {
		if m.Kind != secondGateway {
			continue
		}
		dir, err := os.MkdirTemp("", "campaign-")
		if err != nil {
			return nil, err
		}
		l := &controlLock{path: filepath.Join(dir, "s"), none: none}
		return l, l.take()
	}
	return nil, nil
}

// take is a start's.
func (l *controlLock) take() (err error) {
	if l == nil || l.none {
		return nil
	}
	l.held, err = socket.Listen(l.path)
	return err
}

// die leaves the socket in its folder, as a kill does: nobody answers there.
func (l *controlLock) die() {
	if l == nil || l.held == nil {
		return
	}
	if u, ok := l.held.(*net.UnixListener); ok {
		u.SetUnlinkOnClose(false)
	}
	_ = l.held.Close() // the kernel does it for the dead
	l.held = nil
}

// intrude starts as a second gateway does.
func (l *controlLock) intrude(w *witness) {
	if l == nil {
		return
	}
	second, err := socket.Listen(l.path)
	switch {
	case err == nil:
		_ = second.Close()
		w.fault("a second gateway was given the control socket")
	case !strings.Contains(err.Error(), "another gateway answers"):
		w.fault("a second gateway was refused the control socket for another reason: %v", err)
	}
}

func (l *controlLock) remove() error {
	if l == nil {
		return nil
	}
	l.die()
	return os.RemoveAll(filepath.Dir(l.path))
}
