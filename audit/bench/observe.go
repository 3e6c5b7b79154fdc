package bench

import (
	"witnessmark/audit"
	"witnessmark/audit/bolt"
	"witnessmark/audit/judge"
	"witnessmark/audit/match"
	"witnessmark/audit/procedure"
	"witnessmark/device"
	"witnessmark/device/unit"
)

// observation is a reading as the matcher of a joint of procedure p sees it, made with a wrench as it is declared. What was
// scanned before it is for the caller to add.
func observation(e audit.Entry, rd *device.Reading, w declared, p *procedure.Procedure) match.Observation {
	o := match.Observation{Wrench: rd.Wrench, Torque: rd.Torque, Angle: rd.Angle, Direction: rd.Direction, Tag: rd.Tag}
	correct(&o, w.fit)
	if p.Decision == procedure.Guarded {
		o.Guard, _ = judge.Uncertain(*w.WrenchDeclared, o.Torque)
	}
	for _, f := range judge.WrenchFlags(*w.WrenchDeclared, rd, e.At, w.pulls) {
		o.Unfit = o.Unfit || f == audit.OutOfCalibration && p.Wrench.UncalibratedFails || f == audit.OutOfRange && p.Wrench.OutOfRangeFails
	}
	return o
}

// conform puts the probability that the torque lies inside its limits into a mark, where the stage asks for a torque and the
// wrench's uncertainty is known, and tells a torque that is nearer to a limit than that.
func conform(m *audit.Mark, f *procedure.Figures, t *taken) (conditional bool) {
	got := t.gotten()
	half, known := judge.Uncertain(*t.declared, got)
	if !known || !f.Torques.Set || f.Action != procedure.TightenTo && f.Action != procedure.Verify {
		return false
	}
	p, conditional := judge.Conformity(f.Torques, got, half)
	m.Conformity = &p
	return conditional
}

// prevail takes what a fastener takes to run down into its figures, where a check that was just answered, or whose answer
// was withdrawn, tells that. Another answer replaces the one before; without one nothing is added. What was judged with another
// figure is to be said again where that changed.
func (r *run) prevail(check, fastener string) (changed bool) {
	f := r.fastener(fastener)
	if check != r.joint.Prevailing || f < 0 {
		return false
	}
	var t unit.Torque
	if a := r.answer(check, fastener); a != nil {
		t = unit.Torque(a.value)
	}
	if r.drag == nil {
		r.drag = make([]unit.Torque, len(r.joint.Fasteners))
	}
	before := r.drag[f]
	if r.matcher != nil {
		r.matcher.Prevail(f, t-before)
	}
	r.drag[f] = t
	return t != before
}

// newMatcher follows joint j from slack, and knows of its bolts what their geometry tells.
func newMatcher(p *procedure.Procedure, j *procedure.Joint) *match.Matcher {
	m := match.New(j)
	for i := range j.Stages {
		if a, ok := p.Adapters[j.Stages[i].Adapter]; ok {
			m.Through(i, a.Applied)
		}
	}
	for i, f := range j.Fasteners {
		t := p.Types[f.Type]
		if thread, err := bolt.ParseThread(t.Thread); err == nil && t.Length > 0 {
			m.Suppose(i, thread.TurnRate(t.Length, bolt.FrictionOf(t.Lubrication)))
		}
	}
	return m
}

// lesson names what a run teaches the later ones: a joint by its procedure revision.
type lesson struct{ family, revision, joint string }

func (r *run) lesson() lesson { return lesson{r.build.Family, r.build.Revision, r.joint.ID} }
