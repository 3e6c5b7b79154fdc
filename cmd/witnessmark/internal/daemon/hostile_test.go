package daemon

import (
	"encoding/json"
	"fmt"
	"html"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"

	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/cmd/witnessmark/internal/web"
)

// hostiles are what a field must stand.
var hostiles = map[string]string{
	"script": `"><script>alert(1)</script>`, "SQL": `'; DROP TABLE witnessmark.build; --`, "huge": strings.Repeat("x", 1<<20),
	"right to left": "\u202eW\u2066", "zero bytes": "a\x00b", "no UTF-8": "a\xff\xfeb", "quotes": `'"` + "`{{.}}%s\r\nX-Bad: 1",
}

// form is one on a page: where it sends what to, and its fields with what stands in them.
type form struct {
	method, action string
	fields         url.Values
}

var (
	aForm  = regexp.MustCompile(`(?s)<form([^>]*)>(.*?)</form>`)
	aField = regexp.MustCompile(`<(input|textarea|select|button)([^>]*)>`)
	anAttr = regexp.MustCompile(`([a-z-]+)="([^"]*)"`)
	option = regexp.MustCompile(`(?s)^.*?<option(?: value="([^"]*)")?[^>]*>([^<]*)`)
)

func attributes(text string) map[string]string {
	out := map[string]string{}
	for _, m := range anAttr.FindAllStringSubmatch(text, -1) {
		out[m[1]] = html.UnescapeString(m[2])
	}
	return out
}

// forms finds those of a page.
func forms(page, path string) (out []form) {
	for _, m := range aForm.FindAllStringSubmatch(page, -1) {
		a := attributes(m[1])
		f := form{strings.ToUpper(a["method"]), a["action"], url.Values{}}
		if f.action == "" {
			f.action, _, _ = strings.Cut(path, "?")
		}
		for _, at := range aField.FindAllStringSubmatchIndex(m[2], -1) {
			kind, a := m[2][at[2]:at[3]], attributes(m[2][at[4]:at[5]])
			if a["name"] == "" || kind == "button" && f.fields.Has(a["name"]) || a["type"] == "radio" && f.fields.Has(a["name"]) {
				continue
			}
			value := a["value"]
			switch {
			case kind == "select":
				if o := option.FindStringSubmatch(m[2][at[1]:]); o != nil {
					value = o[1] + o[2]
				}
			case strings.Contains(a["name"], "password"):
				value = password
			case value == "" && kind != "button":
				value = "x"
			}
			f.fields.Set(a["name"], value)
		}
		out = append(out, f)
	}
	return out
}

// Every field of every page, as the pages themselves show them, is given what a hostile browser would send.
func TestPages_HostileInEveryField(t *testing.T) {
	w, port := newWrench(t)
	d := start(t, t.TempDir(), shopFile(port))
	build, run, ada := classABuild(t, d, w)
	if _, err := client(t, d).StartJoint(t.Context(), "1", control.Start{Build: build.ID, Joint: "caps", Person: "Bo Lind"}); err != nil {
		t.Fatal(err)
	}
	joint := fmt.Sprintf("/builds/%d/joints/%d?stage=seat", build.ID, run)
	_, page := ada.do("GET", joint, nil)
	correct := regexp.MustCompile(`reading=\d+`).FindString(page)
	paths := []string{joint + "&" + correct, "/claims?q=E-4711&joint=caps&fastener=1", "/procedures/one?family=TB-7&revision=1", fmt.Sprintf("/builds/%d?finding=step:caps/seat/4", build.ID),
		"/bench/1/start", fmt.Sprintf("/bench/1/start?build=%d", build.ID)}
	for _, a := range d.pages.Table() {
		if method, path, _ := strings.Cut(a.Pattern, " "); method == "GET" && isPage(path) && !strings.HasPrefix(path, "/api/") && !strings.Contains(path, "provider") {
			paths = append(paths, strings.NewReplacer("{run}", fmt.Sprint(run), "{wrench}", "TW-01", "{$}", "", "{bench}", "1", "{build}", fmt.Sprint(build.ID)).Replace(path))
		}
	}
	tried, asked := map[string]bool{}, 0
	for _, path := range paths {
		_, page := ada.do("GET", path, nil)
		for _, f := range forms(page, path) {
			for field := range f.fields {
				if key := f.method + f.action + field; tried[key] || f.action == "/sign-out" {
					continue
				} else {
					tried[key] = true
				}
				for name, bad := range hostiles {
					asked++
					ada.stands(f, field, name, bad)
				}
			}
		}
	}
	for _, field := range []string{"POST/bench/1/answer" + "value", "POST/people" + "name", "GET/claims" + "q", "POST/wrenches/TW-01/found" + "points", "POST/unit" + "unit",
		fmt.Sprintf("POST/builds/%d/concede", build.ID) + "reason", fmt.Sprintf("POST/builds/%d/correct", build.ID) + "reason"} {
		if !tried[field] {
			t.Errorf("%s was not tried: the pages are not read as they should be, tried are %v", field, tried)
		}
	}
	t.Logf("%d requests to %d fields", asked, len(tried))
	ada.recordHolds()
}

