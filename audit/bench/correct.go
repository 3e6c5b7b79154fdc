package bench

import (
	"fmt"
	"slices"

	"witnessmark/audit"
	"witnessmark/audit/match"
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
		if p := b.parcel; p != nil && (reading <= p.first || reading > p.until) {
			continue
		}
		for _, r := range s.whole(b).runs {
			if i := r.taken(reading); i >= 0 {
				return r, &r.readings[i]
			}
		}
	}
	return nil, nil
}

func (s *Shop) refuseCorrection(ev audit.CorrectionMade) error {
	r, t := s.runWith(ev.Reading)
	if r == nil && s.looseAt(ev.Reading) >= 0 {
		return s.refuseAdoption(ev)
	}
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
		return unknown("joint %s has no fastener %q: use a number from its drawing", r.joint.ID, ev.Fastener)
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
	if r == nil {
		return s.adopt(ev)
	}
	marks := r.amend(ev)
	s.settled(r)
	return marks
}

// settled looks what became of a joint of which other things are held now.
func (s *Shop) settled(r *run) {
	if s.BenchOf(r.seq) == "" && r.build.newestRun(r.joint.ID) == r {
		s.rest(r)
		if s.newest(r.build.Engine, "") == r.build { // else the torque cycles have gone on from there
			s.lives.Keep(r.build.Engine, r.build.ID, r.procedure, r.joint, r.bolts())
		}
	}
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
		return -1, unknown("stage %q of joint %s does not cover fastener %s: name one that does", stage, r.joint.ID, fastener)
	case held >= 0:
		return held, nil
	case len(pass) == 1:
		return pass[0], nil
	}
	return -1, fmt.Errorf("which stage of fastener %s reading %d was does not follow from its figures: name the stage", fastener, r.readings[i].seq)
}
