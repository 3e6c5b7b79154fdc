package daemon

import (
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/cmd/witnessmark/internal/web"
)

const password = "three words of no kin"

// visitor is a browser without a screen.
type visitor struct {
	t    testing.TB
	d    *Daemon
	http *http.Client
}

func newVisitor(t testing.TB, d *Daemon) *visitor {
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	return &visitor{t, d, &http.Client{Jar: jar, Transport: &http.Transport{DisableKeepAlives: true},
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}}
}

func (v *visitor) do(method, path string, form url.Values, header ...string) (*http.Response, string) {
	v.t.Helper()
	req, err := http.NewRequestWithContext(v.t.Context(), method, "http://"+v.d.Addr()+path, strings.NewReader(form.Encode()))
	if err != nil {
		v.t.Fatal(err)
	}
	if form != nil {
		req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	for i := 0; i+1 < len(header); i += 2 {
		req.Header.Set(header[i], header[i+1])
	}
	resp, err := v.http.Do(req)
	if err != nil {
		v.t.Fatal(err)
	}
	defer resp.Body.Close()
	body, err := io.ReadAll(io.LimitReader(resp.Body, 1<<20))
	if err != nil && method != http.MethodGet {
		v.t.Fatal(err)
	}
	return resp, string(body)
}

// want does a request and holds its status and a piece of its text.
func (v *visitor) want(status int, text, method, path string, form url.Values, header ...string) *http.Response {
	v.t.Helper()
	resp, body := v.do(method, path, form, header...)
	if resp.StatusCode != status || !strings.Contains(body, text) {
		v.t.Errorf("%s %s: got %d %.300q, want %d and %q", method, path, resp.StatusCode, body, status, text)
	}
	return resp
}

func (v *visitor) setUp(name string) {
	v.t.Helper()
	code, err := os.ReadFile(filepath.Join(v.d.opt.Data, "set-up-code"))
	if err != nil {
		v.t.Fatal(err)
	}
	committed(v.t, v.d) // the accounts need the database
	v.want(303, "", "POST", "/set-up", url.Values{"code": {" " + strings.ToLower(string(code))}, "name": {name}, "password": {password}})
}

func TestPages_SignIn(t *testing.T) {
	w, port := newWrench(t)
	d := start(t, t.TempDir(), shopFile(port))
	onBench(t, client(t, d))
	v := newVisitor(t, d)
	t.Run("whoever is not signed in is asked to, and nothing is done", func(t *testing.T) {
		if got := v.want(303, "", "GET", "/bench/1", nil).Header.Get("Location"); got != "/sign-in?next=%2Fbench%2F1" {
			t.Errorf("got sent to %s", got)
		}
		v.want(401, "nothing was done", "POST", "/bench/1/close", url.Values{})
	})
	t.Run("the set-up code", func(t *testing.T) {
		v.want(303, "/set-up", "GET", "/sign-in", nil)
		v.want(422, "not the set-up code", "POST", "/set-up", url.Values{"code": {"AAAAAA"}, "name": {"Ada Holt"}, "password": {password}})
		v.setUp("Ada Holt")
		v.want(200, "Ada Holt", "GET", "/people", nil)
		newVisitor(t, d).want(422, "not the set-up code", "POST", "/set-up", url.Values{"code": {""}, "name": {"Eve"}, "password": {password}})
	})
	t.Run("what a page carries", func(t *testing.T) {
		resp := v.want(200, "no safety device", "GET", "/bench/1", nil)
		for name, want := range map[string]string{"Content-Security-Policy": "default-src 'none'", "X-Content-Type-Options": "nosniff",
			"Referrer-Policy": "no-referrer", "Cache-Control": "no-store", "Cross-Origin-Opener-Policy": "same-origin"} {
			if got := resp.Header.Get(name); !strings.Contains(got, want) {
				t.Errorf("got %s %q, want %q", name, got, want)
			}
		}
	})
	t.Run("another site cannot act", func(t *testing.T) {
		v.want(403, "came from another site", "POST", "/bench/1/close", url.Values{}, "Sec-Fetch-Site", "cross-site")
		v.want(403, "came from another site", "POST", "/bench/1/close", url.Values{}, "Origin", "http://evil.example")
		view, err := d.View("1")
		if err != nil || view.Run == 0 {
			t.Errorf("got %+v, %v, want the joint on its bench still", view, err)
		}
	})
	t.Run("a wrong password, often", func(t *testing.T) {
		other := newVisitor(t, d)
		for range 5 {
			other.want(401, "do not belong together", "POST", "/sign-in", url.Values{"name": {"Ada Holt"}, "password": {"no"}})
		}
		other.want(429, "too many wrong tries", "POST", "/sign-in", url.Values{"name": {"Ada Holt"}, "password": {password}})
		other.want(401, "do not belong together", "POST", "/sign-in", url.Values{"name": {"Nobody Here"}, "password": {password}})
		v.want(200, "Ada Holt", "GET", "/", nil) // who is signed in stays so
	})
	t.Run("hostile text is shown, not run", func(t *testing.T) {
		const bad = `"><script>alert(1)</script>'; DROP TABLE witnessmark.build; --`
		v.want(303, "", "POST", "/bench/1/build", url.Values{"engine": {bad}, "work_order": {"\u202eW\x00"}, "family": {"TB-7"}})
		_, body := v.do("GET", "/bench/1/start", nil)
		if strings.Contains(body, "<script>alert") || !strings.Contains(body, "&lt;script&gt;") {
			t.Errorf("got %q", body)
		}
		v.want(403, "has been used or is wrong", "GET", "/enter?code=x&next=//evil.example", nil)
	})
	t.Run("a pull is on the page, and a word about it counts", func(t *testing.T) {
		w.pull(t, 30, 40)
		if err := d.live.await(t.Context(), d.life, d.journal.Last()); err != nil {
			t.Fatal(err)
		}
		v.want(200, "Fastener 1 is good", "GET", "/bench/1", nil)
		v.want(303, "", "POST", "/bench/1/name", url.Values{"fastener": {"2"}})
		v.want(200, "fastener 2: done", "GET", "/bench/1", nil)
	})
	t.Run("roles that are taken away are gone at once", func(t *testing.T) {
		v.want(303, "", "POST", "/people", url.Values{"name": {"Bo Lind"}, "role": {"technician"}, "password": {password}, "own_password": {password}})
		bo := newVisitor(t, d)
		bo.want(303, "", "POST", "/sign-in", url.Values{"name": {"Bo Lind"}, "password": {password}})
		bo.want(200, "Bo Lind", "GET", "/bench/1", nil)
		bo.want(403, "role administrator", "GET", "/people", nil)
		v.want(303, "", "POST", "/people", url.Values{"name": {"Bo Lind"}, "own_password": {"wrong"}})
		bo.want(200, "Bo Lind", "GET", "/bench/1", nil)
		v.want(303, "", "POST", "/people", url.Values{"name": {"Bo Lind"}, "own_password": {password}})
		bo.want(303, "", "GET", "/bench/1", nil)
		v.want(303, "", "POST", "/people", url.Values{"name": {"Ada Holt"}, "role": {"technician"}, "own_password": {password}})
		v.want(200, "no administrator", "GET", "/people", nil)
	})
	t.Run("sign out", func(t *testing.T) {
		v.want(303, "", "POST", "/sign-out", url.Values{})
		v.want(303, "", "GET", "/bench/1", nil)
	})
}

// Every role against every route: the table is the truth, and nothing is served that is not in it.
func TestPages_EveryRoleAgainstEveryRoute(t *testing.T) {
	_, port := newWrench(t)
	d := start(t, t.TempDir(), shopFile(port))
	onBench(t, client(t, d))
	admin := newVisitor(t, d)
	admin.setUp("Ada Holt")
	table := d.pages.Table()
	if len(table) < 15 {
		t.Fatalf("got %d routes", len(table))
	}
	for _, role := range audit.Roles() {
		name := "Only " + string(role)
		admin.want(303, "", "POST", "/people", url.Values{"name": {name}, "role": {string(role)}, "password": {password}, "own_password": {password}})
		v := newVisitor(t, d)
		v.want(303, "", "POST", "/sign-in", url.Values{"name": {name}, "password": {password}})
		for _, a := range table {
			method, path, _ := strings.Cut(a.Pattern, " ")
			if a.Open || strings.HasSuffix(path, "/live") || strings.HasSuffix(path, "/watch") {
				continue
			}
			path = strings.NewReplacer("{$}", "", "{bench}", "1", "{id}", "1", "{build}", "2", "{token}", "none", "{run}", "4", "{wrench}", "TW-01").Replace(path)
			may := a.Roles == nil || slices.Contains(a.Roles, role)
			resp, body := v.do(method, path, url.Values{}, web.OwnPassword, password)
			if refused := resp.StatusCode == 403; refused == may {
				t.Errorf("%s as %s: got %d %.200q, want it %v", a.Pattern, role, resp.StatusCode, body, map[bool]string{true: "done", false: "refused"}[may])
			}
		}
	}
	var people int
	d.Look(func(s *bench.Shop) { people = len(s.People()) })
	if people != 5 {
		t.Errorf("got %d people, want nobody added by those who may not", people)
	}
}
