package daemon

import (
	"crypto"
	"crypto/rand"
	"crypto/rsa"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"math/big"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

// provider is a small OpenID provider over real HTTP with real RS256 keys (OpenID Connect Core 1.0, RFC 7636, RFC 7517). It
// signs in whomever it is told to.
type provider struct {
	*httptest.Server
	t     *testing.T
	key   *rsa.PrivateKey
	clock func() time.Time

	mu     sync.Mutex
	codes  map[string]url.Values               // by code: what was asked for
	claims map[string]any                      // of the next person
	bend   func(header, claims map[string]any) // spoils the next ID token
	sign   *rsa.PrivateKey
}

const clientSecret = "between provider and shop"

func newProvider(t *testing.T, clock func() time.Time) *provider {
	t.Helper()
	key, err := rsa.GenerateKey(rand.Reader, 2048)
	if err != nil {
		t.Fatal(err)
	}
	p := &provider{t: t, key: key, sign: key, clock: clock, codes: map[string]url.Values{}}
	mux := http.NewServeMux()
	p.Server = httptest.NewServer(mux)
	t.Cleanup(p.Close)
	mux.HandleFunc("GET /.well-known/openid-configuration", func(w http.ResponseWriter, _ *http.Request) {
		p.say(w, map[string]any{"issuer": p.URL, "authorization_endpoint": p.URL + "/authorize", "token_endpoint": p.URL + "/token", "jwks_uri": p.URL + "/keys",
			"id_token_signing_alg_values_supported": []string{"RS256"}})
	})
	mux.HandleFunc("GET /keys", func(w http.ResponseWriter, _ *http.Request) {
		p.say(w, map[string]any{"keys": []any{map[string]string{"kty": "RSA", "alg": "RS256", "use": "sig", "kid": "one",
			"n": encode(key.N.Bytes()), "e": encode(big.NewInt(int64(key.E)).Bytes())}}})
	})
	mux.HandleFunc("GET /authorize", p.authorize)
	mux.HandleFunc("POST /token", p.token)
	return p
}

func encode(b []byte) string { return base64.RawURLEncoding.EncodeToString(b) }

func (p *provider) say(w http.ResponseWriter, what any) {
	w.Header().Set("Content-Type", "application/json")
	if err := json.NewEncoder(w).Encode(what); err != nil {
		p.t.Error(err)
	}
}

func (p *provider) authorize(w http.ResponseWriter, r *http.Request) {
	p.mu.Lock()
	defer p.mu.Unlock()
	q := r.URL.Query()
	if q.Get("client_id") != "witnessmark" || q.Get("response_type") != "code" || q.Get("code_challenge_method") != "S256" || len(q.Get("nonce")) < 16 {
		http.Error(w, "a bad request", http.StatusBadRequest)
		return
	}
	code := fmt.Sprint("code-", len(p.codes))
	p.codes[code] = q
	back, err := url.Parse(q.Get("redirect_uri"))
	if err != nil {
		p.t.Error(err)
	}
	back.RawQuery = url.Values{"code": {code}, "state": {q.Get("state")}}.Encode()
	http.Redirect(w, r, back.String(), http.StatusFound)
}

func (p *provider) token(w http.ResponseWriter, r *http.Request) {
	p.mu.Lock()
	defer p.mu.Unlock()
	asked := p.codes[r.FormValue("code")]
	delete(p.codes, r.FormValue("code"))
	p.codes[""] = nil // a code is never given twice
	id, secret, _ := r.BasicAuth()
	challenge := sha256.Sum256([]byte(r.FormValue("code_verifier")))
	if asked == nil || id != "witnessmark" || secret != url.QueryEscape(clientSecret) || encode(challenge[:]) != asked.Get("code_challenge") ||
		r.FormValue("redirect_uri") != asked.Get("redirect_uri") {
		w.WriteHeader(http.StatusBadRequest)
		p.say(w, map[string]string{"error": "invalid_grant"})
		return
	}
	now := p.clock()
	header := map[string]any{"alg": "RS256", "kid": "one"}
	claims := map[string]any{"iss": p.URL, "aud": "witnessmark", "sub": "4711", "iat": now.Unix(), "exp": now.Add(time.Minute).Unix(), "nonce": asked.Get("nonce")}
	if asked.Get("prompt") == "login" && asked.Get("max_age") == "0" { // they typed their password there
		claims["auth_time"] = now.Unix()
	}
	for k, v := range p.claims {
		claims[k] = v
	}
	if p.bend != nil {
		p.bend(header, claims)
	}
	p.say(w, map[string]any{"access_token": "x", "token_type": "Bearer", "id_token": p.signed(header, claims)})
}

// signed is a JSON Web Signature (RFC 7515) by RS256.
func (p *provider) signed(header, claims map[string]any) string {
	h, err := json.Marshal(header)
	if err != nil {
		p.t.Error(err)
	}
	c, err := json.Marshal(claims)
	if err != nil {
		p.t.Error(err)
	}
	text := encode(h) + "." + encode(c)
	sum := sha256.Sum256([]byte(text))
	s, err := rsa.SignPKCS1v15(rand.Reader, p.sign, crypto.SHA256, sum[:])
	if err != nil {
		p.t.Error(err)
	}
	return text + "." + encode(s)
}

// next says who signs in next, and how the token is spoilt.
func (p *provider) next(claims map[string]any, bend func(header, claims map[string]any)) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.claims, p.bend, p.sign = claims, bend, p.key
}

