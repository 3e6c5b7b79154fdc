package daemon

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"math/big"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// certificate writes one for 127.0.0.1 and its key, and gives whoever trusts it.
func certificate(t *testing.T, dir string) *x509.CertPool {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	form := &x509.Certificate{SerialNumber: big.NewInt(1), NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true}
	der, err := x509.CreateCertificate(rand.Reader, form, form, &key.PublicKey, key)
	if err != nil {
		t.Fatal(err)
	}
	secret, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		t.Fatal(err)
	}
	for name, block := range map[string]*pem.Block{"shop.crt": {Type: "CERTIFICATE", Bytes: der}, "shop.key": {Type: "PRIVATE KEY", Bytes: secret}} {
		if err := os.WriteFile(filepath.Join(dir, name), pem.EncodeToMemory(block), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	trusted := x509.NewCertPool()
	trusted.AppendCertsFromPEM(pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}))
	return trusted
}

func TestPages_OverTLS(t *testing.T) {
	_, port := newWrench(t)
	dir := t.TempDir()
	trusted := certificate(t, dir)
	tlsLine := "tls: {certificate: " + filepath.Join(dir, "shop.crt") + ", key: " + filepath.Join(dir, "shop.key") + "}\nlisten:"
	d := start(t, t.TempDir(), strings.Replace(shopFile(port), "listen:", tlsLine, 1))
	committed(t, d)
	code, err := d.pages.SetUpCode()
	if err != nil {
		t.Fatal(err)
	}
	c := &http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: trusted}, DisableKeepAlives: true},
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	resp, err := c.PostForm("https://"+d.Addr()+"/set-up", url.Values{"code": {code}, "name": {"Ada Holt"}, "password": {password}})
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	cookies := resp.Cookies()
	if resp.StatusCode != 303 || len(cookies) != 1 {
		t.Fatalf("got %d and %v, want to be signed in", resp.StatusCode, cookies)
	}
	if k := cookies[0]; k.Name != "__Host-witnessmark" || !k.Secure || !k.HttpOnly || k.SameSite != http.SameSiteStrictMode {
		t.Errorf("got %+v, want a cookie for this host over TLS alone", k)
	}
	if got := resp.Header.Get("Strict-Transport-Security"); got == "" {
		t.Error("got no word that TLS is to be used for ever")
	}
	if code, body := get(t, d, "/sign-in"); code != 400 || !strings.Contains(body, "HTTPS") {
		t.Errorf("got %d %q without TLS, want a refusal", code, body)
	}
}

// Beyond the machine itself nothing is served unencrypted, unless the shop says so in so many words.
func TestPages_PlainOnlyAtHome(t *testing.T) {
	_, port := newWrench(t)
	everywhere := strings.Replace(shopFile(port), "127.0.0.1:0", "0.0.0.0:0", 1)
	o, _, err := options(t.TempDir(), everywhere, t.Output())
	if err != nil {
		t.Fatal(err)
	}
	d, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	if err := d.Start(t.Context()); err == nil || !strings.Contains(err.Error(), "unencrypted over the network") {
		stopDaemon(t, d)
		t.Fatalf("got %v, want a refusal", err)
	}
	d = start(t, t.TempDir(), strings.Replace(everywhere, "listen:", "plain_http: passwords may be read on this network\nlisten:", 1))
	if d.Addr() == "" {
		t.Error("got no address, want it served as the shop asks")
	}
}
