package sheet

import (
	"strings"

	"witnessmark/audit"
	"witnessmark/audit/bench"
)

// State says in words how a joint stands. It claims no more than is recorded: whether the readings leave it open that a step
// was missed is known where they are matched, and a review before the release looks at that.
type State string

// The states of a joint.
const (
	NotComplete State = "not complete"
	StepsDone   State = "every step done" // and every check accepted
	Complete    State = "complete"        // and released so
)

// Loud is the state in a text, where what is not complete has to be seen. So many verifications are still open.
func (s State) Loud(toVerify int) string {
	switch {
	case s == NotComplete:
		return strings.ToUpper(string(s))
	case toVerify > 0:
		return string(s) + ", verification is still open"
	}
	return string(s)
}

// stand says how the joint stands in a build that is released or not. An earlier attempt was never reviewed.
func (o *Joint) stand(build bench.Standing) {
	switch {
	case !o.Complete:
		o.State = NotComplete
	case o.Earlier || build != bench.Released:
		o.State = StepsDone
	default:
		o.State = Complete
	}
}

// States is how the steps stand, as the drawing of a joint asks for them: of a mark, what counts for the order.
func (o *Joint) States() []bench.StepState {
	out := make([]bench.StepState, len(o.Steps))
	for i, s := range o.Steps {
		out[i] = bench.StepState{Stage: s.Stage, Fastener: s.Fastener, State: bench.State(s.State)}
		for _, m := range s.Marks {
			out[i].Marks = append(out[i].Marks, audit.Mark{Reading: m.Reading, Verdict: m.Verdict, Flags: m.Flags})
		}
	}
	return out
}
