package daemon

import (
	"bytes"
	"context"
	"fmt"
	"mime/multipart"
	"net/http"
	"net/url"
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"

	"witnessmark/audit/bench"
	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/store/bundle"
)

// hostile is a text that must be shown as it is wherever a person may type.
const hostile = `"><script>alert(1)</script>'; DROP TABLE witnessmark.build; -- ` + "\u202eW\x00"

// classABuild is a build whose one joint, of class A, has been worked on and has one step that failed; its joint is off the
// bench. Ada Holt has every role, Bo Lind is a technician, Cleo Marsh a clerk of the warranty desk.
func classABuild(t *testing.T, d *Daemon, w *wrench) (build control.Build, run uint64, ada *visitor) {
	t.Helper()
	c, ctx := client(t, d), t.Context()
	if _, err := c.AddProcedure(ctx, control.NewProcedure{File: "caps.yaml", Text: classA}); err != nil {
		t.Fatal(err)
	}
	ada = newVisitor(t, d)
	ada.setUp("Ada Holt")
	for name, role := range map[string]string{"Bo Lind": "technician", "Cleo Marsh": "warranty"} {
		ada.want(303, "", "POST", "/people", url.Values{"name": {name}, "role": {role}, "password": {password + name}, "own_password": {password}})
	}
	build, err := c.OpenBuild(ctx, control.NewBuild{Engine: "E-4711", Family: "TB-7", WorkOrder: "W-12", Unit: "U-3", Person: "Bo Lind"})
	if err != nil {
		t.Fatal(err)
	}
	v, err := c.StartJoint(ctx, "1", control.Start{Build: build.ID, Joint: "caps", Person: "Bo Lind"})
	if err != nil {
		t.Fatal(err)
	}
	for i := range int64(4) {
		w.pull(t, 30, 25+i)
	}
	if _, err := c.Answer(ctx, "1", control.Answer{Check: "end-float", Value: "0.12 mm", Yes: true, Person: "Bo Lind"}); err != nil {
		t.Fatal(err)
	}
	for i := range int64(3) {
		w.pull(t, 60, 25+i)
	}
	w.pull(t, 66, 30) // too much
	if _, err := c.CloseJoint(ctx, "1", control.Close{Person: "Bo Lind"}); err != nil {
		t.Fatal(err)
	}
	committed(t, d)
	return build, v.Run, ada
}

// signedInAs is a visitor who is somebody made by classABuild.
func signedInAs(t *testing.T, d *Daemon, name string) *visitor {
	v := newVisitor(t, d)
	v.want(303, "", "POST", "/sign-in", url.Values{"name": {name}, "password": {password + name}})
	return v
}

