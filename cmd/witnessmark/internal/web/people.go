package web

import (
	"context"
	"errors"
	"net/http"
	"time"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/store"
)

// peopleView lists who may do what.
type peopleView struct {
	People []person
	Roles  []audit.Role
}

func (p *Pages) peoplePage(w http.ResponseWriter, r *http.Request) {
	v := peopleView{Roles: audit.Roles()}
	p.Shop.Look(func(s *bench.Shop) {
		for _, who := range s.People() {
			v.People = append(v.People, person{ID: who.Person, Name: who.Name, Roles: s.RolesOf(who.Person)})
		}
	})
	p.show(w, r, http.StatusOK, "people", p.say(r, "menu.people"), v)
}

var (
	errPassword   = errors.New(en("refusal.your-own-password-is-wrong-nothing-was-changed"))
	errNoPassword = errors.New(en("refusal.this-asks-for-your-own-password-give-it"))
)

// changePerson gives roles and, where one is written, a new password. Who changes people proves anew who they are.
func (p *Pages) changePerson(w http.ResponseWriter, r *http.Request) {
	p.proved(w, r, "/people", func(ctx context.Context, me person) error { return p.change(ctx, me, r) })
}

// provedFor is how long a sign-in with the provider that was made for it stands in for the password, once.
const provedFor = 5 * time.Minute

// fresh is true of one whom the provider has just signed in anew.
func (p *Pages) fresh(r *http.Request) bool {
	at := p.sessions.GetInt64(r.Context(), sessionProved)
	return at != 0 && p.Clock().Sub(time.Unix(at, 0)).Abs() < provedFor
}

// prove holds a password against that of who is signed in already; none is needed right after the provider signed them in
// anew.
func (p *Pages) prove(r *http.Request, me person, password string) error {
	if password == "" && p.fresh(r) {
		p.sessions.Remove(r.Context(), sessionProved)
		return nil
	}
	if password == "" { // no try
		return errNoPassword
	}
	key := me.ID + "\x00again"
	if p.throttle.wait(key) > 0 {
		return errors.New(en("refusal.too-many-wrong-tries-wait-a-moment"))
	}
	id, err := p.proven(r.Context(), me.Name, password)
	if err == nil && id != me.ID {
		err = errWrong
	}
	switch {
	case errors.Is(err, errWrong):
		p.throttle.wrong(key)
		return errPassword
	case err != nil:
		return err
	}
	p.throttle.right(key)
	return nil
}

func (p *Pages) change(ctx context.Context, me person, r *http.Request) error {
	name := fields(r.FormValue("name"))
	if name == "" {
		return control.Malformed(en("refusal.say-who-give-a-name"))
	}
	id, err := p.Shop.Known(ctx, name)
	if err != nil {
		return err
	}
	if password := r.FormValue("password"); password != "" {
		if err := p.setPassword(ctx, id, password); err != nil {
			return err
		}
	}
	if err := p.Shop.GiveRoles(ctx, audit.RolesGiven{Person: id, Roles: r.Form["role"], By: me.ID}); err != nil {
		return err
	}
	if id == me.ID {
		return nil
	}
	return p.kept.endAll(ctx, id) // they sign in anew, with what they may do now
}

func (p *Pages) setPassword(ctx context.Context, id, password string) error {
	hash, err := hashed(password)
	if err != nil {
		return control.Malformed(err.Error())
	}
	if err := p.Accounts.Prove(ctx, id, store.Proofs{Password: hash}); err != nil {
		p.Log.Warn().Err(err).Msg("accounts cannot be written")
		return control.Refuse(errAway.Error())
	}
	return nil
}

// GivePassword gives a person a new password, whoever asks, and ends what they are signed in to. A crash in between leaves the new
// password and the old sessions: give it once more.
func (p *Pages) GivePassword(ctx context.Context, id, password string) error {
	if err := p.setPassword(ctx, id, password); err != nil {
		return err
	}
	return p.kept.endAll(ctx, id)
}
