package bench

import (
	"errors"
	"fmt"
	"strings"

	"witnessmark/audit"
	"witnessmark/audit/procedure"
)

// ErrAlready is wrapped by the refusal of something that is there already, exactly as asked for.
var ErrAlready = errors.New("nothing to do")

// Refusal says in a sentence why an event must not be recorded now; nil where it may.
func (s *Shop) Refusal(ev audit.Event) error {
	if err := s.overtaken(ev); err != nil {
		return err
	}
	if rel, is := ev.(audit.BuildReleased); is {
		return s.refuseDoubted(rel)
	}
	return nil
}

// overtaken says why an event that is recorded takes no effect. A release that was recorded stands even where a calibration
// had found a wrench bad before it: there are journals from before that was asked.
func (s *Shop) overtaken(ev audit.Event) error {
	switch ev := ev.(type) {
	case audit.ProcedureAdded:
		return s.refuseProcedure(ev)
	case audit.PersonAdded:
		return s.refusePerson(ev)
	case audit.BuildOpened:
		return s.refuseBuild(ev)
	case audit.JointStarted:
		return s.refuseStart(ev)
	case audit.JointClosed:
		_, err := s.running(ev.Bench, ev.Run)
		return err
	case audit.CheckAnswered:
		return s.refuseAnswer(ev)
	case audit.FastenerNamed:
		return s.refuseName(ev)
	case audit.BoltReplaced:
		return s.refuseRenewal(ev)
	case audit.HandedOver:
		return s.refuseHandOver(ev)
	case audit.CalibrationFound:
		return s.refuseFound(ev)
	case audit.PersonForgotten:
		return s.refuseForgetting(ev)
	case audit.ConcessionGranted:
		return s.refuseConcession(ev)
	case audit.CorrectionMade:
		return s.refuseCorrection(ev)
	case audit.BuildReleased:
		return s.refuseRelease(ev)
	case audit.BuildReopened:
		return s.refuseReopening(ev)
	case audit.BadgeGiven:
		return s.refuseGift(ev)
	case audit.RolesGiven:
		return s.refuseRoles(ev)
	case audit.TokenGiven:
		return s.refuseToken(ev)
	case audit.AdapterFitted:
		return s.refuseFit(ev)
	case audit.LabelScanned:
		return s.refuseScan(ev)
	case audit.KeyChanged:
		return s.refuseKey(ev)
	case audit.LossAccepted:
		return s.refuseLoss(ev)
	case audit.WrenchDeclared, audit.ReadingTaken, audit.FrameRefused, audit.ClockSet: // no person's doing
	}
	return nil
}

func (s *Shop) refusePerson(ev audit.PersonAdded) error {
	if strings.TrimSpace(ev.Name) == "" || ev.Person == "" {
		return errors.New("a person needs a name: give one")
	}
	if _, ok := s.Person(ev.Name); ok {
		return fmt.Errorf("%s is known already: %w", ev.Name, ErrAlready)
	}
	return nil
}

func (s *Shop) refuseProcedure(ev audit.ProcedureAdded) error {
	p, err := procedure.Parse(ev.Family, []byte(ev.Text))
	if err != nil {
		return fmt.Errorf("the procedure has faults, mend them and add it again: %w", err)
	}
	if p.Family != ev.Family || p.Revision != ev.Revision {
		return fmt.Errorf("the file is %s revision %s, not %s revision %s", p.Family, p.Revision, ev.Family, ev.Revision)
	}
	switch r := s.revision(ev.Family, ev.Revision); {
	case r == nil:
		return nil
	case r.added.Text == ev.Text:
		return fmt.Errorf("%s revision %s is there already with the same content: %w", ev.Family, ev.Revision, ErrAlready)
	}
	return fmt.Errorf("%s revision %s is there already with other content: a revision never changes, give the file a new revision",
		ev.Family, ev.Revision)
}