func TestPages_ABuildIsJudged(t *testing.T) {
	w, port := newWrench(t)
	d := start(t, t.TempDir(), shopFile(port))
	b, run, ada := classABuild(t, d, w)
	at := fmt.Sprintf("/builds/%d", b.ID)
	const failed, text = "step:caps/seat/4", "joint caps, stage seat, fastener 4: high torque"
	rv, err := d.Review(b.ID)
	if err != nil || len(rv.Findings) != 1 {
		t.Fatalf("got %+v, %v, want one finding", rv, err)
	}
	found := rv.Findings[0].Text
	concession := func(change ...string) url.Values {
		v := url.Values{"finding": {failed}, "found": {found}, "reason": {"below the yield"}, "own_password": {password}, "second": {"Bo  Lind"}, "second_password": {password + "Bo Lind"}}
		for i := 0; i < len(change); i += 2 {
			v.Set(change[i], change[i+1])
		}
		return v
	}
	ada.want(200, "Somebody has to decide", "GET", "/builds", nil)
	ada.want(200, text, "GET", "/builds", nil)
	ada.want(200, "1 finding stands in the way", "GET", at, nil)
	ada.want(200, "a second person says so too", "GET", at+"?finding="+url.QueryEscape(failed), nil)
	before := d.journal.Last()
	for rule, c := range map[string]struct {
		form url.Values
		says string
	}{
		"without the own password":            {concession("own_password", ""), "asks for your own password"},
		"with a wrong one":                    {concession("own_password", "no"), "your own password is wrong"},
		"without a second person":             {concession("second", ""), "needs a second person"},
		"with a wrong password of the second": {concession("second_password", password), "of the second person do not belong together"},
		"with oneself as the second":          {concession("second", "Ada Holt", "second_password", password), "must be another one"},
		"with one who may not":                {concession("second", "Cleo Marsh", "second_password", password+"Cleo Marsh"), "must be a technician or a lead"},
		"with one whom nobody knows":          {concession("second", "Eve"), "do not belong together"},
		"of what has changed meanwhile":       {concession("found", "something milder"), "is different now"},
		"without a reason":                    {concession("reason", " "), "needs a reason"},
		"of what is not there":                {concession("finding", hostile), "has no finding"},
	} {
		ada.want(303, "", "POST", at+"/concede", c.form)
		if _, body := ada.do("GET", at, nil); !strings.Contains(body, "Not done: ") || !strings.Contains(body, c.says) {
			t.Errorf("%s: got %.600q, want %q", rule, notice(body), c.says)
		}
	}
	ada.want(303, "", "POST", at+"/release", url.Values{"reviewed": {fmt.Sprint(rv.Seq)}, "own_password": {password}})
	ada.want(200, "Not done: ", "GET", at, nil)
	if d.journal.Last() != before {
		t.Fatalf("got %d new entries of what was refused, want none", d.journal.Last()-before)
	}
	ada.want(303, "", "POST", at+"/concede", concession("reason", hostile))
	ada.want(200, "Conceded by Ada Holt and Bo Lind", "GET", at, nil)
	ada.want(303, "", "POST", at+"/concede", concession())
	ada.want(200, "was conceded already by Ada Holt", "GET", at, nil)
	ada.want(200, "Ready to be released", "GET", "/builds", nil)
	ada.want(303, "", "POST", at+"/release", url.Values{"reviewed": {fmt.Sprint(rv.Seq)}, "own_password": {password}})
	ada.want(200, "review it again", "GET", at, nil)
	_, body := ada.do("GET", at, nil)
	ada.want(303, "", "POST", at+"/release", url.Values{"reviewed": {field(t, body, "reviewed")}, "own_password": {password}})
	standing(t, d, b.ID, bench.Released)
	ada.want(303, "", "POST", at+"/reopen", url.Values{"reason": {"the customer asks"}, "own_password": {"no"}})
	standing(t, d, b.ID, bench.Released)
	ada.want(303, "", "POST", at+"/reopen", url.Values{"reason": {"the customer asks"}, "own_password": {password}})
	standing(t, d, b.ID, bench.Reopened)
	joint := fmt.Sprintf("%s/joints/%d", at, run)
	_, body = ada.do("GET", joint+"?stage=seat", nil)
	readings := regexp.MustCompile(`reading=(\d+)#correct`).FindAllStringSubmatch(body, -1)
	if len(readings) != 4 || strings.Count(body, "<svg") != 3 {
		t.Fatalf("got %d readings and %d pictures, want 4 and 3: %.2000q", len(readings), strings.Count(body, "<svg"), body)
	}
	wrong := readings[3][1]
	ada.want(200, "Correct reading "+wrong, "GET", joint+"?stage=seat&reading="+wrong, nil)
	correction := url.Values{"reading": {wrong}, "run": {fmt.Sprint(run)}, "at": {"seat"}, "fastener": {""}, "reason": {hostile}, "own_password": {"no"}}
	ada.want(303, "", "POST", at+"/correct", correction)
	ada.want(200, "your own password is wrong", "GET", joint, nil)
	correction.Set("own_password", password)
	ada.want(303, "", "POST", at+"/correct", correction)
	committed(t, d)
	ada.want(200, "Readings of this joint that belong to no step", "GET", joint+"?stage=seat", nil)
	ada.want(200, "Said before", "GET", joint+"?stage=seat", nil)
	ada.want(200, "The release was taken back: the customer asks", "GET", at, nil)
	for _, path := range []string{at, joint, "/builds"} {
		if _, body := ada.do("GET", path, nil); strings.Contains(body, "<script>alert") {
			t.Errorf("%s: got a page that runs what was typed", path)
		}
	}
	for _, path := range []string{"/builds/99", "/builds/x", at + "/joints/99", at + "/joints/" + url.PathEscape(hostile)} {
		ada.want(404, "", "GET", path, nil)
	}
}

