package web

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"

	"witnessmark/audit"
	"witnessmark/audit/bench"
)

// route is a page or an action, and who may have it.
type route struct {
	pattern string
	need    []audit.Role // one of these; nil: everybody who is signed in
	open    bool         // nobody need be signed in
	again   bool         // asks for the person's own password again: no token and no PIN will do
	api     bool         // for programs: answers in JSON
	serve   http.HandlerFunc
}

// routes is the whole site: there is no page that is not in this table.
func (p *Pages) routes() []route {
	record := []audit.Role{audit.Technician, audit.Lead, audit.Administrator}
	pages := []route{
		{pattern: "GET /{$}", serve: p.home},
		{pattern: "GET /sign-in", open: true, serve: p.signInPage},
		{pattern: "POST /sign-in", open: true, serve: p.signIn},
		{pattern: "POST /sign-out", open: true, serve: p.signOut},
		{pattern: "GET /set-up", open: true, serve: p.setUpPage},
		{pattern: "POST /set-up", open: true, serve: p.setUp},
		{pattern: "GET /enter", open: true, serve: p.enter},
		{pattern: "GET /bench/{bench}", serve: p.benchPage},
		{pattern: "GET /bench/{bench}/live", serve: p.benchLive},
		{pattern: "GET /bench/{bench}/start", need: record, serve: p.startPage},
		{pattern: "POST /bench/{bench}/build", need: record, serve: p.openBuild},
		{pattern: "POST /bench/{bench}/start", need: record, serve: p.startJoint},
		{pattern: "POST /bench/{bench}/close", need: record, serve: p.closeJoint},
		{pattern: "POST /bench/{bench}/answer", need: record, serve: p.answer},
		{pattern: "POST /bench/{bench}/name", need: record, serve: p.name},
		{pattern: "GET /people", need: []audit.Role{audit.Administrator}, serve: p.peoplePage},
		{pattern: "POST /people", need: []audit.Role{audit.Administrator}, again: true, serve: p.changePerson},
		{pattern: "GET /wrenches", serve: p.wrenchesPage},
	}
	return append(pages, p.apiRoutes()...)
}

// Access is a route as seen from outside: who may have it. Open: nobody need be signed in; no roles: whoever is.
type Access struct {
	Pattern string
	Roles   []audit.Role
	Open    bool
	Again   bool // asks for the person's own password again
}

// Table lists every page and action with who may have it.
func (p *Pages) Table() []Access {
	var out []Access
	for _, rt := range p.routes() {
		out = append(out, Access{rt.pattern, rt.need, rt.open, rt.again})
	}
	return out
}

// guard lets through who may. The roles are looked at on every request: one that was taken away is gone at once.
func (p *Pages) guard(rt route) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if rt.open {
			rt.serve(w, r)
			return
		}
		who := p.who(r)
		switch {
		case who.ID == "" && r.Method == http.MethodGet:
			http.Redirect(w, r, "/sign-in?next="+url.QueryEscape(r.URL.RequestURI()), http.StatusSeeOther)
		case who.ID == "":
			p.fault(w, r, http.StatusUnauthorized, "you are no longer signed in and nothing was done: sign in and repeat it")
		case !rt.allows(who):
			p.fault(w, r, http.StatusForbidden, lacking(rt))
		default:
			rt.serve(w, r)
		}
	})
}

// allows tells whether a person has a role that the route takes.
func (rt route) allows(who person) bool {
	return rt.need == nil || slices.ContainsFunc(rt.need, who.Can)
}

func lacking(rt route) string {
	return fmt.Sprintf("this takes the role %s, which you do not have: ask an administrator", list(rt.need))
}

// person is who is signed in; the zero value is nobody.
type person struct {
	ID, Name string
	Roles    []audit.Role
	Machine  bool // it is a machine that acts as the person
}

// Can is true of one who has a role.
func (who person) Can(r audit.Role) bool { return slices.Contains(who.Roles, r) }

// who is signed in by this request. Somebody without any role is nobody: that is how a person is shut out.
func (p *Pages) who(r *http.Request) (who person) {
	id := p.sessions.GetString(r.Context(), sessionPerson)
	if id == "" {
		return who
	}
	p.Shop.Look(func(s *bench.Shop) { who = person{ID: id, Name: s.PersonName(id), Roles: s.RolesOf(id)} })
	if len(who.Roles) == 0 {
		return person{}
	}
	return who
}

func list(roles []audit.Role) string {
	text := ""
	for i, r := range roles {
		switch {
		case i > 0 && i == len(roles)-1:
			text += " or "
		case i > 0:
			text += ", "
		}
		text += string(r)
	}
	return text
}
