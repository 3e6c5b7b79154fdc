package daemon

import (
	"net/http/cookiejar"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"witnessmark/audit/bench"
	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/cmd/witnessmark/internal/sheet"
	"witnessmark/cmd/witnessmark/internal/web"
	"witnessmark/store"
)

// twoBenches is a shop with a second bench and a scanner at the first.
func twoBenches(port string) string {
	return strings.Replace(shopFile(port), `wrenches: [TW-01]}
`, `wrenches: [TW-01]}
  - {id: "2"}
`, 1) + `scanners:
  - {id: S-1, bench: "1", port: /dev/none, labels: {badge: [{prefix: "B:"}]}}
`
}

const pin = "804317"

// badged is a person with a badge, a PIN, and roles.
func (v *visitor) badged(c *control.Client, name, badge string, roles ...string) {
	v.t.Helper()
	v.employ(name, roles...)
	if _, err := c.GiveBadge(v.t.Context(), control.NewBadge{Badge: badge, To: name, Person: "Ada Holt"}); err != nil {
		v.t.Fatal(err)
	}
	own := newVisitor(v.t, v.d)
	own.signIn(name)
	own.want(303, "", "POST", "/pin", url.Values{"pin": {pin}, "own_password": {password}})
}

func (v *visitor) signIn(name string) {
	v.t.Helper()
	v.want(303, "", "POST", "/sign-in", url.Values{"name": {name}, "password": {password}})
}

func (v *visitor) badge(status int, text, badge, pin string) {
	v.t.Helper()
	v.want(status, text, "POST", "/sign-in/badge", url.Values{"badge": {badge}, "pin": {pin}, "next": {"/bench/1"}})
}

// atBench is a browser that an administrator has enrolled and left.
func atBench(t *testing.T, d *Daemon, bench string) *visitor {
	t.Helper()
	v := newVisitor(t, d)
	v.signIn("Ada Holt")
	v.want(303, "", "POST", "/bench/"+bench+"/enrol", url.Values{"own_password": {password}})
	v.want(303, "", "POST", "/sign-out", url.Values{})
	return v
}