// All findings of a kind are conceded with one reason and one proof of both persons, each as an entry of its own.
func TestPages_AllOfAKind(t *testing.T) {
	w, port := newWrench(t)
	d := start(t, t.TempDir(), shopFile(port))
	_, _, ada := classABuild(t, d, w)
	c, ctx := client(t, d), t.Context()
	b, err := c.OpenBuild(ctx, control.NewBuild{Engine: "E-9", Family: "TB-7", WorkOrder: "W-9", Person: "Bo Lind"})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := c.StartJoint(ctx, "1", control.Start{Build: b.ID, Joint: "caps", Person: "Bo Lind"}); err != nil {
		t.Fatal(err)
	}
	if _, err := c.CloseJoint(ctx, "1", control.Close{Person: "Bo Lind"}); err != nil {
		t.Fatal(err)
	}
	at := fmt.Sprintf("/builds/%d", b.ID)
	const first = "step:caps/snug/1"
	ada.want(200, "Concede this and the 7 others of its kind", "GET", at+"?finding="+url.QueryEscape(first), nil)
	_, body := ada.do("GET", at+"?finding="+url.QueryEscape(first), nil)
	form := url.Values{"finding": {first}, "found": {field(t, body, "found")}, "all": {"yes"}, "reason": {"not loosened"}, "own_password": {password}}
	for _, m := range regexp.MustCompile(`name="also" value="([^"]*)"><input type="hidden" name="also_found" value="([^"]*)"`).FindAllStringSubmatch(body, -1) {
		form["also"], form["also_found"] = append(form["also"], m[1]), append(form["also_found"], m[2])
	}
	before := d.journal.Last()
	ada.want(303, "", "POST", at+"/concede", form)
	ada.want(200, "needs a second person", "GET", at, nil)
	form.Set("second", "Bo Lind")
	form.Set("second_password", password+"Bo Lind")
	seen := form["also_found"][6]
	form["also_found"][6] = "something milder"
	ada.want(303, "", "POST", at+"/concede", form)
	ada.want(200, "is different now", "GET", at, nil)
	if d.journal.Last() != before {
		t.Fatalf("got %d entries of what was refused, want none", d.journal.Last()-before)
	}
	form["also_found"][6] = seen
	ada.want(303, "", "POST", at+"/concede", form)
	ada.want(200, "1 finding stands in the way", "GET", at, nil) // the check
	if got := d.journal.Last() - before; got != 8 {
		t.Errorf("got %d entries, want one for each of the 8 steps", got)
	}
}

func notice(body string) string { return regexp.MustCompile(`role="status">[^<]*`).FindString(body) }

func field(t *testing.T, body, name string) string {
	t.Helper()
	m := regexp.MustCompile(`name="` + name + `" value="([^"]*)"`).FindStringSubmatch(body)
	if m == nil {
		t.Fatalf("got no field %s in %.3000q", name, body)
	}
	return m[1]
}

func standing(t *testing.T, d *Daemon, build uint64, want bench.Standing) {
	t.Helper()
	if rv, err := d.Review(build); err != nil || rv.Standing != want {
		t.Errorf("got %s, %v, want %s", rv.Standing, err, want)
	}
}

