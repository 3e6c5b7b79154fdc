package control

import (
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/url"
	"strings"
	"syscall"
)

// NewRemote makes a client of the pages at a URL, such as https://shop.lan:7680, that proves itself by a token. A token is
// sent unencrypted to this machine itself only.
func NewRemote(server, token string) (*Client, error) {
	u, err := url.Parse(server)
	switch {
	case err != nil || u.Host == "" || u.Scheme != "http" && u.Scheme != "https" || strings.Trim(u.Path, "/") != "" || u.RawQuery != "" || u.User != nil:
		return nil, Malformed(fmt.Sprintf("%q is no address of a shop's pages: write it like https://shop.lan:7680", server))
	case u.Scheme == "http" && !loopback(u.Hostname()):
		return nil, Malformed("a token is not sent unencrypted over the network: use the https address of the pages")
	case token == "" || strings.ContainsFunc(token, func(r rune) bool { return r <= ' ' || r > '~' }):
		return nil, Malformed("the token file must hold one token and nothing else: write what `witnessmark token give` said into it")
	}
	transport := http.DefaultTransport.(*http.Transport).Clone()
	transport.TLSClientConfig = &tls.Config{MinVersion: tls.VersionTLS12}
	return &Client{base: u.Scheme + "://" + u.Host, where: server, token: token, http: &http.Client{Transport: transport,
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}}, nil
}

func loopback(host string) bool {
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

// unreached says what to do where a request over the network got no answer.
func (c *Client) unreached(err error) error {
	var certificate *tls.CertificateVerificationError
	var noTLS tls.RecordHeaderError
	switch {
	case errors.As(err, &certificate):
		return fmt.Errorf("the certificate of %s is not trusted here: name the file of its authority in SSL_CERT_FILE: %w", c.where, certificate.Err)
	case errors.As(err, &noTLS):
		return fmt.Errorf("%s does not speak TLS: ask for the right address: %w", c.where, err)
	case errors.Is(err, syscall.ECONNREFUSED):
		return Unknown(fmt.Sprintf("no daemon answers at %s: check the address, and that the daemon runs", c.where))
	}
	return fmt.Errorf("ask %s: %w", c.where, err)
}