func TestPages_BadgeAndPIN(t *testing.T) {
	_, port := newWrench(t)
	data, pg := t.TempDir(), newPrivate(t)
	file := pg.in(twoBenches(port))
	var later ahead
	whole := t
	d := later.start(t, data, file)
	c := client(t, d)
	onBench(t, c)
	admin := newVisitor(t, d)
	admin.setUp("Ada Holt")
	t.Run("a PIN is set with the password", func(t *testing.T) {
		admin.want(422, "own password is wrong", "POST", "/pin", url.Values{"pin": {pin}, "own_password": {"wrong"}})
		for _, bad := range []string{"", "12345", "1234567890123", "80431x", "८०४३१७"} {
			admin.want(422, "6 to 12 digits", "POST", "/pin", url.Values{"pin": {bad}, "own_password": {password}})
		}
		for _, easy := range []string{"000000", "123456", "987654", "024680"} {
			admin.want(422, "first that anybody tries", "POST", "/pin", url.Values{"pin": {easy}, "own_password": {password}})
		}
	})
	admin.badged(c, "Bo Lind", "B-7", "technician", "lead", "administrator")
	admin.badged(c, "Cy Moor", "B-8", "technician")
	t.Run("only at a browser that an administrator enrolled", func(t *testing.T) {
		v := newVisitor(t, d)
		v.badge(403, "enrolled at no bench", "B-7", pin)
		v.signIn("Cy Moor")
		v.want(403, "role administrator", "POST", "/bench/1/enrol", url.Values{"own_password": {password}})
		admin.want(422, "own password is wrong", "POST", "/bench/1/enrol", url.Values{"own_password": {"wrong"}})
		admin.want(404, "no bench 9", "POST", "/bench/9/enrol", url.Values{"own_password": {password}})
	})
	v := atBench(t, d, "1")
	t.Run("badge as typed, and as a scanner types it", func(t *testing.T) {
		v.want(200, "At bench 1: badge and PIN", "GET", "/sign-in", nil)
		for _, badge := range []string{"B-7", " B-8 ", "B:B-7"} {
			v.badge(303, "", badge, pin)
		}
		v.want(200, "Bo Lind", "GET", "/bench/1", nil)
		for badge, try := range map[string]string{"B-9": pin, "B-7": "804318", "": pin, "B:": pin} {
			newBrowserAt(t, v).badge(401, "do not belong together", badge, try)
		}
	})
	t.Run("it records and looks at its bench, and nothing else", func(t *testing.T) {
		v.want(303, "", "POST", "/bench/1/close", url.Values{})
		v.want(303, "", "POST", "/bench/1/start", url.Values{"build": {"5"}, "joint": {"caps"}})
		v.wants(403, "at the bench of this browser only", "DELETE", "/benches/2/joint", map[string]string{})
		v.want(403, "at the bench of this browser only", "POST", "/bench/2/close", url.Values{})
		v.want(200, "Bo Lind", "GET", "/people", nil)
		for _, a := range d.pages.Table() {
			method, path, _ := strings.Cut(a.Pattern, " ")
			if !a.Again {
				continue
			}
			path = strings.NewReplacer("{bench}", "1", "{build}", "5", "{token}", "none").Replace(path)
			if resp, body := v.do(method, path, url.Values{"own_password": {password}}, web.OwnPassword, password); resp.StatusCode != 403 || !strings.Contains(body, "signed in by badge and PIN") {
				t.Errorf("%s: got %d %.200q, want it refused", a.Pattern, resp.StatusCode, body)
			}
		}
	})
	t.Run("wrong tries slow down that badge at that bench, and nobody else", func(t *testing.T) {
		guess := atBench(t, d, "2")
		for range 5 {
			guess.badge(401, "do not belong together", "B-7", "000001")
		}
		guess.badge(429, "too many wrong tries", "B-7", pin)
		guess.badge(303, "", "B-8", pin)
		newBrowserAt(t, v).badge(303, "", "B-7", pin)
		guess.signIn("Bo Lind")
	})
	t.Run("it ends when nobody touches it", func(t *testing.T) {
		idle := newBrowserAt(t, v)
		idle.badge(303, "", "B-8", pin)
		later.by(10 * time.Minute)
		idle.want(200, "Cy Moor", "GET", "/bench/1", nil)
		later.by(20 * time.Minute)
		idle.want(200, "Cy Moor", "GET", "/bench/1", nil)
		later.by(40 * time.Minute)
		idle.want(303, "", "GET", "/bench/1", nil)
		idle.wants(401, "say who asks", "GET", "/builds", nil)
		later.by(0)
	})
	t.Run("the daemon begins anew, and PostgreSQL is away", func(t *testing.T) {
		v.badge(303, "", "B-8", pin)
		committed(t, d)
		stopDaemon(t, d)
		d = later.start(whole, data, file)
		v.d, admin.d = d, d
		v.want(200, "Cy Moor", "GET", "/bench/1", nil)
		other := newBrowserAt(t, v)
		pg.stop()
		v.want(303, "", "POST", "/bench/1/close", url.Values{})
		v.want(200, "Cy Moor", "GET", "/bench/1", nil)
		other.badge(503, "database is away", "B-7", pin)
		pg.start()
		committed(t, d)
		other.badge(303, "", "B-7", pin)
	})
	t.Run("an enrolment that ends, ends who is signed in by it", func(t *testing.T) {
		desk := newVisitor(t, d)
		desk.signIn("Ada Holt")
		_, page := desk.do("GET", "/enrolled", nil)
		if strings.Count(page, `name="key"`) != 2 || !strings.Contains(page, "Bench 1, enrolled by Ada Holt on 2026-05-04") {
			t.Fatalf("got %s", page)
		}
		_, rest, _ := strings.Cut(page, `name="key" value="`)
		key, _, _ := strings.Cut(rest, `"`)
		desk.want(303, "", "POST", "/enrolled", url.Values{"key": {key}, "own_password": {"wrong"}})
		v.want(200, "Cy Moor", "GET", "/bench/1", nil)
		desk.want(303, "", "POST", "/enrolled", url.Values{"key": {key}, "own_password": {password}})
		v.want(303, "", "GET", "/bench/1", nil)
		v.badge(403, "enrolled at no bench", "B-8", pin)
	})
	t.Run("what is mixed in lies outside the database", func(t *testing.T) {
		info, err := os.Stat(filepath.Join(data, "pin-pepper"))
		if err != nil || info.Mode().Perm() != 0o600 || info.Size() != 64 {
			t.Errorf("got %v, %v", info, err)
		}
	})
}

// newBrowserAt is another session in the same enrolled browser.
func newBrowserAt(t *testing.T, v *visitor) *visitor {
	t.Helper()
	other := newVisitor(t, v.d)
	at := &url.URL{Scheme: "http", Host: v.d.Addr(), Path: "/"}
	for _, c := range v.http.Jar.Cookies(at) {
		if c.Name == "witnessmark-bench" {
			other.http.Jar.SetCookies(at, append(other.http.Jar.Cookies(at), c))
		}
	}
	return other
}

// onSheet is the only joint of an engine as it stands in the record.
func onSheet(t *testing.T, d *Daemon, engine string) sheet.Joint {
	t.Helper()
	var e *sheet.Engine
	err := d.Read(t.Context(), func(r *store.Reader) error {
		h, err := r.History(t.Context(), engine)
		if err != nil {
			return err
		}
		e, err = sheet.Of(h, "")
		return err
	})
	if err != nil || len(e.Builds) != 1 || len(e.Builds[0].Joints) != 1 {
		t.Fatalf("got %+v, %v, want one joint", e, err)
	}
	return e.Builds[0].Joints[0]
}

