package web

import (
	"bytes"
	"html/template"
	"net/http"
	"slices"
	"strings"
	"time"

	"witnessmark/audit"
	"witnessmark/cmd/witnessmark/internal/claim"
	"witnessmark/device/unit"
)

// frame is what every page is shown in.
type frame struct {
	Lang    string
	Unit    unit.TorqueUnit
	Title   string
	Shop    string
	Version string
	Who     person
	Notice  string
	Error   string
	Menu    []menuItem
	Now     time.Time
	// Provider is where a person without a password here proves who they are, and Here where they come back to; Proved: they
	// have just done so.
	Provider string
	Here     string
	Proved   bool
	Body     any
}

var helpers = template.FuncMap{
	"claim":   claimLink,
	"among":   among,
	"few":     func(n int) bool { return n < claim.LeastCompared },
	"reach":   reach,
	"percent": millionths,
	"day":     func(t time.Time) string { return t.UTC().Format(time.DateOnly) },
	"second":  audit.When,
	"when":    func(t time.Time) string { return t.UTC().Format("2006-01-02 15:04Z") },
	"aim":     func(target string) string { aim, _, _ := strings.Cut(target, " ("); return aim },
	"limits": func(target string) string {
		_, limits, _ := strings.Cut(target, " (")
		return strings.TrimSuffix(limits, ")")
	},
	"unsure": func(flags []string) bool { return slices.Contains(flags, audit.Unsure) },
	"can":    func(p person, role string) bool { return p.Can(audit.Role(role)) },
	"of":     func(row pullRow, v jointView) map[string]any { return map[string]any{"Row": row, "View": v} },
}

func (p *Pages) show(w http.ResponseWriter, r *http.Request, status int, page, title string, body any) {
	p.showWith(w, r, status, page, title, body, "")
}

// showWith shows a page with what is wrong above it.
func (p *Pages) showWith(w http.ResponseWriter, r *http.Request, status int, page, title string, body any, wrong string) {
	lang := p.words(r)
	f := frame{Lang: lang.Lang, Unit: lang.unit, Title: title, Shop: p.Name, Version: p.Version, Who: p.who(r), Error: p.sentence(r, wrong), Now: p.Clock(), Body: body, Menu: p.menu(r),
		Notice: p.sessions.PopString(r.Context(), sessionNotice)}
	f.Proved = p.fresh(r)
	if p.provider != nil {
		f.Provider, f.Here = p.provider.host(), "/"
		if r.Method == http.MethodGet {
			f.Here = r.URL.RequestURI()
		}
	}
	var b bytes.Buffer
	if err := lang.templates.ExecuteTemplate(&b, page, f); err != nil {
		p.Log.Error().Err(err).Str("page", page).Msg("a page cannot be shown")
		http.Error(w, en("refusal.this-page-cannot-be-shown-the-log-of"), http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(status)
	_, _ = w.Write(b.Bytes()) // a reader that hung up is no fault of ours
}

// fault shows a sentence that says what to do.
func (p *Pages) fault(w http.ResponseWriter, r *http.Request, status int, sentence string) {
	p.showWith(w, r, status, "fault", http.StatusText(status), nil, sentence)
}

// menuItem is a page that everybody finds at the top, who may have it.
type menuItem struct{ Path, Name string }

// The names are keys of the catalogue.
var menu = []menuItem{{"/", "menu.benches"}, {"/builds", "menu.builds"}, {"/claims", "menu.claims"}, {"/wrenches", "menu.wrenches"},
	{"/procedures", "menu.procedures"}, {"/ledger", "menu.ledger"}, {"/people", "menu.people"}}

func (p *Pages) menu(r *http.Request) (out []menuItem) {
	who, lang := p.who(r), p.words(r)
	if who.ID == "" {
		return nil
	}
	for _, m := range menu {
		for _, rt := range p.routes() {
			if (rt.pattern == "GET "+m.Path || rt.pattern == "GET "+m.Path+"{$}") && rt.allows(who) {
				out = append(out, menuItem{m.Path, lang.say(m.Name)})
			}
		}
	}
	return out
}
