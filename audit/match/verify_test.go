package match_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"witnessmark/audit"
	"witnessmark/audit/match"
	"witnessmark/audit/procedure"
)

// verifying is a workshop whose joint has a verification round after its last torque. The window around the last target is
// wider than that of the tightening, as it is for a residual torque.
func verifying(t *testing.T, round string) *workshop {
	t.Helper()
	text := strings.NewReplacer("turn_by: 90°, accept: ±5°}", "verify: 57..75 N·m, only: [\"1\", \"2\", \"3\", \"4\", \"5\", \"6\"]}",
		"id: turn", "id: residual", "round: stage", "round: "+round).Replace(caps)
	p, err := procedure.Parse("caps.yaml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	j := &p.Joints[0]
	return &workshop{m: match.New(j), j: j, standing: make([]int64, len(j.Fasteners))}
}

// verify finds where fastener f moves, which leaves it as it was.
func (w *workshop) verify(f int, torque int64) match.Finding {
	return w.observe(f, torque, 1500+wobble(w.pulls)*100)
}

func TestMatcher_VerificationComesLast(t *testing.T) {
	for _, round := range []string{"stage", "fastener"} {
		t.Run("round "+round, func(t *testing.T) {
			w := verifying(t, round)
			if round == "stage" {
				w.round(0, all...)
				w.round(1, all...)
			} else {
				for f := range all {
					w.round(0, f)
					w.round(1, f)
				}
			}
			if open := w.openSteps(); len(open) != 6 || open[0] != "residual 1" {
				t.Fatalf("got open %v, want the verification alone", open)
			}
			for f, torque := range []int64{62_000, 66_000, 59_000, 73_000, 60_000, 64_000} {
				got := w.verify(f, torque)
				w.want(t, got, fmt.Sprintf("residual %d", f+1), match.Next)
				if got.Verdict != audit.Pass || got.Confidence < 900_000 {
					t.Errorf("got %s with %d ppm for fastener %d, want a sure pass", got.Verdict, got.Confidence, f+1)
				}
			}
			if open, due := w.m.Open(); len(open) != 0 || due >= 0 {
				t.Errorf("got %v open, want nothing left", w.openSteps())
			}
		})
	}
}

// A second hit in the last stage looks like a verification, but for its torque and for the moment.
func TestMatcher_VerificationWhileTightening(t *testing.T) {
	t.Run("at the target it is a second hit", func(t *testing.T) {
		w := verifying(t, "stage")
		w.round(0, all...)
		w.round(1, 0, 1, 2)
		again := w.pull(2, 60_000)
		w.want(t, again, "seat 3", match.ReHit)
		if again.Confidence < 900_000 {
			t.Errorf("got %d ppm, want it as sure as without a verification", again.Confidence)
		}
		w.want(t, w.pull(3, 60_000), "seat 4", match.Next)
	})
	t.Run("far above it the torque says that it may be a verification", func(t *testing.T) {
		w := verifying(t, "stage")
		w.round(0, all...)
		w.round(1, 0, 1, 2, 3, 4, 5, 6)
		got := w.verify(0, 74_000)
		w.want(t, got, "residual 1", match.Early)
		if !got.OutOfOrder {
			t.Error("got a verification before the last one is tight in order, want it out of order")
		}
		w.want(t, w.pull(7, 25_000), "seat 8", match.MakeGood)
	})
}

func TestMatcher_VerificationIsOneRound(t *testing.T) {
	for _, round := range []string{"stage", "fastener"} {
		w := verifying(t, round)
		w.tag = true
		for f := range all {
			w.round(0, f)
			w.round(1, f)
		}
		w.verify(0, 62_000)
		w.want(t, w.verify(2, 62_000), "residual 3", match.Skip)
		w.want(t, w.verify(1, 62_000), "residual 2", match.MakeGood)
	}
}

func TestMatcher_VerificationIsNoTightening(t *testing.T) {
	w := verifying(t, "stage")
	w.round(0, all...)
	w.round(1, all...)
	w.verify(0, 62_000)
	low := w.verify(1, 41_000)
	w.want(t, low, "residual 2", match.Next)
	if low.Verdict != audit.LowTorque {
		t.Errorf("got %s, want low torque", low.Verdict)
	}
	w.want(t, w.verify(2, 63_000), "residual 3", match.Next) // not tried again
	t.Run("a new bolt is tightened and verified again", func(t *testing.T) {
		w.m.Replace(0)
		w.standing[0] = 0
		if open := w.openSteps(); !slices.Equal(open[:2], []string{"snug 1", "seat 1"}) || !slices.Contains(open, "residual 1") {
			t.Errorf("got open %v, want all of the first again", open)
		}
	})
	t.Run("a bolt that is tightened after it was verified is to be verified again", func(t *testing.T) {
		w := verifying(t, "stage")
		w.tag = true
		w.round(0, all...)
		w.pull(0, 50_000)
		w.round(1, 1, 2, 3, 4, 5, 6, 7)
		w.want(t, w.verify(0, 70_000), "residual 1", match.Next)
		if slices.Contains(w.openSteps(), "residual 1") {
			t.Fatalf("got open %v, want the first verified", w.openSteps())
		}
		w.want(t, w.pull(0, 60_000), "seat 1", match.Retry)
		if open := w.openSteps(); !slices.Contains(open, "residual 1") {
			t.Errorf("got open %v, want the first to be verified again", open)
		}
	})
}

// The torque at which a fastener moves tells what it stands at: one that was left out in the last stage is found by its
// verification, whoever was taken for it.
func TestMatcher_VerificationFindsWhatWasLeftOut(t *testing.T) {
	for left := 1; left < 5; left++ {
		w := verifying(t, "stage")
		w.round(0, all...)
		for f := range all {
			if f == left {
				f-- // hit twice
			}
			w.round(1, f)
		}
		for f := range 6 {
			torque := 62_000 + wobble(f)*500
			if f == left {
				torque = 31_500
			}
			got := w.verify(f, torque)
			w.want(t, got, fmt.Sprintf("residual %d", f+1), match.Next)
			if want := f != left; (got.Verdict == audit.Pass) != want {
				t.Errorf("seat %d left out: got %s for the verification of %d", left+1, got.Verdict, f+1)
			}
		}
		if open := w.m.AnyOpen(); open < audit.Certain*9/10 {
			t.Errorf("seat %d left out: got %d ppm for there being an open step, want it sure", left+1, open)
		}
	}
}

// No verification of another one makes good what was run over or let go early.
func TestMatcher_VerificationMakesNothingGood(t *testing.T) {
	for bad, torque := range map[string]int64{"let go early": 45_000, "run over": 73_000} {
		for k := range 6 {
			w := verifying(t, "stage")
			w.round(0, all...)
			for f := range all {
				if f == k {
					w.pull(f, torque)
					continue
				}
				w.round(1, f)
			}
			for f := range 6 {
				w.verify(f, w.standing[f]*103/100)
			}
			w.m.Settle()
			if open := w.openSteps(); !slices.Contains(open, fmt.Sprintf("seat %d", k+1)) {
				t.Errorf("seat %d %s: got %v open, want it among them", k+1, bad, open)
			}
		}
	}
}
