package web

import (
	"cmp"
	"net/http"
	"net/url"
	"slices"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/cmd/witnessmark/internal/control"
)

// route is a page or an action, and who may have it.
type route struct {
	pattern string
	need    []audit.Role // one of these; nil: everybody who is signed in
	open    bool         // nobody need be signed in
	again   bool         // asks for the person's own password again: no token and no PIN will do
	live    bool         // goes on by itself, and is no sign that somebody is there
	api     bool         // for programs: answers in JSON, with limits of its own
	most    int64        // bytes that a request may send; 0: maxForm
	serve   http.HandlerFunc
}

// recording are the roles of those who record at a bench.
var recording = []audit.Role{audit.Technician, audit.Lead, audit.Administrator}

// routes is the whole site: there is no page that is not in this table.
func (p *Pages) routes() []route {
	record, admin := recording, []audit.Role{audit.Administrator}
	look := []audit.Role{audit.Lead, audit.Warranty, audit.Administrator}
	judge := []audit.Role{audit.Lead}
	desk := []audit.Role{audit.Warranty, audit.Lead}
	keep := []audit.Role{audit.Lead, audit.Administrator}
	pages := []route{
		{pattern: "GET /{$}", serve: p.home},
		{pattern: "GET /sign-in", open: true, serve: p.signInPage},
		{pattern: "POST /sign-in", open: true, serve: p.signIn},
		{pattern: "POST /sign-in/badge", open: true, serve: p.badgeSignIn},
		{pattern: "GET /sign-in/provider", open: true, serve: p.providerSignIn},
		{pattern: "GET /sign-in/provider/back", open: true, serve: p.providerBack},
		{pattern: "POST /sign-out", open: true, serve: p.signOut},
		{pattern: "GET /set-up", open: true, serve: p.setUpPage},
		{pattern: "POST /set-up", open: true, serve: p.setUp},
		{pattern: "GET /enter", open: true, serve: p.enter},
		{pattern: "GET /bench/{bench}", serve: p.benchPage},
		{pattern: "GET /bench/{bench}/live", live: true, serve: p.benchLive},
		{pattern: "GET /bench/{bench}/start", need: record, serve: p.startPage},
		{pattern: "POST /bench/{bench}/build", need: record, serve: p.openBuild},
		{pattern: "POST /bench/{bench}/start", need: record, serve: p.startJoint},
		{pattern: "POST /bench/{bench}/close", need: record, serve: p.closeJoint},
		{pattern: "POST /bench/{bench}/answer", need: record, serve: p.answer},
		{pattern: "POST /bench/{bench}/name", need: record, serve: p.name},
		{pattern: "POST /bench/{bench}/hand-over", serve: p.handOver},
		{pattern: "GET /bench/{bench}/enrol", need: admin, again: true, serve: p.enrolPage},
		{pattern: "POST /bench/{bench}/enrol", need: admin, again: true, serve: p.enrol},
		{pattern: "GET /enrolled", need: admin, serve: p.enrolledPage},
		{pattern: "POST /enrolled", need: admin, again: true, serve: p.endEnrolment},
		{pattern: "GET /unit", serve: p.unitPage},
		{pattern: "POST /unit", serve: p.chooseUnit},
		{pattern: "GET /pin", again: true, serve: p.pinPage},
		{pattern: "POST /pin", again: true, serve: p.setPIN},
		{pattern: "GET /people", need: []audit.Role{audit.Administrator}, serve: p.peoplePage},
		{pattern: "POST /people", need: []audit.Role{audit.Administrator}, again: true, serve: p.changePerson},
		{pattern: "GET /builds", need: look, serve: p.buildsPage},
		{pattern: "GET /builds/{build}", need: look, serve: p.buildPage},
		{pattern: "GET /builds/{build}/joints/{run}", need: look, serve: p.jointPage},
		{pattern: "POST /builds/{build}/concede", need: judge, again: true, serve: p.concede},
		{pattern: "POST /builds/{build}/correct", need: judge, again: true, serve: p.correct},
		{pattern: "POST /builds/{build}/release", need: judge, again: true, serve: p.release},
		{pattern: "POST /builds/{build}/reopen", need: judge, again: true, serve: p.reopen},
		{pattern: "GET /builds/{build}/sheet.pdf", need: desk, serve: p.sheetPDF},
		{pattern: "GET /builds/{build}/bundle.zip", need: desk, serve: p.bundleZIP},
		{pattern: "GET /claims", need: desk, serve: p.claimsPage},
		{pattern: "GET /wrenches", serve: p.wrenchesPage},
		{pattern: "GET /wrenches/{wrench}", serve: p.wrenchPage},
		{pattern: "POST /wrenches/{wrench}/found", need: keep, again: true, serve: p.wrenchFound},
		{pattern: "GET /procedures", serve: p.proceduresPage},
		{pattern: "GET /procedures/one", serve: p.procedurePage},
		{pattern: "POST /procedures/preview", need: keep, most: maxUpload, serve: p.preview},
		{pattern: "POST /procedures", need: keep, again: true, most: maxUpload, serve: p.addProcedure},
		{pattern: "GET /ledger", need: look, serve: p.ledgerPage},
		{pattern: "GET /ledger/progress", need: look, live: true, serve: p.ledgerProgress},
		{pattern: "POST /ledger/verify", need: keep, serve: p.verify},
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
		who := p.who(r)
		switch {
		case rt.open:
		case who.ID == "" && rt.live: // a page that lost its connection while the session ended
			over(w)
			return
		case who.ID == "" && r.Method == http.MethodGet:
			http.Redirect(w, r, "/sign-in?next="+url.QueryEscape(r.URL.RequestURI()), http.StatusSeeOther)
			return
		case who.ID == "":
			p.fault(w, r, http.StatusUnauthorized, en("refusal.you-are-no-longer-signed-in-and-nothing"))
			return
		case !rt.allows(who):
			p.fault(w, r, http.StatusForbidden, lacking(rt))
			return
		case who.Bench != "" && rt.again:
			p.fault(w, r, http.StatusForbidden, errByPIN.Error())
			return
		case who.elsewhere(r):
			p.fault(w, r, http.StatusForbidden, errElsewhere.Error())
			return
		case !rt.live:
			p.sessions.Put(r.Context(), sessionSeen, p.Clock().Unix())
			p.touch(r)
		}
		if p.whole(w, r, cmp.Or(rt.most, maxForm)) {
			rt.serve(w, r)
		}
	})
}

