package sheet

import (
	"witnessmark/audit"
	"witnessmark/audit/bench"
)

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
