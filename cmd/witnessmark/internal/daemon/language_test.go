package daemon

import (
	"encoding/json"
	"fmt"
	"html"
	"iter"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"unicode"

	"witnessmark/audit/bench"
)

// untouched keeps what of a text is no word: fields and markup.
var untouched = regexp.MustCompile(`\{\{[^}]*\}\}|<[^>]*>[^<]*</code>|<[^>]*>|&\w+;`)

// disguised is a text in a language that has one letter only.
func disguised(text string) string {
	disguise := func(s string) string {
		return strings.Map(func(r rune) rune {
			if unicode.IsLetter(r) {
				return 'ж'
			}
			return r
		}, s)
	}
	var b strings.Builder
	at := 0
	for _, m := range untouched.FindAllStringIndex(text, -1) {
		b.WriteString(disguise(text[at:m[0]]) + text[m[0]:m[1]])
		at = m[1]
	}
	return b.String() + disguise(text[at:])
}

// disguise writes a catalogue of that language, which calls itself Esperanto, into a data folder.
func disguise(t *testing.T, data string) {
	t.Helper()
	b, err := os.ReadFile("../web/texts/en.json")
	if err != nil {
		t.Fatal(err)
	}
	var all map[string]any
	if err := json.Unmarshal(b, &all); err != nil {
		t.Fatal(err)
	}
	for key, v := range all {
		if forms, ok := v.(map[string]any); ok {
			v = forms["other"]
		}
		all[key] = disguised(v.(string))
	}
	if b, err = json.Marshal(all); err != nil {
		t.Fatal(err)
	}
	if err := os.MkdirAll(filepath.Join(data, "texts"), 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(data, "texts", "eo.json"), b, 0o600); err != nil {
		t.Fatal(err)
	}
}

var (
	notRead = regexp.MustCompile(`(?s)<(svg|code|pre|script|style|textarea)\b.*?</(svg|code|pre|script|style|textarea)>|<!doctype[^>]*>`)
	tag     = regexp.MustCompile(`(?s)<[^>]*>`)
	spoken  = regexp.MustCompile(`(?:aria-label|title|placeholder|data-loud|data-quiet)="([^"]*)"`)
	latin   = regexp.MustCompile(`[A-Za-z]{3,}`)
)

// english are the words of a page, read and spoken, that are in no disguise.
func englishOf(page string) (out []string) {
	page = notRead.ReplaceAllString(page, " ")
	text := tag.ReplaceAllString(page, " ")
	for _, m := range spoken.FindAllStringSubmatch(page, -1) {
		text += " " + m[1]
	}
	out = latin.FindAllString(html.UnescapeString(text), -1)
	slices.Sort(out)
	return slices.Compact(out)
}

// What is left in English on the pages of another language are names, what the bench and the record say, and the procedure.
func TestPages_InAnotherLanguage(t *testing.T) {
	w, port := newWrench(t)
	data := t.TempDir()
	disguise(t, data)
	d := start(t, data, shopFile(port))
	build, run, ada := classABuild(t, d, w)
	ada.want(303, "", "POST", "/wrenches/TW-01/found", url.Values{"certificate": {"C-2"}, "found": {"2026-06-01"}, "good": {"no"},
		"points": {"10 %@30 N·m"}, "own_password": {password}}, "Accept-Language", "eo")
	committed(t, d)
	ours := englishOf(strings.Join([]string{classA, shopFile(port), "Ada Holt Bo Lind Cleo Marsh Esperanto lbf kgf " + data, fmt.Sprint(d.pages.Table())}, " "))
	recorded := recordedWords(t, d, build.ID)
	for path, body := range everyPage(ada, build.ID, run, "Accept-Language", "eo") {
		left := slices.DeleteFunc(englishOf(body), func(word string) bool { return slices.Contains(ours, word) || slices.Contains(recorded, word) })
		if len(left) > 0 {
			t.Errorf("%s: got %q in English, want everything in the language asked for", path, left)
		}
		if !strings.Contains(body, "ж") || !strings.Contains(body, `lang="eo"`) {
			t.Errorf("%s: got %.200q, want it in the language asked for", path, body)
		}
	}
}

