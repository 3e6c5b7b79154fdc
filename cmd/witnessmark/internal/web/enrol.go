package web

import (
	"net/http"
	"time"

	"witnessmark/audit/bench"
	"witnessmark/store"
)

// enrolView is what the page shows that makes this browser stand at a bench.
type enrolView struct{ Bench, Already string }

func (p *Pages) enrolPage(w http.ResponseWriter, r *http.Request) {
	if _, err := p.Shop.View(r.PathValue("bench")); err != nil {
		p.refused(w, r, err)
		return
	}
	p.show(w, r, http.StatusOK, "enrol", p.say(r, "title.enrol"), enrolView{r.PathValue("bench"), p.station(r)})
}

// enrol makes this browser stand at a bench from now on, in the place of any other at which it stood.
func (p *Pages) enrol(w http.ResponseWriter, r *http.Request) {
	at, me, now := r.PathValue("bench"), p.who(r), p.Clock()
	if _, err := p.Shop.View(at); err != nil {
		p.refused(w, r, err)
		return
	}
	err := p.prove(r, me, r.FormValue("own_password"))
	secret := NewSecret()
	if err == nil {
		err = p.stations.enrol(r.Context(), store.Enrolment{Key: Key(secret), Bench: at, Person: me.ID, Since: now, Expires: now.Add(enrolledFor)})
	}
	if err != nil {
		p.showWith(w, r, http.StatusUnprocessableEntity, "enrol", p.say(r, "title.enrol"), enrolView{at, p.station(r)}, err.Error())
		return
	}
	p.Log.Info().Str("bench", at).Str("by", me.ID).Msg("a browser was enrolled")
	http.SetCookie(w, p.stationCookie(secret))
	p.sessions.Put(r.Context(), sessionNotice, p.say(r, "notice.this-browser-stands-at-bench-bench-now-badge", "Bench", at))
	http.Redirect(w, r, "/bench/"+at, http.StatusSeeOther)
}

// enrolment is one as the list shows it.
type enrolment struct {
	Key, Bench, By string
	Since          time.Time
	Here           bool // the browser that asks
}

func (p *Pages) enrolledPage(w http.ResponseWriter, r *http.Request) {
	all, err := p.stations.list(r.Context())
	if err != nil {
		p.fault(w, r, http.StatusServiceUnavailable, en("refusal.the-database-is-away-so-enrolled-browsers-cannot"))
		return
	}
	var here string
	if c, err := r.Cookie(p.stationCookie("").Name); err == nil {
		here = Key(c.Value)
	}
	list := make([]enrolment, len(all))
	p.Shop.Look(func(s *bench.Shop) {
		for i, e := range all {
			list[i] = enrolment{e.Key, e.Bench, s.PersonName(e.Person), e.Since, e.Key == here}
		}
	})
	p.show(w, r, http.StatusOK, "enrolled", p.say(r, "title.enrolled"), list)
}

func (p *Pages) endEnrolment(w http.ResponseWriter, r *http.Request) {
	notice := p.say(r, "notice.enrolment-ended")
	err := p.prove(r, p.who(r), r.FormValue("own_password"))
	if err == nil {
		err = p.stations.end(r.Context(), r.FormValue("key"))
	}
	if err != nil {
		notice = p.say(r, "notice.not-done-why", "Why", p.sentence(r, err.Error()))
	}
	p.sessions.Put(r.Context(), sessionNotice, notice)
	http.Redirect(w, r, "/enrolled", http.StatusSeeOther)
}
