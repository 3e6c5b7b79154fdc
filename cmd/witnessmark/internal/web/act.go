package web

import (
	"net/http"
	"strconv"

	"witnessmark/audit/bench"
	"witnessmark/cmd/witnessmark/internal/control"
)

// startView is what the page shows that puts a joint on a bench.
type startView struct {
	Bench      string
	Builds     []control.Build // newest first
	Build      *control.Build  // the one that was chosen; nil: none yet
	Joints     []bench.JointChoice
	Procedures []control.Procedure
}

func (p *Pages) startPage(w http.ResponseWriter, r *http.Request) {
	v := startView{Bench: r.PathValue("bench"), Procedures: p.Shop.Procedures()}
	chosen := number(r, "build")
	all := p.Shop.Builds()
	for i := len(all) - 1; i >= 0; i-- {
		v.Builds = append(v.Builds, all[i])
		if all[i].ID == chosen {
			v.Build = &all[i]
		}
	}
	if v.Build != nil {
		p.Shop.Look(func(s *bench.Shop) { v.Joints = s.Joints(chosen) })
	}
	p.show(w, r, http.StatusOK, "start", p.say(r, "title.start"), v)
}

func (p *Pages) openBuild(w http.ResponseWriter, r *http.Request) {
	b, err := p.Shop.OpenBuild(r.Context(), control.NewBuild{Engine: fields(r.FormValue("engine")), Family: r.FormValue("family"),
		WorkOrder: fields(r.FormValue("work_order")), Unit: fields(r.FormValue("unit")), Person: p.who(r).Name})
	if err != nil {
		p.refused(w, r, err)
		return
	}
	http.Redirect(w, r, "/bench/"+r.PathValue("bench")+"/start?build="+strconv.FormatUint(b.ID, 10), http.StatusSeeOther)
}

func (p *Pages) startJoint(w http.ResponseWriter, r *http.Request) {
	_, err := p.Shop.StartJoint(r.Context(), r.PathValue("bench"), control.Start{Build: number(r, "build"), Joint: r.FormValue("joint"), Person: p.who(r).Name})
	p.back(w, r, err)
}

func (p *Pages) closeJoint(w http.ResponseWriter, r *http.Request) {
	_, err := p.Shop.CloseJoint(r.Context(), r.PathValue("bench"), control.Close{Person: p.who(r).Name})
	p.back(w, r, err)
}

func (p *Pages) answer(w http.ResponseWriter, r *http.Request) {
	_, err := p.Shop.Answer(r.Context(), r.PathValue("bench"), control.Answer{Check: r.FormValue("check"), Fastener: r.FormValue("fastener"),
		Yes: r.FormValue("yes") == "yes", Value: fields(r.FormValue("value")), Person: p.who(r).Name})
	p.back(w, r, err)
}

func (p *Pages) name(w http.ResponseWriter, r *http.Request) {
	_, err := p.Shop.Name(r.Context(), r.PathValue("bench"), control.Name{Reading: number(r, "reading"), Fastener: r.FormValue("fastener"), Person: p.who(r).Name})
	p.back(w, r, err)
}
