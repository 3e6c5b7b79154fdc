package web

import (
	"context"
	"errors"
	"net/http"

	"witnessmark/audit"
	"witnessmark/audit/bench"
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
	p.show(w, r, http.StatusOK, "people", "People", v)
}

var errPassword = errors.New("your own password is wrong: nothing was changed")

// changePerson gives roles and, where one is written, a new password. Who changes people proves anew who they are.
func (p *Pages) changePerson(w http.ResponseWriter, r *http.Request) {
	if err := r.ParseForm(); err != nil {
		p.fault(w, r, http.StatusBadRequest, "the form did not arrive whole: send it again")
		return
	}
	me := p.who(r)
	notice := "Done."
	if err := p.change(r.Context(), me, r); err != nil {
		notice = "Not done: " + err.Error()
	}
	p.sessions.Put(r.Context(), sessionNotice, notice)
	http.Redirect(w, r, "/people", http.StatusSeeOther)
}

// prove holds a password against that of who is signed in already.
func (p *Pages) prove(r *http.Request, me person, password string) error {
	key := me.ID + "\x00again"
	if p.throttle.wait(key) > 0 {
		return errors.New("too many wrong tries: wait a moment")
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
	if err := p.prove(r, me, r.FormValue("own_password")); err != nil {
		return err
	}
	name := fields(r.FormValue("name"))
	if name == "" {
		return errors.New("say who: give a name")
	}
	id, err := p.Shop.Known(ctx, name)
	if err != nil {
		return err
	}
	if password := r.FormValue("password"); password != "" {
		hash, err := hashed(password)
		if err != nil {
			return err
		}
		if err := p.Accounts.Prove(ctx, id, store.Proofs{Password: hash}); err != nil {
			return errAway
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

func (p *Pages) wrenchesPage(w http.ResponseWriter, r *http.Request) {
	p.show(w, r, http.StatusOK, "wrenches", "Wrenches", p.Shop.Wrenches())
}
