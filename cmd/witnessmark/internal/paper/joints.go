package paper

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

// joint is one run of a joint, or one of the procedure that was never begun.
type joint struct {
	plan   *procedure.Joint
	words  *sheet.Joint // nil: never begun
	stages []stage
	stray  []pull // what belongs to no step
	page   int    // on which it begins; 0: not known yet
}

// stage is a stage with all that was done in it.
type stage struct {
	plan  *procedure.Stage
	turns []drawing.Turn
	steps []step // in the wanted order
	pulls []pull // in the order in which they were done
}

// step is a fastener in a stage.
type step struct {
	turn    drawing.Turn
	figures procedure.Figures
	pulls   []pull
}

// pull is a reading that belongs to a step.
type pull struct {
	fastener string
	figures  procedure.Figures
	words    sheet.Mark
	mark     audit.Mark
	torque   unit.Torque // at the fastener
	angle    *unit.Angle
	replaced bool // of a bolt that is no longer there
}

// good is whether the reading is right for its step.
func (p *pull) good() bool { return p.mark.Verdict == audit.Pass }

// again is whether it hit a fastener that was done.
func (p *pull) again() bool { return slices.Contains(p.mark.Flags, audit.ReHit) }

// joints lays the recorded runs beside the procedure, in its order.
func joints(p *procedure.Procedure, h *store.BuildHistory, words *sheet.Build) []joint {
	readings := map[uint64]*store.ReadingHistory{}
	for i := range h.Runs {
		for k := range h.Runs[i].Readings {
			readings[h.Runs[i].Readings[k].Seq] = &h.Runs[i].Readings[k]
		}
	}
	var out []joint
	for i := range p.Joints {
		begun := false
		for k := range words.Joints {
			if words.Joints[k].Joint == p.Joints[i].ID {
				out = append(out, recorded(&p.Joints[i], readings, &words.Joints[k]))
				begun = true
			}
		}
		if !begun {
			out = append(out, joint{plan: &p.Joints[i]})
		}
	}
	return out
}

func recorded(plan *procedure.Joint, readings map[uint64]*store.ReadingHistory, words *sheet.Joint) joint {
	j := joint{plan: plan, words: words, stages: make([]stage, len(plan.Stages))}
	for k, turns := range drawing.Turns(plan, words.States()) {
		j.stages[k] = stage{plan: &plan.Stages[k], turns: turns}
	}
	for i, s := range plan.Sequence() {
		st := &j.stages[s.Stage]
		one := step{turn: st.turns[len(st.steps)], figures: s.Figures}
		for _, m := range words.Steps[i].Replaced {
			p := newPull(m, readings[m.Reading], one)
			p.replaced = true
			one.pulls = append(one.pulls, p)
		}
		for _, m := range words.Steps[i].Marks {
			one.pulls = append(one.pulls, newPull(m, readings[m.Reading], one))
		}
		st.steps, st.pulls = append(st.steps, one), append(st.pulls, one.pulls...)
	}
	for _, m := range words.Stray {
		j.stray = append(j.stray, newPull(m, readings[m.Reading], step{}))
	}
	for k := range j.stages {
		slices.SortFunc(j.stages[k].pulls, func(a, b pull) int { return cmp.Compare(a.words.Reading, b.words.Reading) })
	}
	return j
}

func newPull(words sheet.Mark, r *store.ReadingHistory, s step) pull {
	mark := r.Marks[len(r.Marks)-1].Mark
	p := pull{fastener: s.turn.Fastener, figures: s.figures, words: words, mark: mark, torque: r.Torque, angle: r.Angle}
	if mark.Applied != 0 {
		p.torque = unit.Torque(mark.Applied)
	}
	return p
}

// tally counts the steps of a joint that are done, of all.
func (j *joint) tally() (done, all int) {
	for _, st := range j.stages {
		for _, s := range st.steps {
			if all++; s.turn.State == bench.Done {
				done++
			}
		}
	}
	if j.words == nil {
		all = len(j.plan.Sequence())
	}
	return done, all
}

// number is a torque in a unit as a plain number, for a picture.
func number(t unit.Torque, u unit.TorqueUnit) float64 {
	f, err := strconv.ParseFloat(t.In(u, 6), 64)
	if err != nil { // it is decimal digits, always
		panic(err)
	}
	return f
}

func degrees(a unit.Angle) float64 { return float64(a) / float64(unit.Degree) }
