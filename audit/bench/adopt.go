package bench

import (
	"errors"
	"fmt"
	"slices"

	"witnessmark/audit"
	"witnessmark/audit/judge"
)

// mostLoose is how many readings that came with no joint on the bench may still be said to belong to one; the oldest are let go.
const mostLoose = 10_000

// keep remembers a reading that came while no joint was on its bench.
func (s *Shop) keep(e audit.Entry, ev audit.ReadingTaken, w declared, m audit.Mark) {
	ev.Reading.Raw = nil
	t := taken{seq: e.Seq, at: e.At, reading: ev.Reading, wrench: judge.WrenchFlags(*w.WrenchDeclared, &ev.Reading, e.At, w.pulls),
		declared: w.WrenchDeclared, fit: w.fit, mark: m}
	s.loose = append(s.loose, t)
	s.loose = s.loose[max(0, len(s.loose)-mostLoose):]
}

// looseAt is the index of a reading that belongs to no joint, -1: there is none.
func (s *Shop) looseAt(reading uint64) int {
	return slices.IndexFunc(s.loose, func(t taken) bool { return t.seq == reading })
}

// runOf is a run of a build by the number of its newest start, nil: there is none.
func (s *Shop) runOf(build, run uint64) *run {
	if b := s.build(build); b != nil {
		for _, r := range s.whole(b).runs {
			if r.seq == run {
				return r
			}
		}
	}
	return nil
}

// Adopting completes a correction that takes a reading, which came with no joint on the bench, into a joint of its Build: that
// joint's newest run.
func (s *Shop) Adopting(ev audit.CorrectionMade, joint string) (audit.CorrectionMade, error) {
	if r, _ := s.runWith(ev.Reading); r != nil {
		return ev, fmt.Errorf("reading %d belongs to joint %s of build %d already: say which fastener it was, and leave the joint out", ev.Reading, r.joint.ID, r.build.ID)
	}
	b := s.build(ev.Build)
	if b == nil {
		return ev, unknown("no build %d: ask for the list of builds", ev.Build)
	}
	r := s.whole(b).newestRun(joint)
	if r == nil {
		return ev, unknown("joint %q of build %d was never begun: name one that was", joint, ev.Build)
	}
	ev.Run = r.seq
	return ev, nil
}

func (s *Shop) refuseAdoption(ev audit.CorrectionMade) error {
	r := s.runOf(ev.Build, ev.Run)
	if r == nil {
		return unknown("reading %d came with no joint on the bench: name the build and the joint, which was begun, that it belongs to", ev.Reading)
	}
	if err := s.workable(ev.Build); err != nil {
		return err
	}
	if err := signed("a correction", ev.Person, ev.Reason); err != nil {
		return err
	}
	switch {
	case ev.Fastener == "":
		return errors.New("it belongs to no joint as it is: say which fastener of the joint it was")
	case r.fastener(ev.Fastener) < 0:
		return unknown("joint %s has no fastener %q: use a number from its drawing", r.joint.ID, ev.Fastener)
	}
	trial := *r
	trial.readings = slices.Clone(r.readings)
	_, err := trial.stepFor(trial.insert(s.loose[s.looseAt(ev.Reading)]), ev.Fastener, ev.Stage)
	return err
}

// insert puts a reading of no joint among those of the run, in the order in which they came, and gives its place.
func (r *run) insert(t taken) int {
	t.mark.Run, t.mark.Build, t.mark.Joint, t.mark.Family, t.mark.Revision = r.seq, r.build.ID, r.joint.ID, r.build.Family, r.build.Revision
	at := 0
	for at < len(r.readings) && r.readings[at].seq < t.seq {
		at++
	}
	r.readings = slices.Insert(r.readings, at, t)
	return at
}

// adopt takes a reading that came with no joint on the bench into a joint, as a person said. It is judged as the step that was
// named; what is held of the other readings of the joint stays.
func (s *Shop) adopt(ev audit.CorrectionMade) []audit.Mark {
	r, k := s.runOf(ev.Build, ev.Run), s.looseAt(ev.Reading)
	t := s.loose[k]
	s.loose = slices.Delete(s.loose, k, k+1)
	i := r.insert(t)
	r.first, r.until = min(r.first, t.seq-1), max(r.until, t.seq)
	r.uses(t.reading.Wrench, t.at)
	step, _ := r.stepFor(i, ev.Fastener, ev.Stage) // Refusal has looked
	own := &r.readings[i]
	own.fixed = true
	r.say(own, r.found(i, step))
	if r.matcher != nil {
		r.rematch(s.learned[r.lesson()])
	}
	s.settled(r)
	return []audit.Mark{own.mark}
}
