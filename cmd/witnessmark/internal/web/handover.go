package web

import (
	"net/http"
	"slices"
	"strings"

	"witnessmark/audit"
	"witnessmark/audit/bench"
)

// handOver signs the next person in at the bench, in the place of whoever was: by badge and PIN where the browser stands at
// this bench, else by name and password. Who was signed in stays so where that fails.
func (p *Pages) handOver(w http.ResponseWriter, r *http.Request) {
	at, page := r.PathValue("bench"), "/bench/"+r.PathValue("bench")
	id, by, err := "", "", errNoStation
	switch badge := strings.TrimSpace(r.FormValue("badge")); {
	case badge == "":
		id, err = p.provePassword(r, fields(r.FormValue("name")), r.FormValue("password"))
	case p.station(r) == at:
		by = at
		id, err = p.proveBadge(r, at, badge, r.FormValue("pin"))
	}
	if err != nil {
		p.sessions.Put(r.Context(), sessionNotice, p.say(r, "notice.not-handed-over-why", "Why", p.sentence(r, err.Error())))
		http.Redirect(w, r, page, http.StatusSeeOther)
		return
	}
	p.takeOver(r, at, id)
	p.begin(w, r, id, by, page)
}

// takeOver makes the readings at a bench theirs who has just come to it. One who may not record looks on only. Where it cannot be
// recorded they are signed in all the same, and are told.
func (p *Pages) takeOver(r *http.Request, at, id string) {
	var records bool
	p.Shop.Look(func(s *bench.Shop) {
		records = slices.ContainsFunc(recording, func(role audit.Role) bool { return s.Has(id, role) })
	})
	if !records {
		return
	}
	if err := p.Shop.PutInHands(r.Context(), at, id); err != nil {
		p.sessions.Put(r.Context(), sessionNotice, p.say(r, "notice.not-handed-over-why", "Why", p.sentence(r, err.Error())))
	}
}
