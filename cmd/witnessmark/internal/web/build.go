package web

import (
	"context"
	"net/http"
	"slices"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/audit/procedure"
	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/cmd/witnessmark/internal/sheet"
	"witnessmark/cmd/witnessmark/internal/worked"
	"witnessmark/device/unit"
	"witnessmark/store"
)

// buildView is the story of one build.
type buildView struct {
	bench.Review
	Build    control.Build
	OpenedBy string
	Blocking int
	Lead     bool            // who looks may judge
	Hands    bool            // … may hand out the sheet and the bundle
	Chosen   *bench.Finding  // that is to be conceded
	Alike    []bench.Finding // others of its kind that may be conceded with it
	Away     string          // why the record is not shown; empty: it is
	Moments  []moment
	Joints   []jointCard
	Live     []bench.JointChoice // where the record is away
}

// RunOf is the newest attempt at a joint, 0 where none is known.
func (v buildView) RunOf(joint string) (run uint64) {
	for _, c := range v.Joints {
		if c.ID == joint {
			run = c.Run
		}
	}
	return run
}

// jointCard is a joint in a few words.
type jointCard struct {
	ID, Title, Class string
	Run              uint64 // 0: never begun
	Done, All        int
	Complete         bool
	State            sheet.State
	ToVerify         int  // verifications that are still open
	Earlier          bool // begun anew later
	OutOfTurn        int  // fasteners that were done out of their turn, over all stages
	Stages           []string
}

func (p *Pages) buildPage(w http.ResponseWriter, r *http.Request) {
	b, rv, err := p.buildOf(r)
	if err != nil {
		p.refused(w, r, err)
		return
	}
	me := p.who(r)
	v := buildView{Review: rv, Build: b, OpenedBy: p.nameOf(b.Person), Blocking: len(rv.Blocking()), Lead: me.Can(audit.Lead), Hands: me.Can(audit.Lead) || me.Can(audit.Warranty)}
	chosen := r.URL.Query().Get("finding")
	if i := slices.IndexFunc(rv.Findings, func(f bench.Finding) bool { return f.ID == chosen && f.Blocks }); i >= 0 {
		v.Chosen = &rv.Findings[i]
		v.Alike = slices.DeleteFunc(rv.Alike(v.Chosen.Kind()), func(f bench.Finding) bool { return f.ID == v.Chosen.ID || f.Second != v.Chosen.Second })
	}
	v.Away, err = p.read(r, func(ctx context.Context, reader *store.Reader) error {
		rec, err := recordOf(ctx, reader, b.ID, p.unit(r))
		if err == nil {
			v.Joints, v.Moments = cards(rec.joints), p.words(r).moments(&rec.words)
		}
		return err
	})
	if err != nil {
		p.refused(w, r, err)
		return
	}
	if v.Away != "" {
		p.Shop.Look(func(s *bench.Shop) { v.Live = s.Joints(b.ID) })
	}
	p.show(w, r, http.StatusOK, "build", p.say(r, "title.engine", "Engine", b.Engine), v)
}

// recorded is what the database holds of one build.
type recorded struct {
	words  sheet.Build
	joints []worked.Joint
}

// recordOf reads a build with the bytes that came from its wrenches.
func recordOf(ctx context.Context, reader *store.Reader, build uint64, u unit.TorqueUnit) (recorded, error) {
	h, err := reader.BuildNumber(ctx, build)
	if err != nil {
		return recorded{}, err
	}
	e, err := sheet.Of(h, u)
	if err != nil {
		return recorded{}, err
	}
	e.AddRaw(h)
	b := &h.Builds[0]
	plan, err := procedure.Parse(b.Family+" revision "+b.Revision, []byte(b.Procedure))
	if err != nil {
		return recorded{}, err
	}
	return recorded{e.Builds[0], worked.Joints(plan, b, &e.Builds[0])}, nil
}

func cards(joints []worked.Joint) []jointCard {
	var out []jointCard
	for i := range joints {
		j := &joints[i]
		c := jointCard{ID: j.Plan.ID, Title: j.Plan.Title, Class: string(j.Plan.Criticality)}
		c.Done, c.All = j.Tally()
		if j.Words != nil {
			c.Run, c.Complete, c.Earlier = j.Words.Run, j.Words.Complete, j.Words.Earlier
			c.State, c.ToVerify = j.Words.State, j.Words.ToVerify
			for _, o := range j.Words.Order {
				c.OutOfTurn += len(o.OutOfTurn)
			}
		}
		for _, st := range j.Stages {
			c.Stages = append(c.Stages, st.Plan.ID)
		}
		out = append(out, c)
	}
	return out
}
