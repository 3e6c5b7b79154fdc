package web

import (
	"embed"
	"fmt"
	"html/template"
	"io/fs"
	"maps"
	"net/http"
	"os"
	"regexp"
	"slices"
	"strings"

	"github.com/nicksnyder/go-i18n/v2/i18n"
	"golang.org/x/text/language"

	"witnessmark/device/unit"
)

// Every text of the pages stands in texts/en.json. A further language is a further file, such as de.json, there or in the
// folder texts of the data folder. What is recorded (names, reasons, findings, refusals of the bench) and what the build sheet
// says too stays in the words in which it is recorded.
//
//go:embed texts/*.json
var textFiles embed.FS

// languages are the catalogues that there are, the first of them English, in which everything is written.
type languages struct {
	matcher language.Matcher
	all     []map[unit.TorqueUnit]*words // by the units that a person may read
	// refusals are how this package refuses, in English.
	refusals []refusal
}

// words are the pages in one language, with torques in one unit.
type words struct {
	Lang      string // of the page, as HTML has it
	unit      unit.TorqueUnit
	localizer *i18n.Localizer
	templates *template.Template
}

// newLanguages reads the catalogues that are built in, and those of a shop's own in the folder texts of folder. What one of
// these lacks is said in English.
func newLanguages(folder string) (*languages, error) {
	l := &languages{}
	bundle, tags := i18n.NewBundle(language.English), []language.Tag{language.English}
	for _, from := range []fs.FS{textFiles, os.DirFS(folder)} {
		names, err := fs.Glob(from, "texts/*.json")
		if err != nil {
			return nil, err
		}
		for _, name := range names {
			f, err := bundle.LoadMessageFileFS(from, name)
			if err != nil {
				return nil, fmt.Errorf("%s is no catalogue of texts, mend it or take it away: %w", name, err)
			}
			if l.refusals == nil {
				l.refusals = refusals(f) // of en.json, the only one that is built in
			}
			if !slices.Contains(tags, f.Tag) {
				tags = append(tags, f.Tag)
			}
		}
	}
	l.matcher = language.NewMatcher(tags)
	for _, tag := range tags {
		in := map[unit.TorqueUnit]*words{}
		for _, u := range readIn {
			w := &words{Lang: tag.String(), unit: u, localizer: i18n.NewLocalizer(bundle, tag.String())}
			if err := w.parse(); err != nil {
				return nil, err
			}
			in[u] = w
		}
		l.all = append(l.all, in)
	}
	return l, nil
}

func (w *words) parse() (err error) {
	own := template.FuncMap{"t": w.html, "word": w.word, "picture": w.picture, "in": w.in}
	maps.Copy(own, helpers)
	w.templates, err = template.New("").Funcs(own).ParseFS(pageFiles, "pages/*.html")
	return err
}

// of are the words that the browser of a request asks for, as far as there are such.
func (l *languages) of(r *http.Request, u unit.TorqueUnit) *words {
	_, i := language.MatchStrings(l.matcher, r.Header.Get("Accept-Language"))
	if w := l.all[i][u]; w != nil {
		return w
	}
	return l.all[i][unit.Nm]
}

// words are those of a request.
func (p *Pages) words(r *http.Request) *words { return p.languages.of(r, p.unit(r)) }

// say is the text of a key with what its fields stand for, as name and value in turn. A field N is the number that the form
// of the text depends on.
func (w *words) say(key string, fields ...any) string {
	c := &i18n.LocalizeConfig{MessageID: key}
	if len(fields) > 0 {
		data := map[string]any{}
		for i := 0; i+1 < len(fields); i += 2 {
			data[fields[i].(string)] = fields[i+1]
		}
		c.TemplateData, c.PluralCount = data, data["N"]
	}
	text, err := w.localizer.Localize(c)
	if err != nil && text == "" {
		return key // a test finds every key
	}
	return text
}

// html is say for a page: the text may hold markup, and what its fields stand for never does.
func (w *words) html(key string, fields ...any) template.HTML {
	safe := make([]any, len(fields))
	for i, f := range fields {
		switch f := f.(type) {
		case template.HTML, int, int64, uint64:
			safe[i] = f
		default:
			safe[i] = f
			if i%2 == 1 {
				safe[i] = template.HTMLEscaper(f)
			}
		}
	}
	return template.HTML(w.say(key, safe...))
}

// word is the text of a verdict, flag, state or role; one that the catalogue does not have stands for itself.
func (w *words) word(v any) string {
	text := fmt.Sprint(v)
	key := "word." + strings.ReplaceAll(text, " ", "-")
	if said := w.say(key); said != key {
		return said
	}
	return text
}

// english is what is built in, for what is said where nobody's language is known, and as the form in which refusals travel.
var english = mustEnglish()

func mustEnglish() *words {
	bundle := i18n.NewBundle(language.English)
	if _, err := bundle.LoadMessageFileFS(textFiles, "texts/en.json"); err != nil {
		panic(err) // it is built in
	}
	return &words{Lang: "en", localizer: i18n.NewLocalizer(bundle, "en")}
}

// en is a text in English.
func en(key string, fields ...any) string { return english.say(key, fields...) }

// say is a text in the language of a request.
func (p *Pages) say(r *http.Request, key string, fields ...any) string {
	return p.words(r).say(key, fields...)
}

// sentence gives a refusal of these pages in the language of a request; what the bench and the record refuse stays as it is.
func (p *Pages) sentence(r *http.Request, text string) string {
	w := p.words(r)
	if w.Lang == english.Lang {
		return text
	}
	for _, s := range p.languages.refusals {
		if found := s.form.FindStringSubmatch(text); found != nil {
			fields := []any{}
			for i, name := range s.form.SubexpNames()[1:] {
				fields = append(fields, name, found[i+1])
			}
			return w.say(s.key, fields...)
		}
	}
	return text
}

// refusal is how a refusal reads in English, with groups named as its fields.
type refusal struct {
	key  string
	form *regexp.Regexp
}

var field = regexp.MustCompile(`\\\{\\\{\\\.(\w+)\\\}\\\}`)

// refusals are the forms of the messages under "refusal".
func refusals(f *i18n.MessageFile) (out []refusal) {
	for _, m := range f.Messages {
		if strings.HasPrefix(m.ID, "refusal.") {
			form := field.ReplaceAllString(regexp.QuoteMeta(m.Other), "(?P<$1>.*)")
			out = append(out, refusal{m.ID, regexp.MustCompile("^" + form + "$")})
		}
	}
	// One without fields before those that would take its words for one.
	slices.SortStableFunc(out, func(a, b refusal) int { return a.form.NumSubexp() - b.form.NumSubexp() })
	return out
}