// stands sends a form with one hostile field: an answer below 500, with nothing of it as markup and no header of its own; and
// what is refused leaves no entry.
func (v *visitor) stands(f form, field, name, bad string) {
	v.t.Helper()
	in := url.Values{}
	for k := range f.fields {
		in.Set(k, f.fields.Get(k))
	}
	in.Set(field, bad)
	path, body := f.action, in
	if f.method == "GET" {
		path, body = path+"?"+in.Encode(), nil
	}
	before := v.d.journal.Last()
	resp, page := v.do(f.method, path, body)
	refused := resp.StatusCode >= 400
	if resp.StatusCode >= 500 || resp.Header.Get("X-Bad") != "" || strings.Contains(page, "<script>alert") {
		v.t.Errorf("%s %s, %s with %s: got %d %.300q", f.method, f.action, field, name, resp.StatusCode, page)
	}
	if to := resp.Header.Get("Location"); resp.StatusCode == http.StatusSeeOther && strings.HasPrefix(to, "/") {
		resp, page := v.do("GET", to, nil)
		if resp.StatusCode >= 500 || strings.Contains(page, "<script>alert") {
			v.t.Errorf("%s after %s %s, %s with %s: got %d %.300q", to, f.method, f.action, field, name, resp.StatusCode, page)
		}
		refused = refused || strings.Contains(page, "Not done: ")
	}
	if after := v.d.journal.Last(); refused && after != before {
		v.t.Errorf("%s %s, %s with %s: got %d entries of what was refused", f.method, f.action, field, name, after-before)
	}
}

// recordHolds asks whether what is recorded is whole, after whatever was sent.
func (v *visitor) recordHolds() {
	v.t.Helper()
	committed(v.t, v.d)
	url, err := v.d.base.address(v.t.Context())
	if err != nil {
		v.t.Fatal(err)
	}
	if _, err := verify(v.t, v.t.Context(), url, v.d.opt.Data); err != nil {
		v.t.Errorf("verify: %v", err)
	}
}

// Every text in the body of every request that the OpenAPI document names, and every part of its path.
func TestAPI_HostileInEveryField(t *testing.T) {
	w, port := newWrench(t)
	d := start(t, t.TempDir(), shopFile(port))
	build, _, ada := classABuild(t, d, w)
	doc := readDocument(t, ada)
	var told struct {
		Components struct{ Schemas map[string]schema }
	}
	_, text := ada.ask("GET", "/openapi.json", nil)
	if err := json.Unmarshal(text, &told); err != nil {
		t.Fatal(err)
	}
	parts := regexp.MustCompile(`\{(\w+)\}`)
	asked := 0
	for path, methods := range doc.paths {
		for method, op := range methods {
			real := parts.ReplaceAllStringFunc(path, func(p string) string {
				return map[string]string{"{id}": "1", "{build}": fmt.Sprint(build.ID), "{wrench}": "TW-01"}[p]
			})
			for name, bad := range hostiles {
				asked++
				hostilePath := parts.ReplaceAllString(path, url.PathEscape(bad[:min(len(bad), 2000)]))
				if hostilePath != path && !strings.HasSuffix(path, "/watch") {
					ada.answers(method, hostilePath, nil, name)
				}
				if op.RequestBody == nil {
					continue
				}
				s := told.Components.Schemas[op.RequestBody.ref()]
				for _, field := range s.texts() {
					asked++
					ada.answers(method, real, s.with(field, bad), field+" with "+name)
				}
			}
		}
	}
	if asked < 200 {
		t.Errorf("got %d requests, want all fields of the document", asked)
	}
	t.Logf("%d requests", asked)
	ada.recordHolds()
}

// schema is as much of one as is needed to fill it in.
type schema struct {
	Required   []string
	Properties map[string]map[string]any
}

// texts are the names of the fields that take a text.
func (s schema) texts() (out []string) {
	for name, p := range s.Properties {
		if p["type"] == "string" || p["enum"] != nil {
			out = append(out, name)
		}
	}
	slices.Sort(out)
	return out
}

func (s schema) with(field, text string) map[string]any {
	out := map[string]any{field: text}
	for _, name := range s.Required {
		if _, set := out[name]; set {
			continue
		}
		switch s.Properties[name]["type"] {
		case "integer":
			out[name] = 1
		case "boolean":
			out[name] = true
		case "array":
			out[name] = []any{}
		default:
			out[name] = "x"
		}
	}
	return out
}

// ref is the name of the schema of a body.
func (c *content) ref() string {
	for _, v := range c.Content {
		if m, ok := v.Schema.(map[string]any); ok {
			ref, _ := m["$ref"].(string)
			return ref[strings.LastIndex(ref, "/")+1:]
		}
	}
	return ""
}

// answers sends a request to the API: what comes back is JSON below 500, a refusal a sentence.
func (v *visitor) answers(method, path string, in any, what string) {
	v.t.Helper()
	status, body := v.ask(method, path, in, web.OwnPassword, password)
	var refusal struct{ Error string }
	if err := json.Unmarshal(body, &refusal); err != nil || status >= 500 || status >= 400 && len(refusal.Error) < 10 {
		v.t.Errorf("%s %.80s, %s: got %d %.200q, %v", method, path, what, status, body, err)
	}
}
