package web

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"net/http"
	"strings"
	"time"

	"witnessmark/audit/bench"
	"witnessmark/store"
)

// A PIN has so many digits. It is tried at an enrolled bench only, and never proves what asks for a password.
const (
	leastPIN = 6
	mostPIN  = 12
)

// pinIdle is how long whoever signed in by PIN stays so without a touch of the page and without a reading.
const pinIdle = 15 * time.Minute

var (
	errPIN       = errors.New(en("refusal.a-pin-has-digits", "Least", leastPIN, "Most", mostPIN))
	errEasyPIN   = errors.New(en("refusal.this-pin-is-among-the-first-that-anybody"))
	errBadge     = errors.New(en("refusal.badge-and-pin-do-not-belong-together-you"))
	errNoStation = errors.New(en("refusal.this-browser-is-enrolled-at-no-bench-sign"))
)

func checkPIN(pin string) error {
	if len(pin) < leastPIN || len(pin) > mostPIN || strings.Trim(pin, "0123456789") != "" {
		return errPIN
	}
	// The same step from each digit to the next: 000000, 123456, 987654, 024680.
	for i := 2; ; i++ {
		if i == len(pin) {
			return errEasyPIN
		}
		if (pin[i]-pin[i-1]+10)%10 != (pin[1]-pin[0]+10)%10 {
			return nil
		}
	}
}

// pinned is what is hashed of a PIN: without the secret that lies outside the database a table of hashes gives no PIN away.
func (p *Pages) pinned(person, pin string) string {
	h := hmac.New(sha256.New, p.pepper)
	h.Write([]byte(person + "\x00" + pin))
	return hex.EncodeToString(h.Sum(nil))
}

// proveBadge is the person whose badge and PIN these are, at a bench. What counts as a wrong try is badge and bench together.
func (p *Pages) proveBadge(r *http.Request, station, badge, pin string) (string, error) {
	id := p.Shop.BadgeOf(badge)
	key := id + "\x00" + station
	if id == "" {
		key = badge + "\x00badge\x00" + station
	}
	if wait := p.throttle.wait(key); wait > 0 {
		return "", tooOften(wait)
	}
	p.Shop.Look(func(s *bench.Shop) {
		if len(s.RolesOf(id)) == 0 {
			id = ""
		}
	})
	proofs := store.Proofs{}
	if id != "" {
		var err error
		if proofs, err = p.Accounts.Proofs(r.Context(), id); err != nil {
			p.Log.Warn().Err(err).Msg("accounts cannot be read")
			return "", errAway
		}
	}
	if !same(p.pinned(id, pin), proofs.PIN) || id == "" {
		p.throttle.wrong(key)
		p.Log.Warn().Str("bench", station).Str("person", id).Msg("a PIN was wrong")
		return "", errBadge
	}
	p.throttle.right(key)
	return id, nil
}

func tooOften(wait time.Duration) error {
	return &throttled{wait}
}

// throttled is the error of one who must wait.
type throttled struct{ wait time.Duration }

func (t *throttled) Error() string {
	return en("refusal.too-many-wrong-tries-wait-time", "Time", t.wait.Round(time.Second))
}

func (p *Pages) badgeSignIn(w http.ResponseWriter, r *http.Request) {
	station, next := p.station(r), r.FormValue("next")
	id, err := "", errNoStation
	if station != "" {
		id, err = p.proveBadge(r, station, strings.TrimSpace(r.FormValue("badge")), r.FormValue("pin"))
	}
	if err != nil {
		p.again(w, r, statusOf(err), signInForm{Next: next}, err)
		return
	}
	p.takeOver(r, station, id)
	p.begin(w, r, id, station, next)
}

// statusOf is the status of a sign-in that failed.
func statusOf(err error) int {
	var late *throttled
	switch {
	case errors.As(err, &late):
		return http.StatusTooManyRequests
	case errors.Is(err, errNoStation):
		return http.StatusForbidden
	case errors.Is(err, errBadge), errors.Is(err, errWrong):
		return http.StatusUnauthorized
	}
	return http.StatusServiceUnavailable
}

func (p *Pages) pinPage(w http.ResponseWriter, r *http.Request) {
	p.show(w, r, http.StatusOK, "pin", p.say(r, "title.pin"), nil)
}

func (p *Pages) setPIN(w http.ResponseWriter, r *http.Request) {
	err := p.changePIN(r, r.FormValue("pin"))
	if err != nil {
		p.showWith(w, r, http.StatusUnprocessableEntity, "pin", p.say(r, "title.pin"), nil, err.Error())
		return
	}
	p.sessions.Put(r.Context(), sessionNotice, p.say(r, "notice.your-pin-is-set"))
	http.Redirect(w, r, "/", http.StatusSeeOther)
}

func (p *Pages) changePIN(r *http.Request, pin string) error {
	me := p.who(r)
	if err := p.prove(r, me, r.FormValue("own_password")); err != nil {
		return err
	}
	if err := checkPIN(pin); err != nil {
		return err
	}
	hash, err := hash(p.pinned(me.ID, pin))
	if err != nil {
		return err
	}
	if err := p.Accounts.Prove(r.Context(), me.ID, store.Proofs{PIN: hash}); err != nil {
		p.Log.Warn().Err(err).Msg("accounts cannot be written")
		return errAway
	}
	return nil
}
