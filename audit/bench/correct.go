package bench

import (
	"fmt"
	"slices"

	"witnessmark/audit"
	"witnessmark/audit/judge"
	"witnessmark/audit/match"
	"witnessmark/audit/procedure"
	"witnessmark/device/unit"
)

// Correcting completes a correction with the build and the run that the reading belongs to.
func (s *Shop) Correcting(ev audit.CorrectionMade) audit.CorrectionMade {
	if r, t := s.runWith(ev.Reading); r != nil {
		ev.Build, ev.Run = r.build.ID, t.mark.Run
	}
	return ev
}

// runWith is the run that a reading belongs to, and that reading; nil: none.
func (s *Shop) runWith(reading uint64) (*run, *taken) {
	for _, b := range s.builds {
		for _, r := range b.runs {
			if reading <= r.first || reading > r.until {
				continue
			}
			if u := r.unpacked(); u.taken(reading) >= 0 {
				return r, &u.readings[u.taken(reading)]
			}
		}
	}
	return nil, nil
}

func (s *Shop) refuseCorrection(ev audit.CorrectionMade) error {
	r, t := s.runWith(ev.Reading)
	if r == nil || t.mark.Run != ev.Run || r.build.ID != ev.Build {
		return fmt.Errorf("reading %d belongs to no joint of a build: give the number of one that does", ev.Reading)
	}
	if err := s.workable(ev.Build); err != nil {
		return err
	}
	if err := signed("a correction", ev.Person, ev.Reason); err != nil {
		return err
	}
	switch {
	case ev.Fastener == "" && ev.Stage != "":
		return fmt.Errorf("a reading that was no fastener of joint %s has no stage either: leave the stage out", r.joint.ID)
	case ev.Fastener == "":
		return nil
	case r.fastener(ev.Fastener) < 0:
		return fmt.Errorf("joint %s has no fastener %q: use a number from its drawing", r.joint.ID, ev.Fastener)
	}
	if _, err := r.stepFor(r.taken(ev.Reading), ev.Fastener, ev.Stage); err != nil && (ev.Stage != "" || r.matcher == nil) {
		return err
	}
	return nil
}

// amend lets a correction take effect. While the matcher is there it takes the person's word and weighs everything
// again, which may change what is held of other readings too. Once the joint was complete and the matcher is gone, or
// where the person says the stage as well, this reading alone is judged for the step that was named.
func (r *run) amend(ev audit.CorrectionMade) []audit.Mark {
	i := r.taken(ev.Reading)
	var marks []audit.Mark
	r.unmeasure(&r.readings[i])
	r.readings[i].fixed = false
	if r.matcher != nil {
		r.matcher.Name(i, named(ev.Fastener))
		if ev.Stage == "" {
			return r.restate(nil)
		}
	}
	step := -1
	if ev.Fastener != "" {
		step, _ = r.stepFor(i, ev.Fastener, ev.Stage) // Refusal has looked
	}
	r.readings[i].fixed = true
	if r.matcher != nil {
		marks = r.restate(nil)
	}
	t := &r.readings[i]
	r.say(t, r.found(i, step))
	marks = append(marks, t.mark)
	slices.SortFunc(marks, func(a, b audit.Mark) int { return int(int64(a.Reading) - int64(b.Reading)) })
	return marks
}

// correct lets a correction take effect, and looks whether its joint is complete with it.
func (s *Shop) correct(ev audit.CorrectionMade) []audit.Mark {
	r, _ := s.runWith(ev.Reading)
	marks := r.amend(ev)
	if s.BenchOf(r.seq) == "" && r.build.newestRun(r.joint.ID) == r {
		s.rest(r)
		if s.newest(r.build.Engine, "") == r.build { // else the torque cycles have gone on from there
			s.lives.Keep(r.build.Engine, r.build.ID, r.procedure, r.joint, r.bolts())
		}
	}
	return marks
}

// unmeasure takes a reading off the check that it measured.
func (r *run) unmeasure(t *taken) {
	if g := t.check; g != nil {
		t.check = nil
		r.prevail(g.check.ID, g.fastener)
	}
}

