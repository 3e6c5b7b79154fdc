package bench

import (
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
	State    State
	Marks    []audit.Mark
}

// Steps tells how every step of joint j stands after the given marks in force, in the order of their readings.
// It is the one place that says when a step is done: the live bench, the replay and the history all ask here.
func Steps(j *procedure.Joint, marks []audit.Mark) []StepState {
	var out []StepState
	at := map[[2]string]int{}
	for i, s := range j.Sequence() {
		st, f := j.Stages[s.Stage].ID, j.Fasteners[s.Fastener].ID
		at[[2]string{st, f}] = i
		out = append(out, StepState{Stage: st, Fastener: f, State: Open})
	}
	for _, m := range marks {
		i, ok := at[[2]string{m.Stage, m.Fastener}]
		if !ok {
			continue
		}
		out[i].Marks = append(out[i].Marks, m)
		settle(out, i, &m)
	}
	return out
}

func settle(steps []StepState, i int, m *audit.Mark) {
	again := slices.Contains(m.Flags, audit.ReHit)
	switch {
	case m.Verdict == audit.Pass:
		steps[i].State = Done
	case again && m.Verdict == audit.LowTorque: // too weak a pull on a fastener that is done moves nothing
	case m.Verdict == audit.WrongDirection && slices.Contains(m.Flags, audit.Unexpected):
		for k := range steps { // turned back: whatever it had reached is gone
			if steps[k].Fastener == m.Fastener && steps[k].State == Done {
				steps[k].State = Open
			}
		}
		steps[i].State = Failed
	default:
		steps[i].State = Failed
	}
}
