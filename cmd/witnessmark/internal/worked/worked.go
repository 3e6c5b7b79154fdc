// Package worked lays what is recorded of a build beside the procedure that it was built by: joint by joint, stage by stage,
// with the pulls as they are drawn. The build sheet and the pages are made from it.
package worked

import (
	"cmp"
	"slices"
	"strconv"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/audit/procedure"
	"witnessmark/cmd/witnessmark/internal/drawing"
	"witnessmark/cmd/witnessmark/internal/sheet"
	"witnessmark/device/unit"
	"witnessmark/store"
)

// Joint is one run of a joint, or one of the procedure that was never begun.
type Joint struct {
	Plan   *procedure.Joint
	Words  *sheet.Joint // nil: never begun
	Stages []Stage
	Stray  []Pull // what belongs to no step
}

// Stage is a stage with all that was done in it.
type Stage struct {
	Plan  *procedure.Stage
	Turns []drawing.Turn
	Steps []Step // in the wanted order
	Pulls []Pull // in the order in which they were done
}

// Step is a fastener in a stage.
type Step struct {
	Turn    drawing.Turn
	Figures procedure.Figures
	Pulls   []Pull
}

// Pull is a reading that belongs to a step.
type Pull struct {
	Fastener string
	Figures  procedure.Figures
	Words    sheet.Mark
	Mark     audit.Mark
	Torque   unit.Torque // at the fastener
	Angle    *unit.Angle
	Replaced bool // of a bolt that is no longer there
}

// Good is whether the reading is right for its step.
func (p *Pull) Good() bool { return p.Mark.Verdict == audit.Pass }

// Again is whether it hit a fastener that was done.
func (p *Pull) Again() bool { return slices.Contains(p.Mark.Flags, audit.ReHit) }

// Joints lays the recorded runs beside the procedure, in its order.
func Joints(p *procedure.Procedure, h *store.BuildHistory, words *sheet.Build) []Joint {
	readings := map[uint64]*store.ReadingHistory{}
	for i := range h.Runs {
		for k := range h.Runs[i].Readings {
			readings[h.Runs[i].Readings[k].Seq] = &h.Runs[i].Readings[k]
		}
	}
	var out []Joint
	for i := range p.Joints {
		begun := false
		for k := range words.Joints {
			if words.Joints[k].Joint == p.Joints[i].ID {
				out = append(out, recorded(&p.Joints[i], readings, &words.Joints[k]))
				begun = true
			}
		}
		if !begun {
			out = append(out, Joint{Plan: &p.Joints[i]})
		}
	}
	return out
}

func recorded(plan *procedure.Joint, readings map[uint64]*store.ReadingHistory, words *sheet.Joint) Joint {
	j := Joint{Plan: plan, Words: words, Stages: make([]Stage, len(plan.Stages))}
	for k, turns := range drawing.Turns(plan, words.States()) {
		j.Stages[k] = Stage{Plan: &plan.Stages[k], Turns: turns}
	}
	for i, s := range plan.Sequence() {
		st := &j.Stages[s.Stage]
		one := Step{Turn: st.Turns[len(st.Steps)], Figures: s.Figures}
		for _, m := range words.Steps[i].Replaced {
			p := newPull(m, readings[m.Reading], one)
			p.Replaced = true
			one.Pulls = append(one.Pulls, p)
		}
		for _, m := range words.Steps[i].Marks {
			one.Pulls = append(one.Pulls, newPull(m, readings[m.Reading], one))
		}
		st.Steps, st.Pulls = append(st.Steps, one), append(st.Pulls, one.Pulls...)
	}
	for _, m := range words.Stray {
		j.Stray = append(j.Stray, newPull(m, readings[m.Reading], Step{}))
	}
	for k := range j.Stages {
		slices.SortFunc(j.Stages[k].Pulls, func(a, b Pull) int { return cmp.Compare(a.Words.Reading, b.Words.Reading) })
	}
	return j
}

func newPull(words sheet.Mark, r *store.ReadingHistory, s Step) Pull {
	mark := r.Marks[len(r.Marks)-1].Mark
	p := Pull{Fastener: s.Turn.Fastener, Figures: s.Figures, Words: words, Mark: mark, Torque: r.Torque, Angle: r.Angle}
	if mark.Applied != 0 {
		p.Torque = unit.Torque(mark.Applied)
	}
	return p
}

// Tally counts the steps of a joint that are done, of all.
func (j *Joint) Tally() (done, all int) {
	for _, st := range j.Stages {
		for _, s := range st.Steps {
			if all++; s.Turn.State == bench.Done {
				done++
			}
		}
	}
	if j.Words == nil {
		all = len(j.Plan.Sequence())
	}
	return done, all
}

// Number is a torque in a unit as a plain number, for a picture.
func Number(t unit.Torque, u unit.TorqueUnit) float64 {
	f, err := strconv.ParseFloat(t.In(u, 6), 64)
	if err != nil { // it is decimal digits, always
		panic(err)
	}
	return f
}

// Degrees is an angle as a plain number, for a picture.
func Degrees(a unit.Angle) float64 { return float64(a) / float64(unit.Degree) }