// withProvider is a shop that trusts the provider.
func (p *provider) in(file string) string {
	secret := filepath.Join(p.t.TempDir(), "secret")
	if err := os.WriteFile(secret, []byte(clientSecret+"\n"), 0o600); err != nil {
		p.t.Fatal(err)
	}
	return strings.Replace(file, "listen:", fmt.Sprintf("oidc: {issuer: %q, client_id: witnessmark, client_secret_file: %s, claim: name}\nlisten:", p.URL, secret), 1)
}

// follow goes from the sign-in to the provider and gives the address to which that one sends back.
func (v *visitor) follow() string {
	v.t.Helper()
	return v.followTo("next=/bench/1")
}

func (v *visitor) followTo(query string) string {
	v.t.Helper()
	there := v.want(303, "", "GET", "/sign-in/provider?"+query, nil).Header.Get("Location")
	req, err := http.NewRequestWithContext(v.t.Context(), "GET", there, nil)
	if err != nil {
		v.t.Fatal(err)
	}
	resp, err := v.http.Do(req)
	if err != nil {
		v.t.Fatal(err)
	}
	if err := resp.Body.Close(); err != nil {
		v.t.Fatal(err)
	}
	back, err := url.Parse(resp.Header.Get("Location"))
	if err != nil || back.Host != v.d.Addr() {
		v.t.Fatalf("got %d and sent to %v, %v", resp.StatusCode, back, err)
	}
	return back.RequestURI()
}

