package bench

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"witnessmark/audit"
	"witnessmark/audit/procedure"
	"witnessmark/device/label"
)

func (s *Shop) refuseGift(ev audit.BadgeGiven) error {
	switch has := s.badges[ev.Badge]; {
	case strings.TrimSpace(ev.Badge) == "":
		return errors.New("a badge needs what its label says: give that")
	case ev.Person != "" && s.PersonName(ev.Person) == "":
		return errors.New("a badge is given to a person: name one")
	case has == ev.Person && has == "":
		return fmt.Errorf("this badge belongs to nobody: %w", ErrAlready)
	case has == ev.Person:
		return fmt.Errorf("this badge is theirs already: %w", ErrAlready)
	}
	return nil
}

// refuseScan says why a scan takes no effect. It names neither a badge nor a person: the sentence stands in the ledger.
func (s *Shop) refuseScan(ev audit.LabelScanned) error {
	who := s.SignedIn(ev.Bench)
	switch {
	case ev.Bench == "":
		return errors.New("a scanner needs a bench: name one in its configuration")
	case ev.Label == "":
		return errors.New(ev.Note)
	case ev.Label == label.Badge:
		return s.refuseBadge(ev)
	case who == "":
		return errors.New("nobody is signed in at this bench: scan your badge first")
	case who != ev.Person:
		return errors.New("somebody else has signed in meanwhile: look again and repeat")
	}
	switch ev.Label {
	case label.Engine, label.WorkOrder:
		return s.refusePair(ev)
	case label.Joint:
		return s.refuseJoint(ev)
	case label.Fastener:
		return s.refuseFastener(ev)
	case label.Lot:
		return s.refuseLot(ev)
	}
	return fmt.Errorf("a label of the kind %q is of no use here: scan one of %s", ev.Label, kinds())
}

// kinds names the labels that may be scanned.
func kinds() string {
	var all []string
	for _, k := range label.Kinds() {
		all = append(all, string(k))
	}
	return strings.Join(all, ", ")
}

func (s *Shop) refuseBadge(ev audit.LabelScanned) error {
	switch owner := s.badges[ev.Value]; {
	case owner == "":
		return errors.New("this badge belongs to nobody: give it to its person with `witnessmark badge give`")
	case owner != ev.Person:
		return errors.New("this badge has changed hands meanwhile: scan it again")
	}
	return nil
}

// refusePair speaks of an engine or a work order. A pair that is to be opened is checked here, so that the person
// learns at the scan what stands in the way.
func (s *Shop) refusePair(ev audit.LabelScanned) error {
	p := s.at(ev.Bench)
	if ev.Label == label.WorkOrder && p.engine != "" && p.build == nil && s.newest(p.engine, ev.Value) == nil {
		if other := s.newest("", ev.Value); other != nil {
			return fmt.Errorf("work order %s is that of engine %s, and engine %s was scanned before: scan the work order of that one, or engine %s",
				ev.Value, other.Engine, p.engine, other.Engine)
		}
	}
	engine, order, b := s.pair(p, ev)
	if r := s.runs[ev.Bench]; r != nil && r.build != b {
		return fmt.Errorf("joint %s of engine %s is on bench %s: close it before another build", r.joint.ID, r.build.Engine, ev.Bench)
	}
	if b != nil || engine == "" || order == "" {
		return nil
	}
	if ev.Label == label.WorkOrder {
		ev.Family = p.family
	}
	open, err := s.opening(engine, order, ev.Family, ev.Person)
	if err != nil {
		return err
	}
	return s.refuseBuild(open)
}

// opening is the build to be opened for an engine under a work order, by the newest revision of its family.
func (s *Shop) opening(engine, order, family, person string) (audit.BuildOpened, error) {
	ev := audit.BuildOpened{Engine: engine, WorkOrder: order, Family: family, Person: person}
	if family == "" {
		all := s.families()
		switch len(all) {
		case 0:
			return ev, errors.New("this shop has no procedure yet: add one with `witnessmark procedure add`")
		case 1:
			ev.Family = all[0]
		default:
			return ev, fmt.Errorf("engine %s is new here, and nothing says of which family it is (%s): open its build with `witnessmark build open`, or name a family in the configuration of the scanner",
				engine, strings.Join(all, ", "))
		}
	}
	ev.Revision, _ = s.Newest(ev.Family)
	if ev.Revision == "" {
		return ev, fmt.Errorf("no procedure of the family %s in this shop: add it, or name another family in the configuration of the scanner", ev.Family)
	}
	return ev, nil
}