// everyPage is each page with a build made by classABuild, by its path.
func everyPage(v *visitor, build, run uint64, header ...string) iter.Seq2[string, string] {
	return func(yield func(path, body string) bool) {
		for _, a := range v.d.pages.Table() {
			method, path, _ := strings.Cut(a.Pattern, " ")
			if method != "GET" || strings.HasPrefix(path, "/api/") || !isPage(path) || strings.HasPrefix(path, "/enter") || path == "/set-up" || strings.Contains(path, "provider") {
				continue
			}
			if path == "/procedures/one" {
				path += "?family=TB-7&revision=1"
			}
			if path == "/claims" {
				path += "?q=E-4711&joint=caps&fastener=1"
			}
			path = strings.NewReplacer("{run}", fmt.Sprint(run), "{wrench}", "TW-01", "{$}", "", "{bench}", "1", "{build}", fmt.Sprint(build), "{id}", fmt.Sprint(build)).Replace(path)
			if _, body := v.do("GET", path, nil, header...); !yield(path, body) {
				return
			}
		}
	}
}

// recordedWords are those of what the bench says and the record holds.
func recordedWords(t *testing.T, d *Daemon, build uint64) []string {
	t.Helper()
	rv, err := d.Review(build)
	if err != nil {
		t.Fatal(err)
	}
	b, err := json.Marshal(rv)
	if err != nil {
		t.Fatal(err)
	}
	v, err := d.View("1")
	if err != nil {
		t.Fatal(err)
	}
	seen, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	var doubts string
	d.live.look(func(s *bench.Shop) { doubts = s.InDoubt(build) })
	const affected = "since ever, until now" // of a span in doubt
	return englishOf(strings.Join([]string{string(b), string(seen), doubts, affected, "Wanted order"}, " "))
}

// Whoever reads in pounds sees pounds everywhere, in every browser from the next sign-in on; what the wrench sent stays.
func TestPages_UnitsOfAPerson(t *testing.T) {
	w, port := newWrench(t)
	d := start(t, t.TempDir(), shopFile(port))
	build, run, ada := classABuild(t, d, w)
	ada.want(400, "no such unit here", "POST", "/unit", url.Values{"unit": {hostile}})
	ada.want(200, "Torques in N·m", "GET", "/unit", nil)
	ada.want(303, "", "POST", "/unit", url.Values{"unit": {"lbf·ft"}})
	ada.want(200, "Torques are in lbf·ft for you from now on.", "GET", "/", nil)
	joint := fmt.Sprintf("/builds/%d/joints/%d?stage=seat", build.ID, run)
	ada.want(200, "44.2", "GET", joint, nil) // 60 N·m are 44.25 lbf·ft
	ada.want(200, "lbf·ft", "GET", "/procedures/one?family=TB-7&revision=1", nil)
	ada.want(200, "lbf·ft", "GET", "/claims?q=E-4711&joint=caps&fastener=1", nil)
	ada.want(200, "7.4 lbf·ft … 147.5 lbf·ft", "GET", "/wrenches/TW-01", nil)
	_, body := ada.do("GET", fmt.Sprintf("/builds/%d", build.ID), nil)
	if strings.Contains(tag.ReplaceAllString(body, ""), "N·m") {
		t.Errorf("got N·m on the page of a build: %.2000q", body)
	}
	if sheet := onPaper(t, ada, build.ID); !strings.Contains(sheet, "Target lbf·ft") || !strings.Contains(sheet, "44.25 (42.04 …") || strings.Contains(sheet, "N·m") {
		t.Errorf("got %s, want the sheet in lbf·ft: 44.2537 for 60 N·m (NIST SP 811, appendix B)", sheet)
	}
	again := newVisitor(t, d)
	again.want(303, "", "POST", "/sign-in", url.Values{"name": {"Ada Holt"}, "password": {password}})
	again.want(200, "Torques in lbf·ft", "GET", "/", nil)
	signedInAs(t, d, "Bo Lind").want(200, "Torques in N·m", "GET", "/", nil)
}

// onPaper is the text of the build sheet that somebody downloads.
func onPaper(t *testing.T, v *visitor, build uint64) string {
	t.Helper()
	_, pdf := v.do("GET", fmt.Sprintf("/builds/%d/sheet.pdf", build), nil)
	read := exec.CommandContext(t.Context(), "pdftotext", "-layout", "-", "-")
	read.Stdin = strings.NewReader(pdf)
	text, err := read.Output()
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}