var (
	errByPIN     = &control.Error{Status: http.StatusForbidden, Sentence: en("refusal.this-asks-for-your-own-password-and-you")}
	errElsewhere = &control.Error{Status: http.StatusForbidden, Sentence: en("refusal.by-badge-and-pin-you-record-at-the")}
)

// elsewhere is true of one who signed in by PIN and is about to act at another bench than that of the browser.
func (who person) elsewhere(r *http.Request) bool {
	at := r.PathValue("bench") + r.PathValue("id") // pages and API
	return who.Bench != "" && r.Method != http.MethodGet && at != "" && at != who.Bench
}

// allows tells whether a person has a role that the route takes.
func (rt route) allows(who person) bool {
	return rt.need == nil || slices.ContainsFunc(rt.need, who.Can)
}

func lacking(rt route) string {
	return en("refusal.this-takes-the-role-role-which-you-do", "Role", list(rt.need))
}

// person is who is signed in; the zero value is nobody.
type person struct {
	ID, Name string
	Roles    []audit.Role
	Machine  bool   // it is a machine that acts as the person
	Bench    string // signed in by badge and PIN at this bench; empty: otherwise
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
	who.Bench = p.sessions.GetString(r.Context(), sessionBench)
	if len(who.Roles) == 0 || who.Bench != "" && !p.stays(r, who.Bench) {
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