func TestPages_AClaimIsLookedUp(t *testing.T) {
	w, port := newWrench(t)
	d := start(t, t.TempDir(), shopFile(port)+"scanners:\n  - {id: S-1, bench: \"1\", port: tcp://127.0.0.1:1, labels: {engine: [{prefix: \"E:\"}], work_order: {prefix: \"W:\"}, badge: {prefix: \"B:\"}}}\n")
	b, _, _ := classABuild(t, d, w)
	cleo := signedInAs(t, d, "Cleo Marsh")
	find := func(q string) string { return "/claims?q=" + url.QueryEscape(q) }
	for asked, says := range map[string]string{
		"E-4711": "is known: engine <b>E-4711</b>", "w 12": "is written otherwise here", "U-3": "engine <b>E-4711</b>",
		"E:E-4711": "is known: engine <b>E-4711</b>", "W:W-12": "is known: engine <b>E-4711</b>", // as a scanner types them
		"1M8GDM9A1KP042788": "check digit", // 1M8GDM9AXKP042788 is right: see the test of device/label
		"E-4712":            "Like it (one character is wrong", "nothing such": "and nothing like it", "\x00": "", hostile: "",
	} {
		resp, body := cleo.do("GET", find(asked), nil)
		if resp.StatusCode != 200 || !strings.Contains(body, says) || strings.Contains(body, "<script>alert") {
			t.Errorf("%q: got %d %.1500q, want %q", asked, resp.StatusCode, body, says)
		}
	}
	cleo.want(200, "too few to say where this one lies", "GET", find("E-4711")+"&joint=caps&fastener=4", nil)
	cleo.want(200, "66.0 N·m", "GET", find("E-4711")+"&joint=caps", nil)
	cleo.want(200, "has no joint attic; it has: caps", "GET", find("E-4711")+"&joint=attic", nil)
	cleo.want(200, "has no fastener", "GET", find("E-4711")+"&joint=caps&fastener="+url.QueryEscape(hostile), nil)
	resp, pdf := cleo.do("GET", fmt.Sprintf("/builds/%d/sheet.pdf", b.ID), nil)
	if resp.StatusCode != 200 || !strings.HasPrefix(pdf, "%PDF-") || resp.Header.Get("Content-Disposition") != fmt.Sprintf(`attachment; filename="build-%d-sheet.pdf"`, b.ID) {
		t.Errorf("got %d, %v, %.20q, want a build sheet", resp.StatusCode, resp.Header, pdf)
	}
	resp, zip := cleo.do("GET", fmt.Sprintf("/builds/%d/bundle.zip", b.ID), nil)
	key, err := d.LedgerKey()
	if err != nil {
		t.Fatal(err)
	}
	found, err := bundle.Check(strings.NewReader(zip), int64(len(zip)), key)
	if err != nil || len(found.Faults) != 0 || found.Build != b.ID || resp.Header.Get("Content-Type") != "application/zip" {
		t.Errorf("got %+v, %v, %v, want a bundle that proves build %d", found, err, resp.Header, b.ID)
	}
	t.Run("a work order that is another build's number leads nobody astray", func(t *testing.T) {
		other, err := client(t, d).OpenBuild(t.Context(), control.NewBuild{Engine: "E-9", Family: "TB-7", WorkOrder: fmt.Sprint(b.ID), Person: "Bo Lind"})
		if err != nil {
			t.Fatal(err)
		}
		committed(t, d)
		_, zip := cleo.do("GET", fmt.Sprintf("/builds/%d/bundle.zip", b.ID), nil)
		if found, err := bundle.Check(strings.NewReader(zip), int64(len(zip)), key); err != nil || found.Build != b.ID {
			t.Errorf("got build %d, %v, want %d and not %d", found.Build, err, b.ID, other.ID)
		}
	})
}

