package daemon

import (
	"bytes"
	"encoding/json"
	"io"
	"net/http"
	"net/url"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/cmd/witnessmark/internal/web"
)

// ask sends a request of the API and gives its status and what it says. in is written as JSON; nil: no body.
func (v *visitor) ask(method, path string, in any, header ...string) (int, []byte) {
	v.t.Helper()
	var body io.Reader
	if in != nil {
		text, err := json.Marshal(in)
		if err != nil {
			v.t.Fatal(err)
		}
		body = bytes.NewReader(text)
	}
	req, err := http.NewRequestWithContext(v.t.Context(), method, "http://"+v.d.Addr()+"/api/v1"+path, body)
	if err != nil {
		v.t.Fatal(err)
	}
	for i := 0; i+1 < len(header); i += 2 {
		req.Header.Set(header[i], header[i+1])
	}
	resp, err := v.http.Do(req)
	if err != nil {
		v.t.Fatal(err)
	}
	defer resp.Body.Close()
	text, err := io.ReadAll(resp.Body)
	if err != nil {
		v.t.Fatal(err)
	}
	return resp.StatusCode, text
}

// wants holds the status of a request of the API and a piece of its answer.
func (v *visitor) wants(status int, text, method, path string, in any, header ...string) []byte {
	v.t.Helper()
	got, body := v.ask(method, path, in, header...)
	if got != status || !strings.Contains(string(body), text) {
		v.t.Errorf("%s %s: got %d %.300s, want %d and %q", method, path, got, body, status, text)
	}
	return body
}

// employ gives a person a role and a password.
func (v *visitor) employ(name string, roles ...string) {
	v.t.Helper()
	v.want(303, "", "POST", "/people", url.Values{"name": {name}, "role": roles, "password": {password}, "own_password": {password}})
}

// remote is a client of the pages that has a token.
func remote(t *testing.T, d *Daemon, secret string) *control.Client {
	t.Helper()
	c, err := control.NewRemote("http://"+d.Addr(), secret)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(c.Close)
	return c
}

func token(t *testing.T, c *control.Client, name, as string) string {
	t.Helper()
	got, err := c.GiveToken(t.Context(), control.NewToken{Token: name, For: as, Days: 2, Person: "Ada Holt"})
	if err != nil {
		t.Fatal(err)
	}
	return got.Secret
}

// ahead is by how much the clock of a daemon is put on.
type ahead struct{ atomic.Int64 }

func (a *ahead) by(d time.Duration) { a.Store(int64(d)) }

func (a *ahead) start(t *testing.T, data, file string) *Daemon {
	t.Helper()
	return startTelling(t, data, file, t.Output(), func(o *Options) {
		clock := o.Clock
		o.Clock = func() time.Time { return clock().Add(time.Duration(a.Load())) }
	})
}

func TestAPI_Session(t *testing.T) {
	_, port := newWrench(t)
	d := start(t, t.TempDir(), shopFile(port))
	build := onBench(t, client(t, d))
	v := newVisitor(t, d)
	v.wants(401, "say who asks", "GET", "/builds", nil)
	v.setUp("Ada Holt")
	v.wants(200, "E-4711", "GET", "/builds", nil)
	v.wants(404, "openapi.yaml", "GET", "/nothing", nil)
	v.wants(200, `"id":"1"`, "GET", "/benches", nil)
	v.wants(403, `cannot act as \"Bo Lind\"`, "DELETE", "/benches/1/joint", control.Close{Person: "Bo Lind"})
	v.wants(200, `"bench":"1"`, "DELETE", "/benches/1/joint", map[string]string{})
	v.wants(403, "another site", "POST", "/benches/1/joint", control.Start{Build: build.ID, Joint: "caps"}, "Origin", "http://evil.example")
	v.wants(200, "Bearing caps", "POST", "/benches/1/joint", control.Start{Build: build.ID, Joint: "caps"}, "Sec-Fetch-Site", "same-origin")
	t.Run("what changes judgement asks for the password again", func(t *testing.T) {
		in := control.NewProcedure{File: "x.yaml", Text: strings.Replace(caps, `"1"`, `"2"`, 1)}
		v.wants(403, "send it in the header", "POST", "/procedures", in)
		v.wants(403, "own password is wrong", "POST", "/procedures", in, web.OwnPassword, "wrong")
		v.wants(200, `"revision":"2"`, "POST", "/procedures", in, web.OwnPassword, password)
	})
	t.Run("a procedure may be longer than a form, and nothing else", func(t *testing.T) {
		long := control.NewProcedure{File: "x.yaml", Text: strings.Replace(caps, `"1"`, `"3"`, 1) + "# " + strings.Repeat("x", 100<<10) + "\n"}
		v.wants(200, `"revision":"3"`, "POST", "/procedures", long, web.OwnPassword, password)
		v.wants(413, "longer than", "POST", "/builds", control.NewBuild{Engine: strings.Repeat("x", 100<<10)})
	})
}

