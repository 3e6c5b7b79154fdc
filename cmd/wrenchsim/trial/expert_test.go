package trial

import (
	"math"
	"math/rand/v2"
	"testing"

	"witnessmark/audit/procedure"
)

// turning is a run of the ordinary world that turns in its last stage.
func turning(t *testing.T, s Slip, from uint64) *Run {
	t.Helper()
	for seed := from; ; seed++ {
		r := Make(Ordinary(), s, rand.New(rand.NewPCG(seed, 9)))
		last := r.Joint.Stages[len(r.Joint.Stages)-1]
		if r.Slip == s && r.Knowable && last.Action == procedure.TurnBy {
			return r
		}
	}
}

// A density that does not sum to one would favour one of the two explanations.
func TestExpert_SumsToOne(t *testing.T) {
	e := turning(t, Clean, 1).expert()
	g, rate := e.run.made.gauges[0], e.run.made.spec.Rate
	turns := len(e.run.Joint.Stages) - 1
	sum := 0.0
	for torque := 50.05; torque < 2000; torque += 0.1 {
		sum += 0.1 * e.likely(rate, 50, &sighted{turns, torque, 60})
	}
	if math.Abs(sum-1) > 0.01 {
		t.Errorf("torques after a turn: got a sum of %.3f, want 1", sum)
	}
	sum = 0
	top := g.Threshold + 60*rate
	for angle := 0.5; angle < 400; angle++ {
		sum += e.likely(rate, 0, &sighted{0, top, angle})
	}
	if math.Abs(sum-1) > 0.01 {
		t.Errorf("angles on the way to a torque: got a sum of %.3f, want 1", sum)
	}
}

func TestExpert_TellsTheTwoKindsApart(t *testing.T) {
	for seed := range uint64(20) {
		if x := turning(t, Clean, 100*seed).ratio(); x > 0 {
			t.Errorf("clean: got e^%.1f for turned twice, want less than 1", x)
		}
		if x := turning(t, TurnTwice, 100*seed).ratio(); x < 0 {
			t.Errorf("turned twice: got e^%.1f for it, want more than 1", x)
		}
	}
}