func (s *Shop) refuseBuild(ev audit.BuildOpened) error {
	switch {
	case strings.TrimSpace(ev.Engine) == "":
		return errors.New("a build needs the engine's serial number: give one")
	case strings.TrimSpace(ev.WorkOrder) == "":
		return errors.New("a build needs a work order: give one")
	case s.revision(ev.Family, ev.Revision) == nil:
		return unknown("no procedure %s in this shop: add it first, or ask for the list of procedures",
			strings.TrimSuffix(ev.Family+" revision "+ev.Revision, " revision "))
	}
	for _, b := range s.builds {
		if b.Engine == ev.Engine && b.WorkOrder == ev.WorkOrder {
			return fmt.Errorf("engine %s has a build under work order %s already, build %d: go on with that one", b.Engine, b.WorkOrder, b.ID)
		}
	}
	return nil
}

func (s *Shop) refuseStart(ev audit.JointStarted) error {
	if err := s.workable(ev.Build); err != nil {
		return err
	}
	b := s.build(ev.Build)
	if _, ok := b.revision.parsed.Joint(ev.Joint); !ok {
		return unknown("procedure %s revision %s has no joint %q; it has: %s", b.Family, b.Revision, ev.Joint, jointIDs(b.revision.parsed))
	}
	if ev.Bench == "" {
		return errors.New("a joint needs a bench: name one")
	}
	if r := s.runs[ev.Bench]; r != nil {
		return fmt.Errorf("joint %s of engine %s is on bench %s: close it first", r.joint.ID, r.build.Engine, ev.Bench)
	}
	for name, r := range s.runs { // at most one can match, so the order of the map does not show
		if r.build.ID == ev.Build && r.joint.ID == ev.Joint {
			return fmt.Errorf("joint %s of engine %s is on bench %s already: go on there, or close it first", ev.Joint, b.Engine, name)
		}
	}
	return s.refuseContinuing(ev)
}

func jointIDs(p *procedure.Procedure) string {
	ids := make([]string, 0, len(p.Joints))
	for _, j := range p.Joints {
		ids = append(ids, j.ID)
	}
	return strings.Join(ids, ", ")
}

// running finds the run that a person means; run 0 means whatever is on the bench.
func (s *Shop) running(bench string, run uint64) (*run, error) {
	r := s.runs[bench]
	switch {
	case r == nil:
		return nil, fmt.Errorf("no joint is on bench %s: start one first", bench)
	case run != r.seq:
		return nil, fmt.Errorf("the joint on bench %s has changed meanwhile: look again and repeat", bench)
	}
	return r, nil
}

func (s *Shop) refuseAnswer(ev audit.CheckAnswered) error {
	r, err := s.running(ev.Bench, ev.Run)
	if err != nil {
		return err
	}
	c := r.check(ev.Check)
	if c == nil {
		return unknown("joint %s has no check %q; it has: %s", r.joint.ID, ev.Check, r.checkIDs())
	}
	if c.EachFastener && r.fastener(ev.Fastener) < 0 {
		return fmt.Errorf("check %s is asked for each fastener: say which one", c.ID)
	}
	if !c.EachFastener && ev.Fastener != "" {
		return fmt.Errorf("check %s is asked for the joint as a whole: leave out the fastener", c.ID)
	}
	return understood(c, ev.Value)
}

func (s *Shop) refuseName(ev audit.FastenerNamed) error {
	r, err := s.running(ev.Bench, ev.Run)
	if err != nil {
		return err
	}
	if r.taken(ev.Reading) < 0 {
		return fmt.Errorf("reading %d does not belong to the joint on bench %s: give the number of one that does", ev.Reading, ev.Bench)
	}
	if ev.Fastener != "" && r.fastener(ev.Fastener) < 0 {
		return unknown("joint %s has no fastener %q: use a number from its drawing", r.joint.ID, ev.Fastener)
	}
	return nil
}
