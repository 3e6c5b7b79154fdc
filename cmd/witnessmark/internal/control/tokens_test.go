package control

import (
	"context"
	"errors"
	"log"
	"net/http"
	"net/http/httptest"
	"reflect"
	"strings"
	"testing"
	"time"
)

func (d *desk) Tokens() []Token { return []Token{{Token: "cell-4", Person: "Ada Holt"}} }

func (d *desk) GiveToken(_ context.Context, in NewToken) (Token, error) {
	d.ask(in)
	return Token{Token: in.Token, Person: in.For, Secret: "wmt_x"}, nil
}

func (d *desk) TakeToken(_ context.Context, token string, in TakeToken) (Token, error) {
	d.ask(in)
	return Token{Token: token}, nil
}

func TestControl_Tokens(t *testing.T) {
	d, c := open(t, t.TempDir(), time.Hour)
	if got, err := c.Tokens(t.Context()); err != nil || !reflect.DeepEqual(got, d.Tokens()) {
		t.Errorf("got %+v, %v", got, err)
	}
	in := NewToken{Token: "cell-4", For: "Ada Holt", Days: 3, Person: "Bo Lind"}
	if got, err := c.GiveToken(t.Context(), in); err != nil || got.Secret != "wmt_x" || d.last() != in {
		t.Errorf("got %+v, %v for %+v", got, err, d.last())
	}
	if got, err := c.TakeToken(t.Context(), "cell 4/b", TakeToken{Person: "Bo Lind"}); err != nil || got.Token != "cell 4/b" {
		t.Errorf("got %+v, %v, want the name as it is", got, err)
	}
}

// Over the network a request acts as whoever was proved to send it.
func TestControl_As(t *testing.T) {
	d := &desk{updates: make(chan Update), stopped: make(chan struct{}, 1)}
	h := Handler(d)
	for name, tc := range map[string]struct {
		path, body string
		status     int
		want       any
	}{
		"left out: filled in":      {"/api/v1/builds", `{"engine":"E1"}`, 200, NewBuild{Engine: "E1", Person: "Ada Holt"}},
		"the same":                 {"/api/v1/builds", `{"engine":"E2","person":" Ada  Holt"}`, 200, NewBuild{Engine: "E2", Person: "Ada Holt"}},
		"somebody else":            {"/api/v1/builds", `{"engine":"E3","person":"Bo Lind"}`, 403, nil},
		"a second person unproved": {"/api/v1/builds/4/concessions", `{"finding":"f","reason":"r","second":"Bo Lind"}`, 403, nil},
		"no person in the request": {"/api/v1/procedures", `{"file":"f","text":"t"}`, 200, NewProcedure{File: "f", Text: "t"}},
	} {
		t.Run(name, func(t *testing.T) {
			before := d.last()
			r := httptest.NewRequestWithContext(As(t.Context(), "Ada Holt"), http.MethodPost, tc.path, strings.NewReader(tc.body))
			w := httptest.NewRecorder()
			h.ServeHTTP(w, r)
			want := tc.want
			if want == nil {
				want = before
			}
			if w.Code != tc.status || !reflect.DeepEqual(d.last(), want) {
				t.Errorf("got %d %s, asked %+v, want %d and %+v", w.Code, w.Body, d.last(), tc.status, want)
			}
		})
	}
}

func TestRemote(t *testing.T) {
	d := &desk{updates: make(chan Update), stopped: make(chan struct{}, 1)}
	s := httptest.NewUnstartedServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Header.Get("Authorization") != "Bearer wmt_x" {
			http.Redirect(w, r, "/sign-in", http.StatusSeeOther)
			return
		}
		Handler(d).ServeHTTP(w, r)
	}))
	s.Config.ErrorLog = log.New(t.Output(), "", 0)
	s.StartTLS()
	t.Cleanup(s.Close)
	remote := func(token string) *Client {
		c, err := NewRemote(s.URL+"/", token)
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(c.Close)
		return c
	}
	c := remote("wmt_x")
	if _, err := c.Status(t.Context()); err == nil || !strings.Contains(err.Error(), "SSL_CERT_FILE") {
		t.Errorf("got %v, want what to do about a certificate that nobody knows", err)
	}
	c.http.Transport = s.Client().Transport
	if got, err := c.Status(t.Context()); err != nil || got != d.Status() {
		t.Errorf("got %+v, %v", got, err)
	}
	other := remote("wmt_y")
	other.http.Transport = s.Client().Transport
	var e *Error
	if _, err := other.Status(t.Context()); !errors.As(err, &e) || e.Status != 303 || !strings.Contains(e.Sentence, "address of the pages") {
		t.Errorf("got %v, want no redirect followed with a token", err)
	}
	for name, tc := range map[string]struct{ server, token, want string }{
		"no scheme":        {"shop.lan:7680", "x", "write it like https"},
		"a path":           {"https://shop.lan/api", "x", "write it like https"},
		"plain, far away":  {"http://10.0.0.7:7680", "x", "not sent unencrypted"},
		"no token":         {"https://shop.lan", "", "one token and nothing else"},
		"two tokens":       {"https://shop.lan", "a\nb", "one token and nothing else"},
		"a hidden account": {"https://a:b@shop.lan", "x", "write it like https"},
	} {
		if _, err := NewRemote(tc.server, tc.token); !errors.As(err, &e) || e.Status != 400 || !strings.Contains(e.Sentence, tc.want) {
			t.Errorf("%s: got %v, want %q", name, err, tc.want)
		}
	}
	near, err := NewRemote("http://127.0.0.1:1", "x")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := near.Status(t.Context()); !errors.As(err, &e) || !strings.Contains(e.Sentence, "no daemon answers at http://127.0.0.1:1") {
		t.Errorf("got %v", err)
	}
}
