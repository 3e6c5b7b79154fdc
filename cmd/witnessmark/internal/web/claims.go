package web

import (
	"context"
	"errors"
	"html/template"
	"net/http"
	"net/url"
	"strings"

	"witnessmark/audit"
	"witnessmark/cmd/witnessmark/internal/claim"
	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/store"
)

// claimsView is the warranty desk: one field, and the answer below it.
type claimsView struct {
	Asked, Joint, Fastener string
	Note                   string // what the scanned label says of itself
	Answer                 *claim.Claim
	Away                   string
	Live                   []control.Build // where the record is away
	Wrong                  string
	Judge                  bool // who looks may open the page of a build
}

func (p *Pages) claimsPage(w http.ResponseWriter, r *http.Request) {
	q := r.URL.Query()
	v := claimsView{Asked: strings.TrimSpace(q.Get("q")), Joint: q.Get("joint"), Fastener: q.Get("fastener"), Judge: p.who(r).Can(audit.Lead)}
	if v.Asked == "" {
		p.show(w, r, http.StatusOK, "claims", p.say(r, "menu.claims"), v)
		return
	}
	text, note := p.Shop.Labelled(v.Asked)
	v.Note = note
	if v.Fastener != "" && v.Joint == "" {
		v.Fastener = ""
	}
	var wrong *claim.Wrong
	away, err := p.read(r, func(ctx context.Context, reader *store.Reader) (err error) {
		v.Answer, err = claim.Look(ctx, reader, claim.Question{Text: text, Joint: v.Joint, Fastener: v.Fastener, Unit: p.unit(r)})
		return err
	})
	switch {
	case errors.As(err, &wrong):
		v.Wrong, v.Answer = wrong.Sentence, nil
	case err != nil:
		p.refused(w, r, err)
		return
	case away != "":
		v.Away, v.Answer, v.Live = away, nil, p.liveBuilds(text)
	}
	p.show(w, r, http.StatusOK, "claims", p.say(r, "title.claim", "Asked", v.Asked), v)
}

// liveBuilds are the builds that the daemon knows by exactly this name.
func (p *Pages) liveBuilds(text string) (out []control.Build) {
	for _, b := range p.Shop.Builds() {
		if strings.EqualFold(b.Engine, text) || strings.EqualFold(b.WorkOrder, text) || strings.EqualFold(b.Unit, text) {
			out = append(out, b)
		}
	}
	return out
}

// claimLink is the way to a story: of a joint, or of a fastener of it.
func claimLink(asked, joint, fastener string) string {
	q := url.Values{"q": {asked}}
	if joint != "" {
		q.Set("joint", joint)
	}
	if fastener != "" {
		q.Set("fastener", fastener)
	}
	return "/claims?" + q.Encode()
}

// among draws where a reading lies among its like.
func among(s claim.Standing) template.HTML { return template.HTML(s.Inline()) } // escapes what it writes
