package doctor

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"encoding/pem"
	"math/big"
	"os"
	"path/filepath"
	"testing"
	"time"
)

// certified writes a certificate that ends at a time, with its key.
func certified(t *testing.T, end time.Time) (certificate, key string) {
	t.Helper()
	private, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	must(t, err)
	plan := &x509.Certificate{SerialNumber: big.NewInt(1), NotBefore: end.AddDate(-1, 0, 0), NotAfter: end}
	signed, err := x509.CreateCertificate(rand.Reader, plan, plan, &private.PublicKey, private)
	must(t, err)
	secret, err := x509.MarshalPKCS8PrivateKey(private)
	must(t, err)
	dir := t.TempDir()
	certificate, key = filepath.Join(dir, "shop.crt"), filepath.Join(dir, "shop.key")
	must(t, os.WriteFile(certificate, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: signed}), 0o600))
	must(t, os.WriteFile(key, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: secret}), 0o600))
	return certificate, key
}

func TestCertificate(t *testing.T) {
	end := time.Date(2027, 3, 1, 12, 0, 0, 0, time.UTC)
	certificate, key := certified(t, end)
	for name, tc := range map[string]struct {
		left time.Duration
		want State
	}{
		"holds for long":   {31 * 24 * time.Hour, OK},
		"is due":           {29 * 24 * time.Hour, Look},
		"is over":          {-time.Second, NotOK},
		"is just over now": {0, NotOK},
	} {
		t.Run(name, func(t *testing.T) {
			b := sound(t)
			b.Config.Certificate, b.Config.Key = certificate, key
			b.Clock = func() time.Time { return end.Add(-tc.left) }
			is(t, b.certificate(), tc.want, "holds until 2027-03-01")
		})
	}
	t.Run("with the key of another", func(t *testing.T) {
		b := sound(t)
		_, other := certified(t, end)
		b.Config.Certificate, b.Config.Key = certificate, other
		is(t, b.certificate(), NotOK, "private key does not match")
	})
	t.Run("none", func(t *testing.T) {
		b := sound(t)
		is(t, b.certificate(), OK, "on this computer only")
		b.Config.Listen = "0.0.0.0:7680"
		is(t, b.certificate(), NotOK, "over the network")
		b.Config.PlainHTTP = true
		is(t, b.certificate(), Look, "as the configuration accepts")
	})
}
