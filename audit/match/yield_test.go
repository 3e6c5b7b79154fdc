package match_test

import (
	"strings"
	"testing"

	"witnessmark/audit"
	"witnessmark/audit/match"
	"witnessmark/audit/procedure"
)

// Bolts that yield in the second of two turns all end at about the same torque, as a second turn of any of them would: that
// is no sign of one.
func TestMatcher_BoltsThatYield(t *testing.T) {
	p, err := procedure.Parse("caps.yaml", []byte(strings.Replace(caps, "      - {id: turn,", "      - {id: first, turn_by: 90°, accept: ±5°}\n      - {id: turn,", 1)))
	if err != nil {
		t.Fatal(err)
	}
	j := &p.Joints[0]
	w := &workshop{m: match.New(j), j: j, standing: make([]int64, len(j.Fasteners))}
	w.round(0, all...)
	w.round(1, all...)
	for f := range all {
		w.observe(f, w.standing[f]+90_000+wobble(f)*2_000, 90_000+wobble(f)*200)
		w.standing[f] += 90_000 + wobble(f)*2_000
	}
	for f := range all {
		got := w.observe(f, 175_000+wobble(f)*500, 90_000+wobble(f+3)*200)
		w.want(t, got, "turn "+j.Fasteners[f].ID, match.Next)
		if got.Verdict != audit.Pass {
			t.Errorf("got %s, want a pass", got.Verdict)
		}
	}
	for i, f := range w.m.Findings() {
		if f.Verdict != audit.Pass || f.Kind == match.ReHit {
			t.Errorf("at the close reading %d: got %+v, want a pass", i, f)
		}
	}
}