func TestAPI_Token(t *testing.T) {
	_, port := newWrench(t)
	data, file := t.TempDir(), shopFile(port)
	var later ahead
	whole := t
	d := later.start(t, data, file)
	c := client(t, d)
	build := onBench(t, c)
	admin := newVisitor(t, d)
	admin.setUp("Ada Holt")
	admin.employ("Cell 4", "technician")
	give := control.NewToken{Token: "cell-4", For: "Cell 4", Person: "Ada Holt"}
	for want, change := range map[string]func(*control.NewToken){
		"only an administrator":    func(in *control.NewToken) { in.Person = "Cell 4" },
		"nobody of that name":      func(in *control.NewToken) { in.For = "Nobody Here" },
		"give a name with --by":    func(in *control.NewToken) { in.Person = " " },
		"1 to 400 days":            func(in *control.NewToken) { in.Days = 401 },
		"a token needs a name":     func(in *control.NewToken) { in.Token = " " },
		"for 1 to 400 days":        func(in *control.NewToken) { in.Days = -1 },
		"only an administrator gi": func(in *control.NewToken) { in.Person = "Somebody New" },
	} {
		in := give
		change(&in)
		if _, err := c.GiveToken(t.Context(), in); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("got %v, want %q", err, want)
		}
	}
	secret := token(t, c, "cell-4", "Cell 4")
	m := remote(t, d, secret)
	if _, err := c.GiveToken(t.Context(), give); err == nil || !strings.Contains(err.Error(), "there is a token cell-4 already") {
		t.Errorf("got %v", err)
	}
	t.Run("it records as its person, and nobody else", func(t *testing.T) {
		v, err := m.CloseJoint(t.Context(), "1", control.Close{})
		if err != nil || v.Run != 0 {
			t.Errorf("got %+v, %v", v, err)
		}
		if _, err := m.StartJoint(t.Context(), "1", control.Start{Build: build.ID, Joint: "caps", Person: "Ada Holt"}); err == nil || !strings.Contains(err.Error(), "cannot act as") {
			t.Errorf("got %v", err)
		}
		if _, err := c.StartJoint(t.Context(), "1", control.Start{Build: build.ID, Joint: "caps", Person: "Ada Holt"}); err != nil {
			t.Error(err)
		}
		if _, err := m.HandOver(t.Context(), "1", control.HandOver{Person: "Bo Lind"}); err == nil || !strings.Contains(err.Error(), "cannot act as") {
			t.Errorf("got %v", err)
		}
		for range 2 { // once more is no fault
			if v, err := m.HandOver(t.Context(), "1", control.HandOver{}); err != nil || v.Hand != "Cell 4" {
				t.Errorf("got %+v, %v, want the joint in the hands of the token's person", v, err)
			}
		}
	})
	t.Run("it does nothing that asks for a password or for another role", func(t *testing.T) {
		lead := token(t, c, "lead", "Ada Holt")
		r := remote(t, d, lead)
		if _, err := r.Release(t.Context(), build.ID, control.Release{}); err == nil || !strings.Contains(err.Error(), "asks for a person's own password") {
			t.Errorf("got %v", err)
		}
		if _, err := r.GiveToken(t.Context(), give); err == nil || !strings.Contains(err.Error(), "asks for a person's own password") {
			t.Errorf("got %v", err)
		}
		newVisitor(t, d).wants(403, "does not have", "POST", "/procedures", nil, "Authorization", "Bearer "+lead, web.OwnPassword, password)
		if _, err := m.Badges(t.Context()); err == nil || !strings.Contains(err.Error(), "role administrator") {
			t.Errorf("got %v", err)
		}
		newVisitor(t, d).want(303, "", "GET", "/bench/1", nil, "Authorization", "Bearer "+secret) // the pages are for people
	})
	t.Run("what is no token", func(t *testing.T) {
		v := newVisitor(t, d)
		v.wants(401, "not known here", "GET", "/status", nil, "Authorization", "Bearer wmt_nonsense")
		v.wants(401, "say who asks", "GET", "/status", nil, "Authorization", "Basic QTpC")
		v.wants(401, "not known here", "GET", "/status", nil, "Authorization", "Bearer "+web.Key(secret))
		admin.wants(401, "not known here", "GET", "/status", nil, "Authorization", "Bearer ") // nor the session beside it
	})
	t.Run("a person without a role", func(t *testing.T) {
		admin.employ("Cell 4")
		if _, err := m.Status(t.Context()); err == nil || !strings.Contains(err.Error(), "no role here any more") {
			t.Errorf("got %v", err)
		}
		admin.employ("Cell 4", "technician")
		if _, err := m.Status(t.Context()); err != nil {
			t.Error(err)
		}
	})
	t.Run("a restart, and the list", func(t *testing.T) {
		stopDaemon(t, d)
		d = later.start(whole, data, file)
		c, m = client(whole, d), remote(whole, d, secret)
		if _, err := m.Status(t.Context()); err != nil {
			t.Error(err)
		}
		list, err := c.Tokens(t.Context())
		if err != nil || len(list) != 2 || list[0].Token != "cell-4" || list[0].Person != "Cell 4" || list[0].Secret != "" {
			t.Errorf("got %+v, %v", list, err)
		}
	})
	t.Run("one that has ended", func(t *testing.T) {
		later.by(49 * time.Hour)
		if _, err := m.Status(t.Context()); err == nil || !strings.Contains(err.Error(), "the token cell-4 ended on 2026-05-06") {
			t.Errorf("got %v", err)
		}
		later.by(0)
	})
	t.Run("one that was taken back, and another of its name", func(t *testing.T) {
		if _, err := m.Status(t.Context()); err != nil {
			t.Error(err)
		}
		if got, err := c.TakeToken(t.Context(), "cell-4", control.TakeToken{Person: "Ada Holt"}); err != nil || got.Person != "Cell 4" {
			t.Errorf("got %+v, %v", got, err)
		}
		if _, err := m.Status(t.Context()); err == nil || !strings.Contains(err.Error(), "was taken back") {
			t.Errorf("got %v", err)
		}
		next := token(t, c, "cell-4", "Cell 4")
		if _, err := remote(t, d, next).Status(t.Context()); err != nil {
			t.Error(err)
		}
		if _, err := m.Status(t.Context()); err == nil || !strings.Contains(err.Error(), "not known here") {
			t.Errorf("got %v", err)
		}
		if _, err := c.TakeToken(t.Context(), "cell-5", control.TakeToken{Person: "Ada Holt"}); err == nil || !strings.Contains(err.Error(), "no token cell-5") {
			t.Errorf("got %v", err)
		}
	})
}

