package web

import (
	"html/template"
	"net/http"
	"slices"
	"strings"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/audit/procedure"
	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/cmd/witnessmark/internal/drawing"
	"witnessmark/cmd/witnessmark/internal/worked"
)

type proceduresView struct {
	Families []family
	May      bool
}

// family is the revisions of one engine family, the newest first.
type family struct {
	Name      string
	Revisions []bench.ProcedureRev
}

func (p *Pages) proceduresPage(w http.ResponseWriter, r *http.Request) {
	v := proceduresView{May: keeps(p.who(r))}
	for _, rev := range slices.Backward(p.revisions()) {
		i := slices.IndexFunc(v.Families, func(f family) bool { return f.Name == rev.Family })
		if i < 0 {
			i, v.Families = len(v.Families), append(v.Families, family{Name: rev.Family})
		}
		v.Families[i].Revisions = append(v.Families[i].Revisions, rev)
	}
	slices.SortFunc(v.Families, func(a, b family) int { return strings.Compare(a.Name, b.Name) })
	p.show(w, r, http.StatusOK, "procedures", p.say(r, "menu.procedures"), v)
}

func keeps(who person) bool { return who.Can(audit.Lead) || who.Can(audit.Administrator) }

func (p *Pages) revisions() (all []bench.ProcedureRev) {
	p.Shop.Look(func(s *bench.Shop) { all = s.Procedures() })
	return all
}

// procedureView is one revision, in the shop or still to be added.
type procedureView struct {
	Rev     bench.ProcedureRev
	Plan    *procedure.Procedure
	Drawn   []jointDrawing
	Others  []bench.ProcedureRev // revisions that it can be held against
	Against string               // the revision that it is held against; empty: none
	Changes []change
	Same    bool   // it is the text of Against
	File    string // of one that is still to be added
	Add     bool   // it is not in the shop yet
}

// jointDrawing is a joint with its picture and its order.
type jointDrawing struct {
	*procedure.Joint
	Stages []stageDrawing
}

// stageDrawing is the order of one or more stages that go the same way.
type stageDrawing struct {
	Names   string
	Picture template.HTML
	Steps   []string // fasteners in their order
	Targets []string // what the stages ask for
}

func (p *Pages) procedurePage(w http.ResponseWriter, r *http.Request) {
	q, all := r.URL.Query(), p.revisions()
	rev := revisionOf(all, q.Get("family"), q.Get("revision"))
	if rev == nil {
		p.refused(w, r, control.Unknown(en("refusal.there-is-no-such-procedure-here-see-the")))
		return
	}
	plan, err := procedure.Parse(rev.Family, []byte(rev.Text))
	if err != nil {
		p.refused(w, r, err)
		return
	}
	v := procedureView{Rev: *rev, Plan: plan, Drawn: p.words(r).drawn(plan), Others: others(all, rev)}
	v.hold(all, q.Get("against"))
	p.show(w, r, http.StatusOK, "procedure", p.say(r, "title.revision", "Family", rev.Family, "Revision", rev.Revision), v)
}

func revisionOf(all []bench.ProcedureRev, family, revision string) *bench.ProcedureRev {
	i := slices.IndexFunc(all, func(r bench.ProcedureRev) bool { return r.Family == family && r.Revision == revision })
	if i < 0 {
		return nil
	}
	return &all[i]
}

func others(all []bench.ProcedureRev, rev *bench.ProcedureRev) []bench.ProcedureRev {
	return slices.DeleteFunc(slices.Clone(all), func(r bench.ProcedureRev) bool { return r.Family != rev.Family || r.Revision == rev.Revision })
}

// hold holds the revision against another one of its family.
func (v *procedureView) hold(all []bench.ProcedureRev, against string) {
	if old := revisionOf(all, v.Rev.Family, against); old != nil {
		v.Against, v.Changes, v.Same = old.Revision, changes(old.Text, v.Rev.Text), old.Text == v.Rev.Text
	}
}

// drawn draws every joint, once for all stages that go the same way.
func (w *words) drawn(plan *procedure.Procedure) []jointDrawing {
	var out []jointDrawing
	for i := range plan.Joints {
		j := &plan.Joints[i]
		d := jointDrawing{Joint: j}
		for k := range j.Stages {
			order := orderOf(j, k)
			target := j.Stages[k].ID + ": " + worked.Wanted(&j.Stages[k], w.unit)
			same := slices.IndexFunc(d.Stages, func(s stageDrawing) bool { return slices.Equal(s.Steps, order) })
			if same >= 0 {
				d.Stages[same].Names += ", " + j.Stages[k].ID
				d.Stages[same].Targets = append(d.Stages[same].Targets, target)
				continue
			}
			d.Stages = append(d.Stages, stageDrawing{Names: j.Stages[k].ID, Picture: template.HTML(drawing.Of(j, k).Inline()), Steps: order, Targets: []string{target}})
		}
		out = append(out, d)
	}
	return out
}

func orderOf(j *procedure.Joint, stage int) (ids []string) {
	for _, s := range j.Sequence() {
		if s.Stage == stage {
			ids = append(ids, j.Fasteners[s.Fastener].ID)
		}
	}
	return ids
}
