package rig

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// Certs are files of a small certificate authority made for one test.
type Certs struct{ CA, Cert, Key, ClientCert, ClientKey, OtherCA string }

// NewCerts makes an authority, a server certificate for 127.0.0.1, a client
// certificate, and an authority that signed none of them.
func NewCerts(t testing.TB) Certs {
	dir := t.TempDir()
	serial := int64(0)
	make1 := func(name string, parent *x509.Certificate, signer *ecdsa.PrivateKey, use x509.ExtKeyUsage) (*x509.Certificate, *ecdsa.PrivateKey, string, string) {
		serial++
		key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
		require.NoError(t, err)
		c := &x509.Certificate{
			SerialNumber: big.NewInt(serial), Subject: pkix.Name{CommonName: name},
			NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
			KeyUsage: x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{use}, IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)},
		}
		if parent == nil {
			c.IsCA, c.BasicConstraintsValid, c.KeyUsage, c.ExtKeyUsage = true, true, x509.KeyUsageCertSign, nil
			parent, signer = c, key
		}
		der, err := x509.CreateCertificate(rand.Reader, c, parent, &key.PublicKey, signer)
		require.NoError(t, err)
		c, err = x509.ParseCertificate(der)
		require.NoError(t, err)
		kder, err := x509.MarshalPKCS8PrivateKey(key)
		require.NoError(t, err)
		cf, kf := filepath.Join(dir, name+".pem"), filepath.Join(dir, name+".key")
		require.NoError(t, os.WriteFile(cf, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}), 0o600))
		require.NoError(t, os.WriteFile(kf, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: kder}), 0o600))
		return c, key, cf, kf
	}
	var c Certs
	ca, caKey, caFile, _ := make1("ca", nil, nil, 0)
	c.CA = caFile
	_, _, c.Cert, c.Key = make1("server", ca, caKey, x509.ExtKeyUsageServerAuth)
	_, _, c.ClientCert, c.ClientKey = make1("client", ca, caKey, x509.ExtKeyUsageClientAuth)
	_, _, c.OtherCA, _ = make1("other", nil, nil, 0)
	return c
}
