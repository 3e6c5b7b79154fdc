package bench

import (
	"fmt"
	"slices"

	"witnessmark/audit"
	"witnessmark/audit/procedure"
)

// State says how a step stands.
type State string

// The states of a step.
const (
	Open   State = "open"
	Done   State = "done"
	Failed State = "failed"
)

// StepState is a step of a joint with the marks in force that belong to it, oldest first.
type StepState struct {
	Stage    string
	Fastener string
	Verify   bool // no tightening, but a look at how tight the fastener is
	State    State
	Marks    []audit.Mark
	Replaced []audit.Mark // of a bolt that is no longer there, which count for nothing
}

// Renewal is a new bolt in the place of a fastener, as it was said by journal entry Entry.
type Renewal struct {
	Entry    uint64
	Fastener string
}

// Steps tells how every step of joint j stands after the given marks in force, in the order of their readings, and the
// renewals of its bolts, in the order of their entries.
// It is the one place that says when a step is done: the live bench, the replay and the history all ask here.
func Steps(j *procedure.Joint, marks []audit.Mark, renewals []Renewal) []StepState {
	var out []StepState
	at := map[[2]string]int{}
	for i, s := range j.Sequence() {
		st, f := j.Stages[s.Stage].ID, j.Fasteners[s.Fastener].ID
		at[[2]string{st, f}] = i
		out = append(out, StepState{Stage: st, Fastener: f, Verify: s.Action == procedure.Verify, State: Open})
	}
	for _, m := range marks {
		for ; len(renewals) > 0 && renewals[0].Entry < m.Reading; renewals = renewals[1:] {
			renew(out, renewals[0].Fastener)
		}
		i, ok := at[[2]string{m.Stage, m.Fastener}]
		if !ok {
			continue
		}
		out[i].Marks = append(out[i].Marks, m)
		settle(out, i, &m)
	}
	for _, r := range renewals {
		renew(out, r.Fastener)
	}
	return out
}

// renew opens every step of a fastener that got a new bolt.
func renew(steps []StepState, fastener string) {
	for i := range steps {
		if s := &steps[i]; s.Fastener == fastener {
			s.State, s.Marks, s.Replaced = Open, nil, append(s.Replaced, s.Marks...)
		}
	}
}

// turnedBack is true of a mark that says that its fastener was loosened where no stage asks for it.
func turnedBack(m *audit.Mark) bool {
	return m.Verdict == audit.WrongDirection && slices.Contains(m.Flags, audit.Unexpected)
}

func settle(steps []StepState, i int, m *audit.Mark) {
	if steps[i].Verify {
		verified(&steps[i], m)
		return
	}
	again := slices.Contains(m.Flags, audit.ReHit)
	switch {
	case m.Verdict == audit.Pass:
		steps[i].State = Done
	case again && m.Verdict == audit.LowTorque: // too weak a pull on a fastener that is done moves nothing
		return
	case turnedBack(m):
		for k := range steps { // turned back: whatever it had reached is gone
			if steps[k].Fastener == m.Fastener && steps[k].State == Done {
				steps[k].State = Open
			}
		}
		steps[i].State = Failed
	default:
		steps[i].State = Failed
	}
	for k := range steps { // what was found before it was moved holds no longer
		if steps[k].Verify && steps[k].Fastener == m.Fastener {
			steps[k].State = Open
		}
	}
}

// afterVerification is what a person does about a verification that failed.
const afterVerification = "the engine maker's procedure says what follows"

// failed is the newest mark of a step that failed which did not pass.
func (s *StepState) failed() *audit.Mark {
	i := len(s.Marks) - 1
	for i > 0 && s.Marks[i].Verdict == audit.Pass {
		i--
	}
	return &s.Marks[i]
}

// Failure says in a sentence what a step that failed lacks.
func (s *StepState) Failure() string {
	where := fmt.Sprintf("stage %s, fastener %s: %s", s.Stage, s.Fastener, s.failed().Verdict)
	if s.Verify {
		return where + " at the verification: " + afterVerification
	}
	return where + ", not made good"
}

// tightened is true where every step is done and no verification has failed. One may still be open.
func tightened(steps []StepState) bool {
	return !slices.ContainsFunc(steps, func(s StepState) bool { return s.State == Failed || s.State == Open && !s.Verify })
}

// verifies is true of the id of a stage that verifies.
func verifies(j *procedure.Joint, stage string) bool {
	return slices.ContainsFunc(j.Stages, func(s procedure.Stage) bool { return s.ID == stage && s.Verifies() })
}

// verified takes a verification. One that failed is not made good by another pull: that one may have moved the fastener.
func verified(s *StepState, m *audit.Mark) {
	switch {
	case m.Verdict != audit.Pass:
		s.State = Failed
	case s.State == Open:
		s.State = Done
	}
}