// send uploads a file with the fields beside it.
func (v *visitor) send(path, file, text string, beside url.Values) (int, string) {
	v.t.Helper()
	var b bytes.Buffer
	form := multipart.NewWriter(&b)
	for name := range beside {
		if err := form.WriteField(name, beside.Get(name)); err != nil {
			v.t.Fatal(err)
		}
	}
	if file != "" {
		part, err := form.CreateFormFile("file", file)
		if err != nil {
			v.t.Fatal(err)
		}
		if _, err := part.Write([]byte(text)); err != nil {
			v.t.Fatal(err)
		}
	}
	if err := form.Close(); err != nil {
		v.t.Fatal(err)
	}
	req, err := http.NewRequestWithContext(v.t.Context(), "POST", "http://"+v.d.Addr()+path, &b)
	if err != nil {
		v.t.Fatal(err)
	}
	req.Header.Set("Content-Type", form.FormDataContentType())
	resp, err := v.http.Do(req)
	if err != nil {
		v.t.Fatal(err)
	}
	defer resp.Body.Close()
	var out bytes.Buffer
	if _, err := out.ReadFrom(resp.Body); err != nil {
		v.t.Fatal(err)
	}
	return resp.StatusCode, out.String()
}

func TestPages_AProcedureIsLookedAtAndAdded(t *testing.T) {
	_, port := newWrench(t)
	d := start(t, t.TempDir(), shopFile(port))
	addProcedure(t, client(t, d))
	ada := newVisitor(t, d)
	ada.setUp("Ada Holt")
	second := strings.Replace(strings.Replace(caps, `revision: "1"`, `revision: "2"`, 1), "57..63 N·m", "58..62 N·m", 1)
	look := func(rule, file, text string, status int, says ...string) string {
		t.Helper()
		got, body := ada.send("/procedures/preview", file, text, nil)
		for _, s := range says {
			if got != status || !strings.Contains(body, s) || strings.Contains(body, "<script>alert") {
				t.Errorf("%s: got %d %.3000q, want %d and %q", rule, got, body, status, s)
			}
		}
		return body
	}
	look("all faults at their lines", "caps.yaml", strings.NewReplacer("30 N·m", "thirty", "tighten_to: 60", "tighten: 60").Replace(caps), 422,
		"faults are to be mended first", "▲ column", "thirty", "tighten: 60")
	look("what is no procedure at all", strings.TrimSuffix(hostile, "\x00"), hostile, 422, "mended first")
	look("bytes that are no text", "a.yaml", "\x00\xff\xfe", 422, "mended first")
	look("nothing", "", "", 422, "mended first")
	look("more than is taken", "big.yaml", strings.Repeat("x", 6<<20), 413, "send less")
	large, err := os.ReadFile("../../../../testdata/procedures/tb-42-rev-4.yaml")
	if err != nil {
		t.Fatal(err)
	}
	if body := look("a large one", "tb-42.yaml", string(large), 200, "Not added yet", "Main bearing caps"); len(body) > 80_000 {
		t.Errorf("got a page of %d bytes, want it light", len(body))
	}
	body := look("a good one", `C:\caps.yaml`, strings.ReplaceAll(second, "\n", "\r\n"), 200, "Not added yet", "Differences from revision 1", "58..62", "57..63", "<svg")
	if len(d.Procedures()) != 1 {
		t.Fatalf("got %+v, want nothing added by a look", d.Procedures())
	}
	if !strings.Contains(body, `name="text"`) {
		t.Fatalf("got %q, want the text carried on", body)
	}
	form := url.Values{"name": {"caps.yaml"}, "text": {strings.ReplaceAll(second, "\n", "\r\n")}, "own_password": {"no"}}
	if status, _ := ada.send("/procedures", "", "", form); status != 303 || len(d.Procedures()) != 1 {
		t.Errorf("got %d, %+v, want it refused without the password", status, d.Procedures())
	}
	form.Set("own_password", password)
	if status, _ := ada.send("/procedures", "", "", form); status != 303 || len(d.Procedures()) != 2 {
		t.Errorf("got %d, %+v, want it added", status, d.Procedures())
	}
	d.Look(func(s *bench.Shop) {
		if p := s.Procedures(); p[len(p)-1].Text != second {
			t.Errorf("got %q, want the file as it was written", p[len(p)-1].Text)
		}
	})
	ada.want(200, "Revision 2", "GET", "/procedures", nil)
	ada.want(200, "− gone", "GET", "/procedures/one?family=TB-7&revision=2&against=1", nil)
	ada.want(404, "no such procedure", "GET", "/procedures/one?family="+url.QueryEscape(hostile), nil)
	form.Set("text", strings.Replace(second, "58..62", "59..61", 1))
	if status, _ := ada.send("/procedures", "", "", form); status != 303 {
		t.Errorf("got %d", status)
	}
	ada.want(200, "a revision never changes", "GET", "/procedures", nil)
}

