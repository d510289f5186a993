package mqtt

import (
	"bytes"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"os"
	"unicode/utf8"
)

// TLS says whom to trust and who we are. There is no switch to trust anybody.
type TLS struct {
	// CAFile holds the certificates to trust, PEM. Empty: the system's.
	CAFile string
	// CertFile and KeyFile are our own certificate and its key, PEM, for
	// brokers that ask for one. Both or neither.
	CertFile, KeyFile string
	// ServerName is the name expected in the broker's certificate. Empty: the
	// host of the address.
	ServerName string
}

// config reads the files and builds the library's form of t.
func (t TLS) config(host string) (*tls.Config, error) {
	c := &tls.Config{MinVersion: tls.VersionTLS12, ServerName: t.ServerName}
	if c.ServerName == "" {
		c.ServerName = host
	}
	if t.CAFile != "" {
		pem, err := os.ReadFile(t.CAFile)
		if err != nil {
			return nil, fmt.Errorf("mqtt: certificates to trust: %w", err)
		}
		c.RootCAs = x509.NewCertPool()
		if !c.RootCAs.AppendCertsFromPEM(pem) {
			return nil, fmt.Errorf("mqtt: %s holds no certificate, expected PEM", t.CAFile)
		}
	}
	if (t.CertFile == "") != (t.KeyFile == "") {
		return nil, errors.New("mqtt: a client certificate needs its key and the key its certificate")
	}
	if t.CertFile != "" {
		if err := private(t.KeyFile); err != nil {
			return nil, err
		}
		pair, err := tls.LoadX509KeyPair(t.CertFile, t.KeyFile)
		if err != nil {
			return nil, fmt.Errorf("mqtt: client certificate: %w", err)
		}
		c.Certificates = []tls.Certificate{pair}
	}
	return c, nil
}

// private refuses files that others could read or replace.
func private(name string) error {
	info, err := os.Stat(name)
	if err != nil {
		return fmt.Errorf("mqtt: secret: %w", err)
	}
	if mode := info.Mode().Perm(); mode&0o077 != 0 {
		return fmt.Errorf("mqtt: %s has mode %04o: others have access to a secret; run chmod 600 on it", name, mode)
	}
	return nil
}

// ReadPassword reads a file of two lines, user and password. It refuses files
// that others can read.
func ReadPassword(name string) (user, password string, err error) {
	if err := private(name); err != nil {
		return "", "", err
	}
	b, err := os.ReadFile(name)
	if err != nil {
		return "", "", fmt.Errorf("mqtt: secret: %w", err)
	}
	if len(b) > 4096 || !utf8.Valid(b) {
		return "", "", fmt.Errorf("mqtt: %s is no short text file, expected two lines: user, password", name)
	}
	lines := bytes.Split(bytes.TrimRight(b, "\r\n"), []byte("\n"))
	if len(lines) != 2 {
		return "", "", fmt.Errorf("mqtt: %s has %d lines, expected two: user, password", name, len(lines))
	}
	user, password = string(bytes.TrimRight(lines[0], "\r")), string(bytes.TrimRight(lines[1], "\r"))
	if user == "" || password == "" {
		return "", "", fmt.Errorf("mqtt: %s has an empty line, expected two: user, password", name)
	}
	return user, password, nil
}
