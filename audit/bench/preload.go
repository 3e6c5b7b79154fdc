package bench

import (
	"fmt"

	"witnessmark/audit"
	"witnessmark/audit/bolt"
	"witnessmark/audit/procedure"
)

// preload estimates what a pull to a torque clamps with. It is for information and no verdict rests on it: friction, which
// nobody measures, makes it an interval. Of a turn by an angle nothing is said, for the bolt may have yielded.
func (r *run) preload(t *taken) string {
	m := &t.mark
	f := r.fastener(m.Fastener)
	if f < 0 || m.Verdict != audit.Pass || r.figures(m).Action != procedure.TightenTo {
		return ""
	}
	kind := r.procedure.Types[r.joint.Fasteners[f].Type]
	thread, err := bolt.ParseThread(kind.Thread)
	if err != nil {
		return ""
	}
	force := thread.FromTorque(t.gotten(), bolt.FrictionOf(kind.Lubrication))
	text := fmt.Sprintf("an estimated %s to %s kN", kilonewtons(force.Low), kilonewtons(force.High))
	if load, known := thread.ProofLoad(kind.Class); known {
		text += fmt.Sprintf(", %d to %d %% of the proof load", force.Low*100/load, force.High*100/load)
	}
	return text
}

func kilonewtons(n int64) string { return fmt.Sprintf("%d.%d", n/1000, n%1000/100) }
