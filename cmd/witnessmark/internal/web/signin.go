package web

import (
	"context"
	"encoding/base64"
	"errors"
	"fmt"
	"net"
	"net/http"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/alexedwards/argon2id"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/store"
)

// hashing is what a password costs to try: 19 MiB and two passes (OWASP password storage cheat sheet, from memory).
var hashing = &argon2id.Params{Memory: 19 * 1024, Iterations: 2, Parallelism: 1, SaltLength: 16, KeyLength: 32}

// atOnce is how many passwords are tried at the same time, so that sign-ins cannot eat a small box.
var atOnce = make(chan struct{}, 2)

const leastPassword = 12

var (
	errWrong     = errors.New(en("refusal.name-and-password-do-not-belong-together"))
	errAway      = errors.New(en("refusal.the-database-is-away-so-nobody-can-sign"))
	errShort     = errors.New(en("refusal.a-password-has-least-characters-or-more-three", "Least", leastPassword))
	errNoAccount = errors.New(en("refusal.this-shop-has-no-administrator-yet-set-it"))
)

type signInForm struct {
	Next, Name string
	Bench      string // at which the browser stands: badge and PIN will do
	Provider   string // host of the shop's provider of sign-ins; empty: none
}

func (p *Pages) signInPage(w http.ResponseWriter, r *http.Request) {
	if !p.administered() {
		http.Redirect(w, r, "/set-up", http.StatusSeeOther)
		return
	}
	p.show(w, r, http.StatusOK, "sign-in", p.say(r, "title.sign-in"), p.form(r, signInForm{Next: r.URL.Query().Get("next")}))
}

func (p *Pages) administered() (yes bool) {
	p.Shop.Look(func(s *bench.Shop) { yes = s.Administered() })
	return yes
}

func (p *Pages) signIn(w http.ResponseWriter, r *http.Request) {
	name, next := fields(r.FormValue("name")), r.FormValue("next")
	id, err := p.provePassword(r, name, r.FormValue("password"))
	if err != nil {
		p.again(w, r, statusOf(err), signInForm{Next: next, Name: name}, err)
		return
	}
	p.begin(w, r, id, "", next)
}

// provePassword is the person of that name and password. What counts as a wrong try is name and place together, so that
// nobody can keep a colleague out from another bench.
func (p *Pages) provePassword(r *http.Request, name, password string) (string, error) {
	key := strings.ToLower(name) + "\x00password\x00" + p.place(r)
	if wait := p.throttle.wait(key); wait > 0 {
		return "", tooOften(wait)
	}
	id, err := p.proven(r.Context(), name, password)
	switch {
	case errors.Is(err, errWrong):
		p.throttle.wrong(key)
		p.Log.Warn().Str("from", p.place(r)).Msg("a password was wrong")
	case err == nil:
		p.throttle.right(key)
	}
	return id, err
}

// place is where a request comes from: the bench of its browser, else the address of its machine.
func (p *Pages) place(r *http.Request) string {
	if at := p.station(r); at != "" {
		return "bench " + at
	}
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		return r.RemoteAddr
	}
	return host
}

func (p *Pages) again(w http.ResponseWriter, r *http.Request, status int, f signInForm, err error) {
	p.showWith(w, r, status, "sign-in", p.say(r, "title.sign-in"), p.form(r, f), err.Error())
}

// form completes the form with the ways that there are to sign in.
func (p *Pages) form(r *http.Request, f signInForm) signInForm {
	f.Bench = p.station(r)
	if p.provider != nil {
		f.Provider = p.provider.host()
	}
	return f
}

// proven is the id of the person of that name, if the password is theirs. An unknown name takes as long as a known one.
func (p *Pages) proven(ctx context.Context, name, password string) (string, error) {
	var id string
	p.Shop.Look(func(s *bench.Shop) {
		if known, ok := s.Person(name); ok && len(s.RolesOf(known)) > 0 {
			id = known
		}
	})
	proofs := store.Proofs{}
	if id != "" {
		var err error
		if proofs, err = p.Accounts.Proofs(ctx, id); err != nil {
			p.Log.Warn().Err(err).Msg("accounts cannot be read")
			return "", errAway
		}
	}
	if !same(password, proofs.Password) || id == "" {
		return "", errWrong
	}
	return id, nil
}

// nobody is the hash that an unknown name is held against: nothing but zeros, which takes as long to find wrong. A real one
// would cost every start of the program 19 MB.
var nobody = fmt.Sprintf("$argon2id$v=19$m=%d,t=%d,p=%d$%s$%s", hashing.Memory, hashing.Iterations, hashing.Parallelism,
	zeros(hashing.SaltLength), zeros(hashing.KeyLength))

func zeros(n uint32) string { return base64.RawStdEncoding.EncodeToString(make([]byte, n)) }

func same(password, hash string) bool {
	atOnce <- struct{}{}
	defer func() { <-atOnce }()
	known := hash != ""
	if !known {
		hash = nobody
	}
	ok, err := argon2id.ComparePasswordAndHash(password, hash)
	return ok && err == nil && known
}

