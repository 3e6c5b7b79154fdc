package web

import (
	"context"
	"errors"
	"net/http"
	"time"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/cmd/witnessmark/internal/control"
)

// OwnPassword is the header in which a request of the API sends the password of who is signed in, where it is asked for
// again.
const OwnPassword = "Own-Password"

// apiRoutes is the API over the network: the same requests as over the socket, each with who may send it.
func (p *Pages) apiRoutes() []route {
	record := []audit.Role{audit.Technician, audit.Lead, audit.Administrator}
	judge := []audit.Role{audit.Lead}
	keep := []audit.Role{audit.Lead, audit.Administrator}
	admin := []audit.Role{audit.Administrator}
	all := []route{
		{pattern: "GET /api/v1/openapi.yaml", open: true},
		{pattern: "GET /api/v1/openapi.json", open: true},
		{pattern: "GET /api/v1/status"},
		{pattern: "GET /api/v1/procedures"},
		{pattern: "POST /api/v1/procedures", need: keep, again: true},
		{pattern: "GET /api/v1/builds"},
		{pattern: "POST /api/v1/builds", need: record},
		{pattern: "GET /api/v1/builds/{build}/review"},
		{pattern: "POST /api/v1/builds/{build}/concessions", need: judge, again: true},
		{pattern: "POST /api/v1/builds/{build}/release", need: judge, again: true},
		{pattern: "DELETE /api/v1/builds/{build}/release", need: judge, again: true},
		{pattern: "POST /api/v1/corrections", need: judge, again: true},
		{pattern: "GET /api/v1/benches"},
		{pattern: "GET /api/v1/benches/{id}"},
		{pattern: "GET /api/v1/benches/{id}/watch"},
		{pattern: "POST /api/v1/benches/{id}/joint", need: record},
		{pattern: "DELETE /api/v1/benches/{id}/joint", need: record},
		{pattern: "POST /api/v1/benches/{id}/answers", need: record},
		{pattern: "POST /api/v1/benches/{id}/names", need: record},
		{pattern: "POST /api/v1/benches/{id}/adapter", need: record},
		{pattern: "DELETE /api/v1/benches/{id}/adapter", need: record},
		{pattern: "POST /api/v1/benches/{id}/renewals", need: record},
		{pattern: "POST /api/v1/benches/{id}/hand", need: record},
		{pattern: "GET /api/v1/wrenches"},
		{pattern: "GET /api/v1/scanners"},
		{pattern: "POST /api/v1/findings", need: keep, again: true},
		{pattern: "POST /api/v1/forgotten", need: admin, again: true},
		{pattern: "POST /api/v1/ledger/key", need: admin, again: true},
		{pattern: "GET /api/v1/badges", need: admin},
		{pattern: "POST /api/v1/badges", need: admin, again: true},
		{pattern: "GET /api/v1/tokens", need: admin},
		{pattern: "POST /api/v1/tokens", need: admin, again: true},
		{pattern: "DELETE /api/v1/tokens/{token}", need: admin, again: true},
	}
	for i := range all {
		all[i].api, all[i].serve = true, p.api.ServeHTTP
	}
	return all
}

// The refusals of who may not.
var (
	errNobody  = &control.Error{Status: http.StatusUnauthorized, Sentence: en("refusal.say-who-asks-sign-in-on-the-pages")}
	errMachine = &control.Error{Status: http.StatusForbidden, Sentence: en("refusal.this-asks-for-a-person-s-own-password")}
	errAgain   = &control.Error{Status: http.StatusForbidden, Sentence: en("refusal.this-asks-for-your-own-password-again-send", "Header", OwnPassword)}
)

// guardAPI lets through who may, as the person they are.
func (p *Pages) guardAPI(rt route) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if rt.open {
			rt.serve(w, r)
			return
		}
		who, err := p.caller(r)
		if err == nil {
			err = p.may(r, who, rt)
		}
		if err != nil {
			if errors.Is(err, errNobody) {
				w.Header().Set("WWW-Authenticate", `Bearer realm="witnessmark"`)
			}
			control.Refused(w, err)
			return
		}
		ctx, end := context.WithCancel(control.As(r.Context(), who.Name))
		defer end()
		if rt.pattern == "GET /api/v1/benches/{id}/watch" {
			go p.recheck(ctx, end, r, rt)
		}
		rt.serve(w, r.WithContext(ctx))
	})
}

// recheck ends a watch when who watches may not any more.
func (p *Pages) recheck(ctx context.Context, end context.CancelFunc, r *http.Request, rt route) {
	tick := time.NewTicker(control.Beat)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		if who, err := p.caller(p.anew(r)); err != nil || !rt.allows(who) {
			end()
			return
		}
	}
}

// caller is who sends a request of the API: the person of its token, or who is signed in.
func (p *Pages) caller(r *http.Request) (who person, err error) {
	if said := r.Header.Get("Authorization"); said != "" {
		who, err = p.machine(r.Context(), said)
	} else {
		who = p.who(r)
	}
	if err == nil && who.ID == "" {
		err = errNobody
	}
	return who, err
}

// may says why a person may not have a route of the API.
func (p *Pages) may(r *http.Request, who person, rt route) error {
	switch {
	case !rt.allows(who):
		return &control.Error{Status: http.StatusForbidden, Sentence: lacking(rt)}
	case who.elsewhere(r):
		return errElsewhere
	case !rt.again:
		return nil
	case who.Bench != "":
		return errByPIN
	case who.Machine:
		return errMachine
	case r.Header.Get(OwnPassword) == "":
		return errAgain
	}
	if err := p.prove(r, who, r.Header.Get(OwnPassword)); err != nil {
		return &control.Error{Status: http.StatusForbidden, Sentence: err.Error()}
	}
	return nil
}

// machine is the person as whom the token of a request acts.
func (p *Pages) machine(ctx context.Context, said string) (who person, err error) {
	t, err := p.tokens.find(ctx, said)
	if err != nil {
		return person{}, err
	}
	known := false
	p.Shop.Look(func(s *bench.Shop) {
		given, ok := s.Token(t.Name)
		known = ok && given.Person == t.Person && given.Expires.Equal(t.Expires)
		who = person{ID: t.Person, Name: s.PersonName(t.Person), Roles: s.RolesOf(t.Person), Machine: true}
	})
	switch {
	case !known:
		return person{}, errToken
	case len(who.Roles) == 0:
		return person{}, &control.Error{Status: http.StatusUnauthorized, Sentence: en("refusal.the-person-of-token-token-has-no-role", "Token", t.Name)}
	}
	return who, nil
}
