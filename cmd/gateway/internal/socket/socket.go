// Package socket is the control socket's lock: a gateway holds it from before it
// touches a pin, and a second one is refused.
package socket

import (
	"fmt"
	"io/fs"
	"net"
	"os"
	"path/filepath"
	"time"
)

// Listen opens the control socket with mode 0600. Where another gateway
// answers it refuses: two programs must never share a terrace's valves. A
// socket that nobody answers on was left by a crash and is replaced.
func Listen(path string) (net.Listener, error) {
	dir := filepath.Dir(path)
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, fmt.Errorf("control socket: %w", err)
	}
	if info, err := os.Lstat(dir); err != nil || !info.IsDir() {
		return nil, fmt.Errorf("control socket: %s is not a folder; name another path with --socket", dir)
	}
	if conn, err := net.DialTimeout("unix", path, time.Second); err == nil {
		conn.Close()
		return nil, fmt.Errorf("another gateway answers at %s; stop it first, or give this one a --socket of its own", path)
	}
	if info, err := os.Lstat(path); err == nil {
		if info.Mode()&fs.ModeSocket == 0 {
			return nil, fmt.Errorf("control socket: %s exists and is not a socket; move it away or name another path with --socket", path)
		}
		if err := os.Remove(path); err != nil {
			return nil, fmt.Errorf("control socket: %w", err)
		}
	}
	l, err := net.Listen("unix", path)
	if err != nil {
		return nil, fmt.Errorf("control socket: %w", err)
	}
	if err := os.Chmod(path, 0o600); err != nil {
		l.Close()
		return nil, fmt.Errorf("control socket: %w", err)
	}
	return l, nil
}
