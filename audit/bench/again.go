package bench

import (
	"errors"
	"fmt"
	"strings"

	"witnessmark/audit"
)

// closed is a joint that was taken off its bench. An unfinished one, or one that is still to be verified, keeps its run with
// all that was matched.
type closed struct{ unfinished *run }

// Starting completes the start of a joint with what the shop knows at this moment: the unfinished run that it takes up
// again, unless it is begun afresh. A joint that is complete is started again only if that is said.
func (s *Shop) Starting(ev audit.JointStarted) (audit.JointStarted, error) {
	if err := s.workable(ev.Build); err != nil {
		return ev, err
	}
	c := s.whole(s.build(ev.Build)).closed[ev.Joint]
	switch {
	case ev.Afresh || c == nil:
		return ev, nil
	case c.unfinished == nil:
		return ev, fmt.Errorf("joint %s of engine %s is complete: if all of it was loosened, begin it anew with `witnessmark joint start --afresh`",
			ev.Joint, s.build(ev.Build).Engine)
	}
	ev.Continues = c.unfinished.seq
	return ev, nil
}

// refuseContinuing speaks of the run that a start takes up again. A start that names none begins from slack, as all of
// them did before there was a choice.
func (s *Shop) refuseContinuing(ev audit.JointStarted) error {
	c := s.whole(s.build(ev.Build)).closed[ev.Joint]
	switch {
	case ev.Continues == 0:
		return nil
	case ev.Afresh:
		return errors.New("a joint is either begun afresh or taken up again: say which")
	case c == nil || c.unfinished == nil || c.unfinished.seq != ev.Continues:
		return fmt.Errorf("joint %s of engine %s has been worked on meanwhile: look again and repeat", ev.Joint, s.build(ev.Build).Engine)
	}
	return nil
}

// start puts a joint on a bench: one that is taken up again as it was left, any other with every fastener slack.
func (s *Shop) start(seq uint64, ev audit.JointStarted) {
	b := s.build(ev.Build)
	var r *run
	if ev.Continues != 0 {
		r = b.closed[ev.Joint].unfinished
		r.seq, r.resumed = seq, true
		if r.matcher == nil {
			r.rematch(s.learned[r.lesson()])
		}
	} else {
		r = newRun(seq, b, ev)
		b.runs = append(b.runs, r)
		r.before = s.lives.Before(b.Engine, b.ID, ev.Afresh, r.procedure, r.joint)
		if l, ok := s.learned[r.lesson()]; ok {
			r.matcher.Expect(l)
		}
	}
	delete(b.closed, ev.Joint)
	s.runs[ev.Bench] = r
	s.place(ev.Bench).worked(b, ev.Person)
}

// close takes the joint off a bench. What is said of its readings is settled, also where it will be taken up again.
func (s *Shop) close(bench string) []audit.Mark {
	r := s.runs[bench]
	s.place(bench).worked(r.build, "")
	r.matcher.Settle()
	marks := r.restate(nil)
	s.learned[r.lesson()] = r.matcher.Learned()
	s.lives.Keep(r.build.Engine, r.build.ID, r.procedure, r.joint, r.bolts())
	s.rest(r)
	delete(s.runs, bench)
	return marks
}

// rest puts a run by that is on no bench: one that is complete lets its matcher go, which is the heavy part of it and has
// said its last word.
func (s *Shop) rest(r *run) {
	c := &closed{}
	if r.complete() && !r.verifying() {
		r.matcher = nil
	} else {
		c.unfinished = r
	}
	r.build.closed[r.joint.ID] = c
}

func (s *Shop) refuseRenewal(ev audit.BoltReplaced) error {
	r, err := s.running(ev.Bench, ev.Run)
	if err != nil {
		return err
	}
	if r.fastener(ev.Fastener) < 0 {
		return unknown("joint %s has no fastener %q: use a number from its drawing", r.joint.ID, ev.Fastener)
	}
	return nil
}

// renew takes a new bolt in the place of a fastener. What the old one took to run down is not added to its torques.
func (r *run) renew(entry uint64, fastener string) {
	r.matcher.Replace(r.fastener(fastener))
	r.renewals = append(r.renewals, Renewal{entry, fastener})
	r.prevail(r.joint.Prevailing, fastener)
}

// renewed is the entry that brought the newest bolt of a fastener, 0: it has the one that it began with.
func (r *run) renewed(fastener string) (entry uint64) {
	for _, n := range r.renewals {
		if n.Fastener == fastener {
			entry = n.Entry
		}
	}
	return entry
}

func (r *run) steps() []StepState { return Steps(r.joint, r.marks(), r.renewals) }

// bolts counts the torque cycles of the joint's bolts.
func (r *run) bolts() []Bolt { return Bolts(r.procedure, r.joint, r.before, r.marks(), r.renewals) }

// wornOut says in a sentence that the bolt of a fastener has to be renewed; empty where it may stay.
func (r *run) wornOut(fastener string) string {
	bolts := r.bolts()
	i := r.fastener(fastener)
	lines, _ := WornOut(bolts[i : i+1])
	return strings.Join(lines, "")
}
