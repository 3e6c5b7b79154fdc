package web

import (
	"context"
	"crypto/subtle"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"sync"
	"time"

	"github.com/coreos/go-oidc/v3/oidc"
	"golang.org/x/oauth2"

	"witnessmark/audit/bench"
)

// Provider is the shop's own place to sign in (OpenID Connect Core 1.0), beside the accounts here.
type Provider struct {
	Issuer, ClientID, Secret string
	Claim                    string // the claim of its ID token that is the name of a person here
}

// providerWithin bounds what is asked of the provider, and triedFor how long a person may take there.
const (
	providerWithin = 10 * time.Second
	triedFor       = 10 * time.Minute
)

// provider is the provider with what it says of itself, which is asked for at the first sign-in and after every failure.
type provider struct {
	Provider
	clock func() time.Time

	mu    sync.Mutex
	known *oidc.Provider
}

// signingIn is a sign-in under way, kept by the browser.
type signingIn struct {
	State, Nonce, Verifier, Next string
	Again                        bool // it stands in for the password: the provider must ask for theirs now
	Until                        time.Time
}

var errProviderAway = errors.New(en("refusal.the-provider-of-sign-ins-cannot-be-reached"))

// host is what people know it by.
func (o *provider) host() string {
	u, err := url.Parse(o.Issuer)
	if err != nil {
		return o.Issuer
	}
	return u.Host
}

// discover is the provider as it describes itself.
func (o *provider) discover(ctx context.Context) (*oidc.Provider, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.known == nil {
		known, err := oidc.NewProvider(ctx, o.Issuer)
		if err != nil {
			return nil, err
		}
		o.known = known
	}
	return o.known, nil
}

// asking is a context in which the provider is asked. Its end does not end the keys that are fetched later.
func asking(r *http.Request) context.Context {
	return oidc.ClientContext(context.WithoutCancel(r.Context()), &http.Client{Timeout: providerWithin})
}

// to is how the provider is asked to send a person back to the address at which this request came.
func (o *provider) to(known *oidc.Provider, r *http.Request) *oauth2.Config {
	back := url.URL{Scheme: "http", Host: r.Host, Path: "/sign-in/provider/back"}
	if r.TLS != nil {
		back.Scheme = "https"
	}
	return &oauth2.Config{ClientID: o.ClientID, ClientSecret: o.Secret, Endpoint: known.Endpoint(), RedirectURL: back.String(),
		Scopes: []string{oidc.ScopeOpenID, "profile", "email"}}
}

// providerSignIn sends a person to the provider, with state, nonce and PKCE (RFC 7636).
func (p *Pages) providerSignIn(w http.ResponseWriter, r *http.Request) {
	if p.provider == nil {
		p.fault(w, r, http.StatusNotFound, en("refusal.this-shop-has-no-provider-of-sign-ins"))
		return
	}
	known, err := p.provider.discover(asking(r))
	if err != nil {
		p.Log.Warn().Err(err).Msg("the provider of sign-ins")
		p.again(w, r, http.StatusServiceUnavailable, signInForm{Next: r.FormValue("next")}, errProviderAway)
		return
	}
	s := signingIn{NewSecret(), NewSecret(), oauth2.GenerateVerifier(), within(r.FormValue("next")), r.FormValue("again") != "", p.Clock().Add(triedFor)}
	text, err := json.Marshal(s)
	if err != nil {
		p.refused(w, r, err)
		return
	}
	http.SetCookie(w, p.providerCookie(base64.RawURLEncoding.EncodeToString(text), int(triedFor.Seconds())))
	ask := []oauth2.AuthCodeOption{oidc.Nonce(s.Nonce), oauth2.S256ChallengeOption(s.Verifier)}
	if s.Again { // OpenID Connect Core 1.0, 3.1.2.1
		ask = append(ask, oauth2.SetAuthURLParam("prompt", "login"), oauth2.SetAuthURLParam("max_age", "0"))
	}
	http.Redirect(w, r, p.provider.to(known, r).AuthCodeURL(s.State, ask...), http.StatusSeeOther)
}

// providerCookie is Lax, unlike the session: the browser comes back from another site.
func (p *Pages) providerCookie(value string, age int) *http.Cookie {
	c := &http.Cookie{Name: "witnessmark-provider", Value: value, Path: "/", HttpOnly: true, Secure: p.Secure, SameSite: http.SameSiteLaxMode, MaxAge: age}
	if p.Secure {
		c.Name = "__Host-" + c.Name
	}
	return c
}