// named is a person's word on a fastener as the matcher takes it.
func named(fastener string) string {
	if fastener == "" {
		return match.NotHere
	}
	return fastener
}

// stepFor is the step of a fastener that reading i is to be: of the stage named, else of the stage that it is held to be
// of, else of the only one in which it would pass.
func (r *run) stepFor(i int, fastener, stage string) (int, error) {
	var pass []int
	held := -1
	for k, s := range r.order() {
		if r.joint.Fasteners[s.Fastener].ID != fastener {
			continue
		}
		id := r.joint.Stages[s.Stage].ID
		switch {
		case id == stage:
			return k, nil
		case stage == "" && id == r.readings[i].mark.Stage:
			held = k
		case r.found(i, k).Verdict == audit.Pass:
			pass = append(pass, k)
		}
	}
	switch {
	case stage != "":
		return -1, fmt.Errorf("stage %q of joint %s does not cover fastener %s: name one that does", stage, r.joint.ID, fastener)
	case held >= 0:
		return held, nil
	case len(pass) == 1:
		return pass[0], nil
	}
	return -1, fmt.Errorf("which stage of fastener %s reading %d was does not follow from its figures: name the stage", fastener, r.readings[i].seq)
}

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
		g, _ = judge.Uncertain(t.declared, got)
	}
	return g
}

// renewalsBefore are the new bolts that were fitted before an entry.
func (r *run) renewalsBefore(entry uint64) []Renewal {
	return slices.DeleteFunc(slices.Clone(r.renewals), func(n Renewal) bool { return n.Entry > entry })
}

// complete is true where all is tightened and not doubted, every check accepted, and every bolt may stay.
func (r *run) complete() bool {
	steps := r.steps()
	_, good := r.checkFindings(steps)
	_, fit := WornOut(r.bolts())
	return good && fit && tightened(steps) && len(r.doubted(steps)) == 0
}

// verifying is true where a verification is still open.
func (r *run) verifying() bool {
	return slices.ContainsFunc(r.steps(), func(s StepState) bool { return s.Verify && s.State == Open })
}

// order is the order wanted with the figures that hold for this run.
func (r *run) order() []procedure.Step {
	if r.matcher != nil {
		return r.matcher.Steps()
	}
	return r.slackMatcher().Steps()
}

// slackMatcher is a matcher that has seen nothing yet, with what is known by now of what the fasteners take to run down.
func (r *run) slackMatcher() *match.Matcher {
	m := newMatcher(r.procedure, r.joint)
	for f, drag := range r.drag {
		m.Prevail(f, drag)
	}
	return m
}

// rematch gives a run a matcher again, for a joint that is taken up after it was complete or released. What is held of its
// readings is settled: it tells the matcher where each was, and nothing that comes later changes it.
func (r *run) rematch(l match.Learned) {
	m := r.slackMatcher()
	m.Expect(l)
	renewals := r.renewals
	for i := range r.readings {
		t := &r.readings[i]
		for ; len(renewals) > 0 && renewals[0].Entry < t.seq; renewals = renewals[1:] {
			m.Replace(r.fastener(renewals[0].Fastener))
		}
		o := match.Observation{Wrench: t.reading.Wrench, Torque: t.reading.Torque, Angle: t.reading.Angle, Direction: t.reading.Direction,
			Named: named(t.mark.Fastener), Unfit: r.unfit(t)}
		correct(&o, t.fit)
		o.Guard = r.guard(t, o.Torque)
		if t.check != nil {
			o.Named = match.NotHere
		}
		m.Observe(o)
		t.fixed = true
	}
	for _, n := range renewals {
		m.Replace(r.fastener(n.Fastener))
	}
	m.Settle()
	r.matcher = m
}

func inForce(readings []taken) []audit.Mark {
	out := make([]audit.Mark, len(readings))
	for i := range readings {
		out[i] = readings[i].mark
	}
	return out
}
