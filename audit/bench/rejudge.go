package bench

import (
	"slices"

	"witnessmark/audit"
	"witnessmark/audit/judge"
	"witnessmark/audit/match"
	"witnessmark/audit/procedure"
	"witnessmark/device/unit"
)

// found judges reading i as a step; step -1: it was none of this joint.
func (r *run) found(i, step int) match.Finding {
	f := match.Finding{Step: step, Kind: match.Stray, Verdict: audit.NotJudged, Confidence: audit.Certain, LocatedBy: audit.ByPerson}
	if step < 0 {
		return f
	}
	s, t := r.order()[step], &r.readings[i]
	got := t.reading
	if a, _ := r.adapterAt(s.Stage, t.fit); a != nil {
		got.Torque = a.Applied(got.Torque)
	}
	p := judge.Pull{Figures: s.Figures, Reading: &got, NeedsAngle: r.joint.Criticality == procedure.ClassA, Unfit: r.unfit(t)}
	p.Turned, p.Total = r.turned(i, s)
	p.Guard = r.guard(t, got.Torque)
	f.Kind, f.Turned, f.Verdict = match.Next, p.Turned, judge.Verdict(p)
	before := Steps(r.joint, inForce(r.readings[:i]), r.renewalsBefore(t.seq))
	if before[step].State == Done {
		f.Kind = match.ReHit
	} else {
		f.OutOfOrder = step != r.place(i, before) && step != r.expected(i, before)
	}
	return f
}

// place is the step of the last pull before reading i that was no second hit, -1: none.
func (r *run) place(i int, steps []StepState) int {
	for i--; i >= 0; i-- {
		m := &r.readings[i].mark
		if m.Stage != "" && !slices.Contains(m.Flags, audit.ReHit) {
			return slices.IndexFunc(steps, func(s StepState) bool { return s.Stage == m.Stage && s.Fastener == m.Fastener })
		}
	}
	return -1
}

// expected is the open step that comes next in the order after the last pull before reading i, else the first one that was
// left behind; -1: none.
func (r *run) expected(i int, before []StepState) int {
	at := r.place(i, before) + 1
	open := func(s StepState) bool { return s.State != Done }
	if next := slices.IndexFunc(before[at:], open); next >= 0 {
		return at + next
	}
	return slices.IndexFunc(before, open)
}

// unfit is true of a reading that the procedure lets not pass, because of the wrench's state.
func (r *run) unfit(t *taken) bool {
	w := r.procedure.Wrench
	return w.UncalibratedFails && slices.Contains(t.wrench, audit.OutOfCalibration) || w.OutOfRangeFails && slices.Contains(t.wrench, audit.OutOfRange)
}

// turned is what a fastener had turned before reading i: without a break in the stage of s, and in all turning stages
// since it was last loosened.
func (r *run) turned(i int, s procedure.Step) (inStage, total unit.Angle) {
	last := ""
	for k := range r.readings[:i] {
		t := &r.readings[k]
		if t.mark.Fastener != r.joint.Fasteners[s.Fastener].ID || t.reading.Angle == nil {
			continue
		}
		if t.mark.Stage != last {
			inStage, last = 0, t.mark.Stage
		}
		inStage += *t.reading.Angle
		switch r.action(last) {
		case procedure.TurnBy:
			total += *t.reading.Angle
		case procedure.LoosenBy:
			total = 0
		}
	}
	if last != r.joint.Stages[s.Stage].ID {
		inStage = 0
	}
	return inStage, total
}

func (r *run) action(stage string) procedure.Action {
	i := slices.IndexFunc(r.joint.Stages, func(s procedure.Stage) bool { return s.ID == stage })
	if i < 0 {
		return ""
	}
	return r.joint.Stages[i].Action
}

// guard draws the torque limits in for a reading, see judge.Pull.
func (r *run) guard(t *taken, got unit.Torque) (g unit.Torque) {
	if r.procedure.Decision == procedure.Guarded {
		g, _ = judge.Uncertain(*t.declared, got)
	}
	return g
}

// renewalsBefore are the new bolts that were fitted before an entry.
func (r *run) renewalsBefore(entry uint64) []Renewal {
	return slices.DeleteFunc(slices.Clone(r.renewals), func(n Renewal) bool { return n.Entry > entry })
}