func TestPages_TheLedgerIsChecked(t *testing.T) {
	w, port := newWrench(t)
	dir := t.TempDir()
	d := start(t, dir, strings.Replace(shopFile(port), "listen:", "witness: "+dir+"/witness\nlisten:", 1))
	_, _, ada := classABuild(t, d, w)
	ada.want(200, "Not checked since the daemon started", "GET", "/ledger", nil)
	ada.want(200, "checkpoints lie in", "GET", "/ledger", nil)
	ada.want(303, "", "POST", "/ledger/verify", url.Values{})
	resp, body := ada.do("GET", "/ledger/progress", nil) // comes to an end with the check
	if resp.Header.Get("Content-Type") != "text/event-stream" || !strings.Contains(body, "✓ In order") {
		t.Errorf("got %v, %.2000q, want the check to come out well", resp.Header, body)
	}
	ada.want(200, "leaves made anew from their rows", "GET", "/ledger", nil)
	tamper(t, d)
	ada.want(303, "", "POST", "/ledger/verify", url.Values{})
	if _, body := ada.do("GET", "/ledger/progress", nil); !strings.Contains(body, "✕ Not in order") || !strings.Contains(body, "the record was changed") {
		t.Errorf("got %.2000q, want what was changed", body)
	}
}

func TestPages_AWrenchAndWhatItTouched(t *testing.T) {
	w, port := newWrench(t)
	d := start(t, t.TempDir(), shopFile(port))
	build, run, ada := classABuild(t, d, w)
	bo := signedInAs(t, d, "Bo Lind")
	ada.want(200, "calibrated until 2027-01-17", "GET", "/wrenches", nil)
	d.keptRight(false, nil)
	ada.want(200, "The clock of this computer is not synchronised", "GET", "/wrenches", nil)
	ada.want(200, "10 N·m … 200 N·m", "GET", "/wrenches/TW-01", nil)
	found := url.Values{"certificate": {"C-2"}, "found": {"2026-06-01"}, "good": {"no"}, "points": {"10 %@30 N·m, 10 %@100 N·m"}, "own_password": {password}}
	for _, bad := range []string{"found", "points", "own_password"} {
		form := url.Values{}
		for k := range found {
			form.Set(k, found.Get(k))
		}
		form.Set(bad, hostile)
		ada.want(303, "", "POST", "/wrenches/TW-01/found", form)
		ada.want(200, "Not done: ", "GET", "/wrenches/TW-01", nil)
	}
	ada.want(303, "", "POST", "/wrenches/TW-01/found", found)
	committed(t, d)
	ada.want(200, "verdicts would turn", "GET", "/wrenches/TW-01", nil)
	ada.want(200, "pass would be low torque", "GET", "/wrenches/TW-01", nil)
	ada.want(200, "wrench TW-01 was found bad by certificate C-2 (10 %@30 N·m, 10 %@100 N·m), in doubt since ", "GET", "/claims?q=E-4711", nil)
	ada.want(200, "In doubt: a calibration found bad since touches 8 of its readings", "GET", "/claims?q=E-4711", nil)
	ada.want(200, "In doubt: a calibration found bad since touches 8 of its readings", "GET", fmt.Sprintf("/builds/%d", build.ID), nil)
	ada.want(200, "wrench found bad", "GET", fmt.Sprintf("/builds/%d/joints/%d", build.ID, run), nil)
	if _, body := bo.do("GET", "/wrenches/TW-01", nil); strings.Contains(body, "E-4711") || !strings.Contains(body, "verdicts would turn") {
		t.Errorf("got %q, want no engines for a technician", body)
	}
	ada.want(404, "no wrench", "GET", "/wrenches/"+url.PathEscape(hostile), nil)
}

