// Package web serves the pages: the bench at which a technician works, what a lead and a clerk look up, and the sign-in
// before all of it. Every page works without its script; the script keeps a page up to date.
package web

import (
	"context"
	"embed"
	"io/fs"
	"net/http"
	"time"

	"github.com/alexedwards/scs/v2"
	"github.com/rs/zerolog"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/store"
)

//go:embed pages/*.html
var pageFiles embed.FS

//go:embed static
var staticFiles embed.FS

// Shop is what the pages show and act on; the daemon is one.
type Shop interface {
	control.Desk
	// Look gives the present state to f, which must not keep it.
	Look(f func(*bench.Shop))
	// Known gives the id of a person, who is made known where the name is new.
	Known(ctx context.Context, name string) (id string, err error)
	GiveRoles(ctx context.Context, ev audit.RolesGiven) error
	// PutInHands puts the joint on a bench into the hands of a person, if there is one and it is not theirs.
	PutInHands(ctx context.Context, bench, person string) error
	// BadgeOf is the id of the person of a badge, typed or as a scanner types its label; empty: nobody's.
	BadgeOf(text string) (person string)
	// Read gives f a reader of the record, for the time of the call. It is a *control.Error where the database is away.
	Read(ctx context.Context, f func(*store.Reader) error) error
	// LedgerKey is the verifier's text of the key that the ledger began with.
	LedgerKey() (string, error)
	Ledger() (Ledger, error)
	// VerifyLedger has the ledger checked in the background, unless that is being done already.
	VerifyLedger()
	// KeptRight tells whether a time service keeps the clock right, or why that is not known.
	KeptRight() (bool, error)
	// Labelled is the serial number or work order that a scanned label holds, with what is to be said of it; any other
	// text comes back as it is.
	Labelled(text string) (value, note string)
}

// Options is what the pages are made from. All fields but Secure and Provider are needed.
type Options struct {
	Shop     Shop
	Name     string // of the shop, for people
	Version  string
	Accounts *store.Accounts
	Folder   string // where the set-up code is kept, and a shop's own catalogues
	Clock    func() time.Time
	Log      zerolog.Logger
	Secure   bool      // the pages are reached over TLS
	Provider *Provider // nil: nobody signs in elsewhere
}

// Pages is the site of a shop.
type Pages struct {
	Options
	languages *languages
	sessions  *scs.SessionManager
	kept      *kept
	throttle  *throttle
	setup     *setupCode
	tokens    *tokens
	stations  *stations
	touched   *touched
	pepper    []byte
	provider  *provider // nil: the shop has none
	api       http.Handler
}

// New makes the site. The error says what is wrong with the folder.
func New(o Options) (*Pages, error) {
	p := &Pages{Options: o, throttle: newThrottle(o.Clock)}
	var err error
	if p.languages, err = newLanguages(o.Folder); err != nil {
		return nil, err
	}
	p.setup = &setupCode{folder: o.Folder}
	p.kept = newKept(o.Accounts, o.Clock, o.Log)
	p.sessions = p.newSessions()
	p.tokens = &tokens{accounts: o.Accounts, clock: o.Clock, log: o.Log, all: map[string]store.Token{}}
	p.stations = &stations{accounts: o.Accounts, clock: o.Clock, log: o.Log, all: map[string]store.Enrolment{}}
	p.touched = &touched{clock: o.Clock, at: map[string]time.Time{}}
	if o.Provider != nil {
		p.provider = &provider{Provider: *o.Provider, clock: o.Clock}
	}
	p.api = control.Handler(o.Shop)
	if p.pepper, err = pepper(o.Folder); err != nil {
		return nil, err
	}
	return p, nil
}

// Handler serves the site. What is not a page of it goes to open, which anyone may see.
func (p *Pages) Handler(open http.Handler) http.Handler {
	mux := http.NewServeMux()
	static, _ := fs.Sub(staticFiles, "static") // the folder is there: it is embedded
	files := http.StripPrefix("/static/", http.FileServerFS(static))
	mux.Handle("GET /static/", http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Cache-Control", "public, max-age=3600")
		files.ServeHTTP(w, r)
	}))
	for _, rt := range p.routes() {
		if rt.api {
			mux.Handle(rt.pattern, p.guardAPI(rt))
		} else {
			mux.Handle(rt.pattern, p.guard(rt))
		}
	}
	mux.HandleFunc("/api/", func(w http.ResponseWriter, r *http.Request) {
		control.Refused(w, control.Unknown(en("refusal.what-is-not-served-here-see-api-v1", "What", r.Method+" "+r.URL.Path)))
	})
	mux.Handle("/", open)
	cross := http.NewCrossOriginProtection()
	cross.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		sentence := en("refusal.this-request-came-from-another-site-and-was")
		if forPrograms(r) {
			control.Refused(w, &control.Error{Status: http.StatusForbidden, Sentence: sentence})
			return
		}
		p.fault(w, r, http.StatusForbidden, sentence)
	}))
	return headers(p.sessions.LoadAndSave(cross.Handler(mux)))
}
