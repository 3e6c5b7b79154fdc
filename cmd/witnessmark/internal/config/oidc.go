package config

import (
	"net"
	"net/url"

	"witnessmark/device/strictyaml"
)

// OIDC is the shop's own provider of sign-ins (OpenID Connect). The zero value: the shop has none.
type OIDC struct {
	Issuer, ClientID string
	SecretFile       string
	Claim            string // of its ID token, that is the name of a person
}

func (r reader) oidc(n strictyaml.Node) OIDC {
	m := n.Map("issuer", "client_id", "client_secret_file", "claim")
	o := OIDC{Issuer: need(m, "issuer", issuer), ClientID: need(m, "client_id", line), SecretFile: r.beside(need(m, "client_secret_file", line)),
		Claim: maybe(m, "claim", line)}
	if o.Claim == "" {
		o.Claim = "name"
	}
	return o
}

// issuer accepts an address by TLS, and one on this machine.
func issuer(s string) (string, string) {
	const want = "expected the https address of the provider, such as https://sign-in.example"
	u, err := url.Parse(s)
	if err != nil || u.Host == "" || u.User != nil || u.RawQuery != "" || u.Fragment != "" {
		return "", want
	}
	ip := net.ParseIP(u.Hostname())
	if here := u.Hostname() == "localhost" || ip != nil && ip.IsLoopback(); u.Scheme != "https" && !(u.Scheme == "http" && here) {
		return "", want
	}
	return s, ""
}