var errNotBegun = errors.New(en("refusal.this-sign-in-was-not-begun-in-this"))

// begun is the sign-in that this browser has begun, if the provider answers to that one.
func (p *Pages) begun(r *http.Request) (s signingIn, err error) {
	c, err := r.Cookie(p.providerCookie("", 0).Name)
	if err != nil {
		return s, errNotBegun
	}
	text, err := base64.RawURLEncoding.DecodeString(c.Value)
	if err != nil || json.Unmarshal(text, &s) != nil || s.State == "" || p.Clock().After(s.Until) ||
		subtle.ConstantTimeCompare([]byte(s.State), []byte(r.URL.Query().Get("state"))) != 1 {
		return s, errNotBegun
	}
	return s, nil
}

// providerBack takes a person who comes back from the provider. The next page is gone to from a page of ours, since a
// browser does not send the cookie of a session where another site has led it.
func (p *Pages) providerBack(w http.ResponseWriter, r *http.Request) {
	http.SetCookie(w, p.providerCookie("", -1))
	var s signingIn
	err := errNotBegun
	if p.provider != nil {
		s, err = p.begun(r)
	}
	var id string
	if err == nil {
		id, err = p.provided(r, s)
	}
	if err != nil {
		status := http.StatusForbidden
		if errors.Is(err, errProviderAway) {
			status = http.StatusServiceUnavailable
		}
		p.again(w, r, status, signInForm{Next: s.Next}, err)
		return
	}
	if p.start(w, r, id, "") {
		if s.Again {
			p.sessions.Put(r.Context(), sessionProved, p.Clock().Unix())
		}
		p.show(w, r, http.StatusOK, "signed-in", p.say(r, "title.signed-in"), within(s.Next))
	}
}

// provided is the person here whom the provider names.
func (p *Pages) provided(r *http.Request, s signingIn) (string, error) {
	if said := r.URL.Query().Get("error"); said != "" {
		return "", errors.New(en("refusal.the-provider-did-not-sign-you-in-begin"))
	}
	name, err := p.provider.name(r, s)
	if err != nil {
		return "", err
	}
	var id string
	p.Shop.Look(func(shop *bench.Shop) {
		if known, ok := shop.Person(name); ok && len(shop.RolesOf(known)) > 0 {
			id = known
		}
	})
	if id == "" {
		return "", errors.New(en("refusal.the-provider-says-that-you-are-name-who", "Name", fmt.Sprintf("%q", name)))
	}
	return id, nil
}

// name is what the provider says a person is called here, once code, signature, audience, time and nonce are right.
func (o *provider) name(r *http.Request, s signingIn) (string, error) {
	ctx := asking(r)
	known, err := o.discover(ctx)
	if err != nil {
		return "", errProviderAway
	}
	token, err := o.to(known, r).Exchange(ctx, r.URL.Query().Get("code"), oauth2.VerifierOption(s.Verifier))
	var refused *oauth2.RetrieveError
	switch {
	case errors.As(err, &refused):
		return "", errors.New(en("refusal.the-provider-does-not-know-this-sign-in"))
	case err != nil:
		return "", errProviderAway
	}
	raw, _ := token.Extra("id_token").(string)
	id, err := known.Verifier(&oidc.Config{ClientID: o.ClientID, Now: o.clock}).Verify(ctx, raw)
	if err != nil || id.Nonce != s.Nonce {
		return "", errors.New(en("refusal.what-the-provider-said-cannot-be-trusted-its"))
	}
	claims := map[string]any{}
	if err := id.Claims(&claims); err != nil {
		return "", fmt.Errorf("read what the provider said: %w", err)
	}
	if s.Again && !o.justNow(claims) {
		return "", errNotJustNow
	}
	name, _ := claims[o.Claim].(string)
	if verified, said := claims["email_verified"].(bool); o.Claim == "email" && !(said && verified) {
		name = ""
	}
	if name = fields(name); name == "" {
		return "", errors.New(en("refusal.the-provider-did-not-say-claim-of-you", "Claim", o.Claim))
	}
	return name, nil
}

var errNotJustNow = errors.New(en("refusal.the-provider-does-not-say-that-you-signed"))

// skew is how far the provider's clock may be from ours.
const skew = 2 * time.Minute

// justNow is true where the ID token says that the person proved who they are since this sign-in was begun, or nearly so.
func (o *provider) justNow(claims map[string]any) bool {
	at, said := claims["auth_time"].(float64)
	return said && o.clock().Sub(time.Unix(int64(at), 0)).Abs() < skew
}
