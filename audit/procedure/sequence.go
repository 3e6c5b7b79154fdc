package procedure

import "slices"

// Joint finds a joint by its id.
func (p *Procedure) Joint(id string) (*Joint, bool) {
	for i := range p.Joints {
		if p.Joints[i].ID == id {
			return &p.Joints[i], true
		}
	}
	return nil, false
}

// Sequence is every step of the joint in the order in which they should be done. A stage with an order of its own is
// gone through in that; round fastener takes each fastener through all the stages that cover it. A verification is no
// tightening: it comes when all of that is done, stage by stage.
func (j *Joint) Sequence() []Step {
	steps := make([]Step, 0, len(j.Stages)*len(j.Fasteners))
	add := func(stage, fastener int) {
		if f, ok := j.Figures(stage, fastener); ok {
			steps = append(steps, Step{Stage: stage, Fastener: fastener, Figures: f})
		}
	}
	if j.Round == RoundFastener {
		for _, f := range j.Order {
			for s := range j.Stages {
				if !j.Stages[s].Verifies() {
					add(s, f)
				}
			}
		}
	} else {
		j.stages(false, add)
	}
	j.stages(true, add)
	return steps
}

// stages goes through the stages that verify, or through all others.
func (j *Joint) stages(verify bool, step func(stage, fastener int)) {
	for s := range j.Stages {
		if j.Stages[s].Verifies() != verify {
			continue
		}
		order := j.Stages[s].Order
		if order == nil {
			order = j.Order
		}
		for _, f := range order {
			step(s, f)
		}
	}
}

// Verifies is true of a stage that is no tightening but finds out how tight fasteners are, later and often by another person.
func (s *Stage) Verifies() bool { return s.Action == Verify }

// Figures is what a stage asks of a fastener, the fastener's override included. It is false where the stage does not
// cover the fastener, or where there is no such stage or fastener; both are indices.
func (j *Joint) Figures(stage, fastener int) (Figures, bool) {
	if stage < 0 || stage >= len(j.Stages) || fastener < 0 || fastener >= len(j.Fasteners) {
		return Figures{}, false
	}
	s := &j.Stages[stage]
	if !s.covers(fastener) {
		return Figures{}, false
	}
	if f, ok := j.Fasteners[fastener].Figures[s.ID]; ok {
		return f, true
	}
	return s.Figures, true
}

func (s *Stage) covers(fastener int) bool {
	return s.Only == nil || slices.Contains(s.Only, fastener)
}