// A colleague takes over at the bench in one step; what is recorded from then on is under that name.
func TestPages_HandOver(t *testing.T) {
	w, port := newWrench(t)
	d := start(t, t.TempDir(), twoBenches(port))
	c := client(t, d)
	onBench(t, c)
	admin := newVisitor(t, d)
	admin.setUp("Ada Holt")
	admin.badged(c, "Bo Lind", "B-7", "technician")
	admin.badged(c, "Cy Moor", "B-8", "technician")
	v := atBench(t, d, "1")
	v.badge(303, "", "B-7", pin)
	before := v.http.Jar.Cookies(&url.URL{Scheme: "http", Host: d.Addr(), Path: "/"})
	v.want(303, "", "POST", "/bench/1/hand-over", url.Values{"badge": {"B-8"}, "pin": {"111112"}})
	v.want(200, "Not handed over: badge and PIN do not belong together", "GET", "/bench/1", nil)
	v.want(200, "Bo Lind", "GET", "/bench/1", nil)
	v.want(303, "", "POST", "/bench/1/hand-over", url.Values{"badge": {"B-8"}, "pin": {pin}})
	v.want(200, "in the hands of Cy Moor", "GET", "/bench/1", nil)
	t.Run("the session of before is gone", func(t *testing.T) {
		old := newVisitor(t, d)
		jar, err := cookiejar.New(nil)
		if err != nil {
			t.Fatal(err)
		}
		jar.SetCookies(&url.URL{Scheme: "http", Host: d.Addr(), Path: "/"}, before)
		old.http.Jar = jar
		old.want(303, "", "GET", "/bench/1", nil)
	})
	for range 4 {
		w.pull(t, 30, 40)
	}
	v.want(303, "", "POST", "/bench/1/answer", url.Values{"check": {"end-float"}, "value": {"0.5 mm"}})
	v.want(200, "not accepted, said by Cy Moor", "GET", "/bench/1", nil)
	v.want(303, "", "POST", "/bench/1/hand-over", url.Values{"name": {" bo  lind"}, "password": {password}})
	v.want(303, "", "POST", "/bench/1/hand-over", url.Values{"name": {"Bo Lind"}, "password": {password}})
	t.Run("a wrong answer is answered again, and stays in the record", func(t *testing.T) {
		v.want(303, "", "POST", "/bench/1/answer", url.Values{"check": {"end-float"}, "value": {"0.12 mm"}})
		v.want(200, "said by Bo Lind; before: 0.5 mm", "GET", "/bench/1", nil)
		var replies []bench.Reply
		d.Look(func(s *bench.Shop) { replies = s.Replies("1") })
		if len(replies) != 1 || !replies[0].Good || replies[0].Said != "0.12 mm" || len(replies[0].Before) != 1 {
			t.Errorf("got %+v", replies)
		}
	})
	t.Run("each reading is of the one who had the joint in hand then", func(t *testing.T) {
		w.pull(t, 60, 40)
		committed(t, d)
		j := onSheet(t, d, "E-4711")
		var took, pulled []string
		for _, h := range j.Hands {
			took = append(took, h.By)
		}
		for _, s := range j.Steps {
			for _, m := range s.Marks {
				pulled = append(pulled, s.Stage+" "+m.By)
			}
		}
		if want := []string{"Bo Lind", "Cy Moor", "Bo Lind"}; !slices.Equal(took, want) {
			t.Errorf("got taken over by %q, want %q", took, want)
		}
		if want := []string{"snug Cy Moor", "snug Cy Moor", "snug Cy Moor", "snug Cy Moor", "seat Bo Lind"}; !slices.Equal(pulled, want) {
			t.Errorf("got %q, want %q", pulled, want)
		}
	})
	t.Run("who may not record takes nothing over", func(t *testing.T) {
		admin.badged(c, "Di Wren", "B-9", "warranty")
		newBrowserAt(t, v).badge(303, "", "B-9", pin)
		var hand string
		d.Look(func(s *bench.Shop) { hand = s.PersonName(s.Hand("1")) })
		if hand != "Bo Lind" {
			t.Errorf("got the joint in the hands of %s, want Bo Lind", hand)
		}
	})
	t.Run("by password at a bench it is a whole sign-in, and badge and PIN elsewhere are none", func(t *testing.T) {
		v.want(303, "", "POST", "/pin", url.Values{"pin": {"804319"}, "own_password": {password}})
		v.want(303, "", "POST", "/bench/2/hand-over", url.Values{"badge": {"B-8"}, "pin": {pin}})
		v.want(200, "enrolled at no bench", "GET", "/bench/1", nil)
		v.want(200, "Bo Lind", "GET", "/bench/1", nil)
	})
}