// Who mistypes the password of a second person keeps that colleague out at this place alone.
func TestPages_TheSecondPersonMistyped(t *testing.T) {
	w, port := newWrench(t)
	var log strings.Builder
	d := made(t, t.TempDir(), shopFile(port), &log)
	if err := d.Start(t.Context()); err != nil {
		t.Fatal(err)
	}
	b, _, ada := classABuild(t, d, w)
	at := fmt.Sprintf("/builds/%d", b.ID)
	rv, err := d.Review(b.ID)
	if err != nil || len(rv.Findings) != 1 {
		t.Fatalf("got %+v, %v, want one finding", rv, err)
	}
	form := url.Values{"finding": {rv.Findings[0].ID}, "found": {rv.Findings[0].Text}, "reason": {"below the yield"}, "own_password": {password},
		"second": {"Bo Lind"}, "second_password": {"no"}}
	for range 5 {
		ada.want(303, "", "POST", at+"/concede", form)
		ada.want(200, "of the second person do not belong together", "GET", at, nil)
	}
	form.Set("second_password", password+"Bo Lind")
	ada.want(303, "", "POST", at+"/concede", form)
	ada.want(200, "too many wrong tries of the second person: wait 2s", "GET", at, nil)
	bench := atBench(t, d, "1")
	bench.signIn("Ada Holt")
	bench.want(303, "", "POST", at+"/concede", form)
	bench.want(200, "Conceded by Ada Holt and Bo Lind", "GET", at, nil)
	stopDaemon(t, d)
	if got := strings.Count(log.String(), "a password was wrong"); got != 5 {
		t.Errorf("got %d wrong passwords in the log, want 5", got)
	}
}

// closeDatabase ends all connections to the database and lets nobody in again, until open is called.
func closeDatabase(t *testing.T, d *Daemon) (open func()) {
	t.Helper()
	url, err := d.base.address(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	cfg, err := pgx.ParseConfig(url)
	if err != nil {
		t.Fatal(err)
	}
	name := cfg.Database
	cfg.Database = "template1"
	do := func(statements ...string) {
		t.Helper()
		conn, err := pgx.ConnectConfig(t.Context(), cfg)
		if err != nil {
			t.Fatal(err)
		}
		defer conn.Close(context.Background())
		for _, sql := range statements {
			if _, err := conn.Exec(t.Context(), sql); err != nil {
				t.Fatal(err)
			}
		}
	}
	allow := "ALTER DATABASE " + pgx.Identifier{name}.Sanitize() + " ALLOW_CONNECTIONS "
	do(allow+"false", "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = '"+name+"'")
	return func() { t.Helper(); do(allow + "true") }
}

// Without the database the pages say so, and show what the daemon knows.
func TestPages_WithoutTheDatabase(t *testing.T) {
	w, port := newWrench(t)
	d := start(t, t.TempDir(), shopFile(port))
	b, run, ada := classABuild(t, d, w)
	closeDatabase(t, d)
	for path, says := range map[string]string{
		"/builds":                       "fastener 4: high torque",
		fmt.Sprintf("/builds/%d", b.ID): "Bearing caps",
		fmt.Sprintf("/builds/%d/joints/%d", b.ID, run): "the database is away",
		"/claims?q=e-4711":                       "work order W-12",
		"/wrenches/TW-01":                        "C-1",
		"/ledger":                                "was known before",
		"/procedures":                            "Revision 1",
		"/procedures/one?family=TB-7&revision=1": "Bearing caps",
	} {
		ada.want(200, says, "GET", path, nil)
	}
	for _, path := range []string{fmt.Sprintf("/builds/%d", b.ID), "/claims?q=E-4711", "/wrenches/TW-01", "/ledger"} {
		ada.want(200, "database is away", "GET", path, nil)
	}
	ada.want(503, "the database is away", "GET", fmt.Sprintf("/builds/%d/bundle.zip", b.ID), nil)
}
