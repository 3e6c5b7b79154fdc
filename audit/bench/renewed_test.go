package bench_test

import (
	"fmt"
	"strings"
	"testing"

	"witnessmark/audit"
	"witnessmark/audit/bench"
)

// threeStages is the joint of single-use bolts with six of them, and another torque before the turn.
var threeStages = strings.NewReplacer("      - {id: \"3\", type: twice}\n      - {id: \"4\", type: ever}\n",
	"      - {id: \"3\", type: once}\n      - {id: \"4\", type: once}\n      - {id: \"5\", type: once}\n      - {id: \"6\", type: once}\n",
	"      - {id: turn,", "      - {id: seat, tighten_to: 50 N·m, accept: ±10 %}\n      - {id: turn,").Replace(yield)

// renewing is a floor with that joint. Every bolt turns 0.85° per N·m from slack and 0.75° after that, more or less, and rises
// by about 40 N·m in its turn.
type renewing struct {
	*floor
	pulls int64
}

func newRenewing(t *testing.T) *renewing {
	f := &floor{t: t, shop: bench.NewShop(nil)}
	f.must(audit.ProcedureAdded{Family: "TT-6", Revision: "1", Title: "Caps by angle", Text: threeStages})
	f.must(audit.PersonAdded{Person: "p1", Name: "Ines Falk"})
	f.must(audit.WrenchDeclared{Wrench: "W1"})
	f.must(audit.BuildOpened{Engine: "E1", Family: "TT-6", Revision: "1", WorkOrder: "WO1", Person: "p1"})
	f.startAgain("B1", "p1", false)
	return &renewing{floor: f}
}

// do makes the pull of a stage, and gives the mark made at once.
func (r *renewing) do(stage string) audit.Mark {
	r.pulls++
	off := r.pulls * 7 % 11 // a small scatter
	p := map[string][2]int64{"snug": {30_000 + off*40, 25_000 + off*200}, "seat": {50_000 + off*60, 15_200 + off*150},
		"turn": {90_000 + off*500, 89_400 + off*100}, "let go early": {39_000, 7_000}, "turned too far": {97_000, 112_000}}[stage]
	return r.pull(p[0], p[1])[0]
}

// rest does all that the bench asks for until nothing is left, and wants it to be right.
func (r *renewing) rest() {
	r.t.Helper()
	for n := r.shop.View("B1").Next; n != nil; n = r.shop.View("B1").Next {
		if m := r.do(n.Stage); m.Stage != n.Stage || m.Fastener != n.Fastener || m.Verdict != audit.Pass {
			r.t.Fatalf("got %s %s: %s (%d ppm), want a pass at %s %s", m.Stage, m.Fastener, m.Verdict, m.Confidence, n.Stage, n.Fastener)
		}
	}
	if s := r.summary(); !s.Complete || len(s.Open) != 0 {
		r.t.Errorf("got %+v, want a complete joint", s)
	}
	r.replaysFromText()
}

// A person says "bolt N renewed" after a pull that was not as it should be, in a torque stage as well as in the turn, wherever
// in the stage that is: the bench asks for the new bolt, takes its pulls for what they are, and goes on where it was.
func TestShop_RenewedAfterABadPull(t *testing.T) {
	for stage, bad := range map[string]string{"seat": "let go early", "turn": "turned too far"} {
		for k := 1; k <= 6; k++ {
			t.Run(fmt.Sprint(stage, " ", k), func(t *testing.T) {
				r, bolt := newRenewing(t), fmt.Sprint(k)
				for n := r.shop.View("B1").Next; n.Stage != stage || n.Fastener != bolt; n = r.shop.View("B1").Next {
					r.do(n.Stage)
				}
				if m := r.do(bad); m.Fastener != bolt || m.Verdict == audit.Pass {
					t.Fatalf("got %+v, want the pull of %s refused", m, bolt)
				}
				r.renew(bolt)
				if n := r.shop.View("B1").Next; n.Stage != "snug" || n.Fastener != bolt {
					t.Errorf("got %+v next, want the new bolt drawn up from its first stage", n)
				}
				r.rest()
			})
		}
	}
}

// … and although nothing was wrong with it, or before its turn has come.
func TestShop_RenewedWithoutNeed(t *testing.T) {
	for after := 7; after <= 18; after++ {
		for _, bolt := range []string{"1", "3", "6"} {
			t.Run(fmt.Sprintf("after %d pulls, bolt %s", after, bolt), func(t *testing.T) {
				r := newRenewing(t)
				for range after {
					r.do(r.shop.View("B1").Next.Stage)
				}
				r.renew(bolt)
				r.rest()
			})
		}
	}
}