func TestPages_Provider(t *testing.T) {
	_, port := newWrench(t)
	now := func() time.Time { return epoch.Add(time.Minute) }
	op := newProvider(t, now)
	var later ahead
	d := later.start(t, t.TempDir(), op.in(shopFile(port)))
	admin := newVisitor(t, d)
	admin.setUp("Ada Holt")
	admin.employ("Bo Lind", "technician")
	admin.want(200, "Sign in with", "GET", "/sign-in", nil)
	t.Run("a person who has a role here", func(t *testing.T) {
		v := newVisitor(t, d)
		op.next(map[string]any{"name": "Bo  Lind"}, nil)
		back := v.follow()
		v.want(200, `content="0;url=/bench/1"`, "GET", back, nil)
		v.want(200, "Bo Lind", "GET", "/bench/1", nil)
		v.want(403, "not begun in this browser", "GET", back, nil) // once
		newVisitor(t, d).want(403, "not begun in this browser", "GET", back, nil)
	})
	t.Run("what asks for a password, by one who has none", func(t *testing.T) {
		again := url.QueryEscape("/pin")
		v := newVisitor(t, d)
		op.next(map[string]any{"name": "Bo Lind"}, nil)
		v.want(200, "Go on", "GET", v.follow(), nil)
		v.want(200, "Sign in once more with", "GET", "/pin", nil)
		v.want(422, "asks for your own password", "POST", "/pin", url.Values{"pin": {pin}})
		v.want(200, `content="0;url=/pin"`, "GET", v.followTo("again=yes&next="+again), nil)
		v.want(200, "You have just proved who you are", "GET", "/pin", nil)
		v.want(303, "", "POST", "/pin", url.Values{"pin": {pin}})
		v.want(422, "asks for your own password", "POST", "/pin", url.Values{"pin": {pin}}) // once
		v.want(200, "Go on", "GET", v.followTo("again=yes&next="+again), nil)
		later.by(6 * time.Minute)
		v.want(422, "asks for your own password", "POST", "/pin", url.Values{"pin": {pin}}) // for five minutes
		later.by(0)
		for name, said := range map[string]any{"not at all": nil, "an hour ago": now().Add(-time.Hour).Unix(), "in an hour": now().Add(time.Hour).Unix()} {
			op.next(map[string]any{"name": "Bo Lind", "auth_time": said}, nil)
			if resp, body := v.do("GET", v.followTo("again=yes&next="+again), nil); resp.StatusCode != 403 || !strings.Contains(body, "does not say that you signed in just now") {
				t.Errorf("signed in %s: got %d %.200q, want it refused", name, resp.StatusCode, body)
			}
		}
	})
	t.Run("another browser's answer, and one that took long", func(t *testing.T) {
		v, other := newVisitor(t, d), newVisitor(t, d)
		back := v.follow()
		other.follow()
		other.want(403, "not begun in this browser", "GET", back, nil)
		later.by(11 * time.Minute)
		v.want(403, "not begun in this browser", "GET", back, nil)
		later.by(0)
	})
	foreign, err := rsa.GenerateKey(rand.Reader, 2048)
	if err != nil {
		t.Fatal(err)
	}
	const untrusted = "cannot be trusted"
	for name, tc := range map[string]struct {
		claims map[string]any
		bend   func(header, claims map[string]any)
		want   string
	}{
		"somebody without a role": {map[string]any{"name": "Eve Grau"}, nil, "who has no role here"},
		"hostile text":            {map[string]any{"name": "<script>x</script>"}, nil, "&lt;script&gt;"},
		"no name":                 {nil, nil, "did not say name"},
		"another nonce":           {map[string]any{"name": "Bo Lind"}, func(_, c map[string]any) { c["nonce"] = "another" }, untrusted},
		"another audience":        {map[string]any{"name": "Bo Lind"}, func(_, c map[string]any) { c["aud"] = "another" }, untrusted},
		"another issuer":          {map[string]any{"name": "Bo Lind"}, func(_, c map[string]any) { c["iss"] = "https://evil.example" }, untrusted},
		"too old":                 {map[string]any{"name": "Bo Lind"}, func(_, c map[string]any) { c["exp"] = epoch.Add(-time.Hour).Unix() }, untrusted},
		"another key":             {map[string]any{"name": "Bo Lind"}, func(map[string]any, map[string]any) { op.sign = foreign }, untrusted},
		"no signature":            {map[string]any{"name": "Bo Lind"}, func(h, _ map[string]any) { h["alg"] = "none" }, untrusted},
	} {
		t.Run(name, func(t *testing.T) {
			v := newVisitor(t, d)
			op.next(tc.claims, tc.bend)
			v.want(403, tc.want, "GET", v.follow(), nil)
			v.want(303, "", "GET", "/bench/1", nil)
		})
	}
	t.Run("a code that is made up", func(t *testing.T) {
		v := newVisitor(t, d)
		at, err := url.Parse(v.follow())
		if err != nil {
			t.Fatal(err)
		}
		q := at.Query()
		q.Set("code", "made-up")
		v.want(403, "does not know this sign-in", "GET", at.Path+"?"+q.Encode(), nil)
	})
	t.Run("the provider is away: the accounts here still work", func(t *testing.T) {
		v := newVisitor(t, d)
		back := v.follow()
		op.Close()
		v.want(503, "cannot be reached now", "GET", back, nil)
		v.signIn("Bo Lind")
		v.want(200, "Bo Lind", "GET", "/bench/1", nil)
	})
}

// A real browser comes back from the provider with its session: its cookie is one that no other site's link sends.
func TestBrowser_Provider(t *testing.T) {
	ctx := browser(t)
	_, port := newWrench(t)
	op := newProvider(t, func() time.Time { return epoch.Add(time.Minute) })
	d := start(t, t.TempDir(), op.in(shopFile(port)))
	newVisitor(t, d).setUp("Ada Holt")
	op.next(map[string]any{"name": "Ada Holt"}, nil)
	run(t, ctx, chromedp.Navigate("http://"+strings.Replace(d.Addr(), "127.0.0.1", "localhost", 1)+"/bench/1"))
	sees(t, ctx, "Sign in with")
	picture(t, ctx, "provider")
	run(t, ctx, chromedp.Click(`.provider a`))
	sees(t, ctx, "No build is at this bench")
	sees(t, ctx, "Ada Holt")
}