// hashed checks a new password and hashes it.
func hashed(password string) (string, error) {
	if utf8.RuneCountInString(password) < leastPassword {
		return "", errShort
	}
	return hash(password)
}

func hash(secret string) (string, error) {
	atOnce <- struct{}{}
	defer func() { <-atOnce }()
	return argon2id.CreateHash(secret, hashing)
}

// begin signs a person in and goes on to the page that was asked for. By PIN it is at a bench, else at is empty.
func (p *Pages) begin(w http.ResponseWriter, r *http.Request, id, at, next string) {
	if p.start(w, r, id, at) {
		http.Redirect(w, r, within(next), http.StatusSeeOther)
	}
}

// start begins the session of a person, in the place of any other; false: it cannot, and the answer says so.
func (p *Pages) start(w http.ResponseWriter, r *http.Request, id, at string) bool {
	if err := p.sessions.RenewToken(r.Context()); err != nil {
		p.fault(w, r, http.StatusServiceUnavailable, en("refusal.the-sign-in-cannot-be-kept-now-try"))
		return false
	}
	p.sessions.Put(r.Context(), sessionPerson, id)
	p.sessions.Put(r.Context(), sessionBench, at)
	p.sessions.Put(r.Context(), sessionSeen, p.Clock().Unix())
	p.bring(r, id)
	return true
}

// within is a path of this site; anything else is the front page, for a link must not lead a person off.
func within(next string) string {
	if !strings.HasPrefix(next, "/") || strings.HasPrefix(next, "//") || strings.ContainsAny(next, "\\\x00\r\n") {
		return "/"
	}
	return next
}

func (p *Pages) signOut(w http.ResponseWriter, r *http.Request) {
	if err := p.sessions.Destroy(r.Context()); err != nil {
		p.Log.Warn().Err(err).Msg("a session is ended in memory only")
	}
	http.Redirect(w, r, "/sign-in", http.StatusSeeOther)
}

type setUpForm struct{ Name string }

func (p *Pages) setUpPage(w http.ResponseWriter, r *http.Request) {
	if p.administered() {
		http.Redirect(w, r, "/sign-in", http.StatusSeeOther)
		return
	}
	if _, err := p.SetUpCode(); err != nil {
		p.fault(w, r, http.StatusInternalServerError, err.Error())
		return
	}
	p.show(w, r, http.StatusOK, "set-up", p.say(r, "title.set-up"), setUpForm{})
}

func (p *Pages) setUp(w http.ResponseWriter, r *http.Request) {
	const key = "\x00set-up"
	if wait := p.throttle.wait(key); wait > 0 {
		p.fault(w, r, http.StatusTooManyRequests, en("refusal.too-many-wrong-tries-wait-time", "Time", wait.Round(time.Second)))
		return
	}
	name, id := fields(r.FormValue("name")), ""
	err := p.setup.use(r.FormValue("code"), func() (err error) {
		id, err = p.first(r.Context(), name, r.FormValue("password"))
		return err
	})
	if err != nil {
		if errors.Is(err, errWrongCode) {
			p.throttle.wrong(key)
		}
		p.showWith(w, r, http.StatusUnprocessableEntity, "set-up", p.say(r, "title.set-up"), setUpForm{name}, err.Error())
		return
	}
	p.begin(w, r, id, "", "/")
}

// first makes the first administrator, who has every role. A crash in between leaves a person without roles, or one whose
// password is not set: the code still works then.
func (p *Pages) first(ctx context.Context, name, password string) (string, error) {
	if name == "" {
		return "", errors.New(en("refusal.say-who-you-are-give-your-name"))
	}
	hash, err := hashed(password)
	if err != nil {
		return "", err
	}
	id, err := p.Shop.Known(ctx, name)
	if err != nil {
		return "", err
	}
	if err := p.Accounts.Prove(ctx, id, store.Proofs{Password: hash}); err != nil {
		p.Log.Warn().Err(err).Msg("accounts cannot be written")
		return "", errors.New(en("refusal.the-database-is-away-wait-a-moment-and"))
	}
	return id, p.Shop.GiveRoles(ctx, audit.RolesGiven{Person: id, Roles: audit.AllRoles()})
}

// enter signs in by a link that works once, which the demonstration prints.
func (p *Pages) enter(w http.ResponseWriter, r *http.Request) {
	var id string
	p.Shop.Look(func(s *bench.Shop) { id, _ = s.Person(fields(r.URL.Query().Get("as"))) })
	err := p.setup.use(r.URL.Query().Get("code"), func() error {
		if id == "" {
			return errNoAccount
		}
		return nil
	})
	if err != nil {
		p.fault(w, r, http.StatusForbidden, en("refusal.this-link-has-been-used-or-is-wrong"))
		return
	}
	p.begin(w, r, id, "", r.URL.Query().Get("next"))
}

func fields(s string) string { return strings.Join(strings.Fields(s), " ") }