// While PostgreSQL is away a machine that was known goes on, one that was not is told to wait, and no token is given.
func TestAPI_WithoutDatabase(t *testing.T) {
	_, port := newWrench(t)
	pg := newPrivate(t)
	d := start(t, t.TempDir(), pg.in(shopFile(port)))
	c := client(t, d)
	addProcedure(t, c)
	newVisitor(t, d).setUp("Ada Holt")
	known, fresh := remote(t, d, token(t, c, "known", "Ada Holt")), remote(t, d, token(t, c, "fresh", "Ada Holt"))
	if _, err := known.Status(t.Context()); err != nil {
		t.Fatal(err)
	}
	committed(t, d)
	pg.stop()
	b, err := known.OpenBuild(t.Context(), control.NewBuild{Engine: "E-1", Family: "TB-7", WorkOrder: "W-1"})
	if err != nil {
		t.Errorf("got %v, want work to go on", err)
	}
	if _, err := fresh.Status(t.Context()); err == nil || !strings.Contains(err.Error(), "database is away") {
		t.Errorf("got %v", err)
	}
	if _, err := c.GiveToken(t.Context(), control.NewToken{Token: "next", For: "Ada Holt", Person: "Ada Holt"}); err == nil || !strings.Contains(err.Error(), "no token can be given now") {
		t.Errorf("got %v", err)
	}
	if got := d.Tokens(); len(got) != 2 {
		t.Errorf("got %+v, want 2 tokens", got)
	}
	if _, err := c.TakeToken(t.Context(), "fresh", control.TakeToken{Person: "Ada Holt"}); err != nil {
		t.Errorf("got %v, want a token taken back at any time", err)
	}
	pg.start()
	committed(t, d)
	if list, err := known.Builds(t.Context()); err != nil || len(list) != 1 || list[0].ID != b.ID {
		t.Errorf("got %+v, %v", list, err)
	}
	if _, err := fresh.Status(t.Context()); err == nil || !strings.Contains(err.Error(), "was taken back") {
		t.Errorf("got %v", err)
	}
}
