package notify

import (
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"
	"unicode"
)

// readSecret reads a file of so many lines that nobody but its owner may read,
// such as a header's value or user and password. Its content is in no error.
func readSecret(name string, lines int) ([]string, error) {
	info, err := os.Stat(name)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, fmt.Errorf("secret: there is no file %s; write it, %d line(s) of text, and run: chmod 600 %s", name, lines, name)
	case err != nil:
		return nil, fmt.Errorf("secret: %w", err)
	case !info.Mode().IsRegular():
		return nil, fmt.Errorf("secret: %s is no file", name)
	}
	if mode := info.Mode().Perm(); mode&0o077 != 0 {
		return nil, fmt.Errorf("secret: %s has mode %04o and others may read it; run: chmod 600 %s", name, mode, name)
	}
	if info.Size() > 4096 {
		return nil, fmt.Errorf("secret: %s is longer than 4096 bytes: expected %d lines of text", name, lines)
	}
	b, err := os.ReadFile(name)
	if err != nil {
		return nil, fmt.Errorf("secret: %w", err)
	}
	out := strings.Split(strings.TrimRight(strings.ReplaceAll(string(b), "\r\n", "\n"), "\n"), "\n")
	if len(out) != lines {
		return nil, fmt.Errorf("secret: %s has %d lines, expected %d", name, len(out), lines)
	}
	for _, l := range out {
		if l == "" || strings.IndexFunc(l, unicode.IsControl) >= 0 {
			return nil, fmt.Errorf("secret: %s has an empty line or one with control characters, expected %d lines of text", name, lines)
		}
	}
	return out, nil
}

// trust is how a server is believed: by the system's authorities, or by those of
// a PEM file.
func trust(server, caFile string) (*tls.Config, error) {
	c := &tls.Config{MinVersion: tls.VersionTLS12, ServerName: server}
	if caFile == "" {
		return c, nil
	}
	pem, err := os.ReadFile(caFile)
	if err != nil {
		return nil, fmt.Errorf("authority: %w", err)
	}
	c.RootCAs = x509.NewCertPool()
	if !c.RootCAs.AppendCertsFromPEM(pem) {
		return nil, fmt.Errorf("authority: %s holds no certificate in PEM", caFile)
	}
	return c, nil
}

// errForGood wraps what a second try would not mend.
var errForGood = errors.New("refused for good")