func (s *Shop) families() []string {
	var all []string
	for _, r := range s.procedures {
		if !slices.Contains(all, r.added.Family) {
			all = append(all, r.added.Family)
		}
	}
	return all
}

func (s *Shop) refuseJoint(ev audit.LabelScanned) error {
	b := s.at(ev.Bench).build
	if b == nil {
		return errors.New("no build is on this bench: scan the engine or its work order first")
	}
	start, err := s.starting(ev, b)
	if r := s.runs[ev.Bench]; r != nil && r.build == b && r.joint.ID == start.Joint {
		return nil // scanned twice
	}
	if err != nil {
		return err
	}
	return s.refuseStart(start)
}

// starting is the joint that a label asks to be started.
func (s *Shop) starting(ev audit.LabelScanned, b *Build) (audit.JointStarted, error) {
	joints := b.revision.parsed.Joints
	start := audit.JointStarted{Bench: ev.Bench, Build: b.ID, Joint: ev.Value, Person: ev.Person}
	if i := labelled(ev.Value, joints, func(j procedure.Joint) string { return j.ID }); i >= 0 {
		start.Joint = joints[i].ID
	}
	return s.Starting(start)
}

func (s *Shop) refuseFastener(ev audit.LabelScanned) error {
	r, err := s.running(ev.Bench, ev.Run)
	if err != nil {
		return err
	}
	if r.labelled(ev.Value) < 0 {
		return fmt.Errorf("joint %s has no fastener %q: scan a label from its drawing", r.joint.ID, ev.Value)
	}
	return nil
}

func (s *Shop) refuseLot(ev audit.LabelScanned) error {
	r, err := s.running(ev.Bench, ev.Run)
	if err != nil {
		return err
	}
	answer := r.lot(ev)
	if answer == nil {
		return fmt.Errorf("joint %s asks for no lot now: scan it when the bench asks, or correct an answer with `witnessmark check answer`", r.joint.ID)
	}
	return s.refuseAnswer(*answer)
}

// lot is the answer that the label of a lot gives to the first check that waits for one, nil: none waits.
func (r *run) lot(ev audit.LabelScanned) *audit.CheckAnswered {
	c, f := r.unanswered(func(c *procedure.Check) bool { return c.Answer == procedure.LotNumber })
	if c == nil {
		return nil
	}
	return &audit.CheckAnswered{Bench: ev.Bench, Run: r.seq, Check: c.ID, Fastener: f, Yes: true, Value: ev.Value, Person: ev.Person}
}

func (r *run) labelled(id string) int {
	return labelled(id, r.joint.Fasteners, func(f procedure.Fastener) string { return f.ID })
}

// labelled finds the one that a label names, -1: none. Code 39 has capitals only, so their case decides only where it
// must: between two that differ in nothing else.
func labelled[T any](id string, all []T, of func(T) string) int {
	if i := slices.IndexFunc(all, func(t T) bool { return of(t) == id }); i >= 0 {
		return i
	}
	found := -1
	for i := range all {
		if strings.EqualFold(of(all[i]), id) {
			if found >= 0 {
				return -1
			}
			found = i
		}
	}
	return found
}

// Follows is what a scan that was applied asks for beyond its own effect, to be recorded as an entry of its own: a
// build to be opened, a joint to be started, or a check to be answered. nil: nothing.
func (s *Shop) Follows(ev audit.LabelScanned) audit.Event {
	p := s.at(ev.Bench)
	switch ev.Label {
	case label.Engine, label.WorkOrder:
		if p.build == nil && p.engine != "" && p.order != "" {
			open, _ := s.opening(p.engine, p.order, p.family, ev.Person) // Refusal speaks of what stands in the way
			return open
		}
	case label.Lot:
		if r := s.runs[ev.Bench]; r != nil {
			if answer := r.lot(ev); answer != nil {
				return *answer
			}
		}
	case label.Joint:
		if s.runs[ev.Bench] == nil && p.build != nil {
			start, _ := s.starting(ev, p.build) // Refusal speaks of what stands in the way
			return start
		}
	}
	return nil
}
