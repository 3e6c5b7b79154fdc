package web

import (
	"encoding/json"
	"fmt"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/alexedwards/scs/v2"

	"witnessmark/device/unit"
)

// catalogue is every text of en.json by its key; of one with two forms the other one.
func catalogue(t *testing.T) map[string]string {
	b, err := textFiles.ReadFile("texts/en.json")
	if err != nil {
		t.Fatal(err)
	}
	var all map[string]any
	if err := json.Unmarshal(b, &all); err != nil {
		t.Fatal(err)
	}
	out := map[string]string{}
	for key, v := range all {
		if forms, ok := v.(map[string]any); ok {
			v = forms["other"]
		}
		out[key] = fmt.Sprint(v)
	}
	return out
}

// use is a text that a page or the code asks for, with the names of the fields that it gives.
type use struct {
	key    string
	fields []string
}

var (
	inPage = regexp.MustCompile(`(?:\{\{|\()t "([^"]+)"((?: "\w+" (?:\([^)]*\)|\S+?))*)(?:\}\}|\))`)
	inCode = regexp.MustCompile(`(?:\.say\((?:r, )?|\ben\(|, |key [:+]?= |return )"([a-z][a-z-]*\.[a-z0-9-]+)"`)
	named  = regexp.MustCompile(`"(\w+)" `)
	wanted = regexp.MustCompile(`\{\{\.(\w+)\}\}`)
)

func names(form *regexp.Regexp, text string) (out []string) {
	for _, m := range form.FindAllStringSubmatch(text, -1) {
		out = append(out, m[1])
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// uses are all of them; code tells its keys alone.
func uses(t *testing.T) (pages []use, code map[string]bool) {
	code = map[string]bool{}
	files, err := fs.Glob(pageFiles, "pages/*.html")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range files {
		b, err := pageFiles.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		if calls := strings.Count(string(b), "{{t ") + strings.Count(string(b), "(t \""); calls != len(inPage.FindAllString(string(b), -1)) {
			t.Errorf("%s: this test does not understand all of its %d texts", name, calls)
		}
		for _, m := range inPage.FindAllStringSubmatch(string(b), -1) {
			pages = append(pages, use{m[1], names(named, m[2])})
		}
	}
	sources, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	sources = slices.DeleteFunc(sources, func(name string) bool { return strings.HasSuffix(name, "_test.go") })
	for _, name := range sources {
		b, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range inCode.FindAllStringSubmatch(string(b), -1) {
			code[m[1]] = true
		}
	}
	return pages, code
}

func TestTexts_TheCatalogueIsWhatIsUsed(t *testing.T) {
	texts, asked := catalogue(t), map[string]bool{}
	pages, code := uses(t)
	for _, u := range pages {
		asked[u.key] = true
		text, ok := texts[u.key]
		if got := names(wanted, text); !ok || !slices.Equal(got, u.fields) {
			t.Errorf("%s %q: the page gives %q, the text takes %q", u.key, text, u.fields, got)
		}
	}
	for key := range code {
		asked[key] = true
		if texts[key] == "" {
			t.Errorf("%s: the code asks for it, and it is not in the catalogue", key)
		}
	}
	for _, suffix := range []string{"", "-refused", "-of-fastener", "-of-fastener-refused"} {
		asked["story.check"+suffix] = true
	}
	for key := range texts {
		if !asked[key] && !strings.HasPrefix(key, "word.") {
			t.Errorf("%s: nothing asks for it", key)
		}
	}
}

func TestTexts_FormsOfNumbersAndMarkup(t *testing.T) {
	l, err := newLanguages(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	w := l.all[0][unit.Nm]
	for n, want := range map[int]string{1: "1 finding stands in the way of the release", 3: "3 findings stand in the way of the release"} {
		if got := w.say("build.findings-in-the-way", "N", n); got != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
	if got := string(w.html("claims.of-asked-note", "Asked", "<b>", "Note", "a & b")); got != "Of &lt;b&gt;: a &amp; b" {
		t.Errorf("got %q, want what the fields stand for escaped", got)
	}
	if got := w.word("a word of tomorrow"); got != "a word of tomorrow" {
		t.Errorf("got %q, want the word itself", got)
	}
}

// A refusal travels in English and is said in the language of who reads it.
func TestTexts_ARefusalInAnotherLanguage(t *testing.T) {
	dir := t.TempDir()
	if err := os.Mkdir(filepath.Join(dir, "texts"), 0o700); err != nil {
		t.Fatal(err)
	}
	text := `{"refusal.no-wrench-wrench-here-see-the-list": "ne estas {{.Wrench}}"}`
	if err := os.WriteFile(filepath.Join(dir, "texts", "eo.json"), []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	l, err := newLanguages(dir)
	if err != nil {
		t.Fatal(err)
	}
	p := &Pages{languages: l, sessions: scs.New()}
	r := request(t, "eo, en;q=0.5")
	ctx, err := p.sessions.Load(r.Context(), "")
	if err != nil {
		t.Fatal(err)
	}
	r = r.WithContext(ctx)
	for english, want := range map[string]string{
		en("refusal.no-wrench-wrench-here-see-the-list", "Wrench", "TW-9"): "ne estas TW-9",
		"the bench refuses in the words of the record":                     "the bench refuses in the words of the record",
	} {
		if got := p.sentence(r, english); got != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
	if got := p.say(r, "menu.builds"); got != "Builds" {
		t.Errorf("got %q, want English where the catalogue has nothing", got)
	}
	t.Run("a broken catalogue is named", func(t *testing.T) {
		if err := os.WriteFile(filepath.Join(dir, "texts", "eo.json"), []byte("{"), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := newLanguages(dir); err == nil || !strings.Contains(err.Error(), "texts/eo.json is no catalogue of texts") {
			t.Errorf("got %v, want the file named", err)
		}
	})
}

func request(t *testing.T, languages string) *http.Request {
	r, err := http.NewRequestWithContext(t.Context(), http.MethodGet, "/", nil)
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Accept-Language", languages)
	return r
}
