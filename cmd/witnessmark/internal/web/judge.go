package web

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/cmd/witnessmark/internal/control"
)

// proved does what changes judgement, once who is signed in has proved anew who they are, and goes to a page with what
// became of it.
func (p *Pages) proved(w http.ResponseWriter, r *http.Request, to string, do func(ctx context.Context, me person) error) {
	me := p.who(r)
	var refusal *control.Error
	notice, err := p.say(r, "notice.done"), p.prove(r, me, r.FormValue("own_password"))
	if err != nil {
		err = control.Refuse(err.Error())
	} else {
		err = do(r.Context(), me)
	}
	switch {
	case errors.As(err, &refusal):
		notice = p.say(r, "notice.not-done-why", "Why", p.sentence(r, refusal.Sentence))
	case err != nil:
		p.refused(w, r, err)
		return
	}
	p.sessions.Put(r.Context(), sessionNotice, notice)
	http.Redirect(w, r, to, http.StatusSeeOther)
}

// judge does something to the build of a request.
func (p *Pages) judge(w http.ResponseWriter, r *http.Request, do func(ctx context.Context, build uint64, me person) error) {
	b, _, err := p.buildOf(r)
	if err != nil {
		p.refused(w, r, err)
		return
	}
	back := "/builds/" + strconv.FormatUint(b.ID, 10)
	p.proved(w, r, back, func(ctx context.Context, me person) error { return do(ctx, b.ID, me) })
}

func (p *Pages) concede(w http.ResponseWriter, r *http.Request) {
	p.judge(w, r, func(ctx context.Context, build uint64, me person) error {
		asked := asked(r)
		for _, f := range asked {
			if err := p.unchanged(build, f.ID, f.Text); err != nil {
				return err
			}
		}
		second, err := p.second(r)
		if err != nil {
			return err
		}
		for i, f := range asked {
			_, err := p.Shop.Concede(ctx, build, control.Concede{Finding: f.ID, Reason: strings.TrimSpace(r.FormValue("reason")), Person: me.Name, Second: second})
			if err != nil && i > 0 {
				return control.Refuse(en("refusal.of-several-some-were-conceded", "Done", i, "All", len(asked), "Why", err))
			}
			if err != nil {
				return err
			}
		}
		return nil
	})
}

// asked are the findings that a form concedes, with the sentences that the person has seen: one, or all of its kind.
func asked(r *http.Request) []bench.Finding {
	out := []bench.Finding{{ID: r.FormValue("finding"), Text: r.FormValue("found")}}
	also, found := r.Form["also"], r.Form["also_found"]
	for i := range min(len(also), len(found)) {
		if r.FormValue("all") != "" {
			out = append(out, bench.Finding{ID: also[i], Text: found[i]})
		}
	}
	return out
}

// unchanged refuses to concede what the person has not seen.
func (p *Pages) unchanged(build uint64, finding, seen string) error {
	rv, err := p.Shop.Review(build)
	if err != nil {
		return err
	}
	i := slices.IndexFunc(rv.Findings, func(f bench.Finding) bool { return f.ID == finding })
	if i >= 0 && rv.Findings[i].Text != seen {
		return control.Refuse(en("refusal.what-was-found-is-different-now-found-look", "Found", rv.Findings[i].Text))
	}
	return nil // what is not there at all, the desk refuses
}

// second is the name of a second person, who proves with a password of their own that they stand beside; empty: none is
// named, and the desk says whether one is needed.
func (p *Pages) second(r *http.Request) (string, error) {
	name := fields(r.FormValue("second"))
	if name == "" {
		return "", nil
	}
	id, err := p.provePassword(r, name, r.FormValue("second_password"))
	var often *throttled
	switch {
	case errors.As(err, &often):
		return "", control.Refuse(en("refusal.too-many-wrong-tries-of-the-second-person", "Time", often.wait.Round(time.Second)))
	case errors.Is(err, errWrong):
		return "", control.Refuse(en("refusal.name-and-password-of-the-second-person-do"))
	case err != nil:
		return "", control.Refuse(err.Error())
	}
	may := false
	p.Shop.Look(func(s *bench.Shop) { may = s.Has(id, audit.Technician) || s.Has(id, audit.Lead) })
	if !may {
		return "", control.Refuse(en("refusal.the-second-person-must-be-a-technician-or"))
	}
	return name, nil
}

func (p *Pages) release(w http.ResponseWriter, r *http.Request) {
	p.judge(w, r, func(ctx context.Context, build uint64, me person) error {
		seen := number(r, "reviewed")
		if seen == 0 {
			return control.Malformed(en("refusal.the-form-does-not-say-what-you-have"))
		}
		_, err := p.Shop.Release(ctx, build, control.Release{Reviewed: seen, Person: me.Name})
		return err
	})
}

func (p *Pages) reopen(w http.ResponseWriter, r *http.Request) {
	p.judge(w, r, func(ctx context.Context, build uint64, me person) error {
		_, err := p.Shop.Reopen(ctx, build, control.Reopen{Reason: strings.TrimSpace(r.FormValue("reason")), Person: me.Name})
		return err
	})
}

func (p *Pages) correct(w http.ResponseWriter, r *http.Request) {
	b, _, err := p.buildOf(r)
	if err != nil {
		p.refused(w, r, err)
		return
	}
	back := fmt.Sprintf("/builds/%d/joints/%d?%s", b.ID, number(r, "run"), url.Values{"stage": {r.FormValue("at")}}.Encode())
	p.proved(w, r, back, func(ctx context.Context, me person) error {
		_, err := p.Shop.Correct(ctx, control.Correct{Reading: number(r, "reading"), Fastener: r.FormValue("fastener"), Stage: r.FormValue("stage"),
			Reason: strings.TrimSpace(r.FormValue("reason")), Person: me.Name})
		return err
	})
}
