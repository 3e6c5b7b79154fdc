package trial_test

import (
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"witnessmark/cmd/wrenchsim/trial"
	"witnessmark/device"
)

func world(t *testing.T, name string) trial.World {
	t.Helper()
	for _, w := range trial.Corners() {
		if w.Name == name {
			return w
		}
	}
	t.Fatalf("no world %q", name)
	return trial.World{}
}

// clean makes the runs of a world without a slip.
func clean(t *testing.T, name string) (runs []*trial.Run) {
	t.Helper()
	for seed := range uint64(150) {
		runs = append(runs, trial.Make(world(t, name), trial.Clean, rand.New(rand.NewPCG(seed, 5))))
	}
	return runs
}

// Whatever is renewed, and whenever the new bolt is drawn up: who makes no slip ends with a complete joint, and every pull but
// the bad one that asked for the new bolt is good.
func TestTrial_RenewalsLeaveNothingOpen(t *testing.T) {
	seen := map[trial.Way]bool{}
	for _, r := range clean(t, "renewals") {
		seen[r.Way] = true
		if r.Incomplete() {
			t.Errorf("%s: got steps open at the end", r.Way)
		}
		renewed := slices.ContainsFunc(r.Acts, func(a trial.Act) bool { return a.Renewed != "" })
		if renewed != (r.Way != "") {
			t.Errorf("%q: got renewed %v", r.Way, renewed)
		}
		bad := 0
		for i, l := range r.Labels {
			if !l.Good && r.Readings[i].Direction == device.Tighten {
				bad++
			}
		}
		if most := map[trial.Way]int{trial.RenewedLow: 1, trial.RenewedHigh: 1, trial.RenewedTwo: 2}[r.Way]; bad > most {
			t.Errorf("%s: got %d pulls that are not good, want at most %d", r.Way, bad, most)
		}
	}
	for _, w := range trial.Ways()[:5] {
		if !seen[w] {
			t.Errorf("no run has a bolt %s", w)
		}
	}
}

func TestTrial_WhatIsLeftOutOfAVerificationIsNotOpen(t *testing.T) {
	for _, r := range clean(t, "verification") {
		more := map[trial.Way]int{trial.RoundLeft: -1, trial.RoundTwice: 1}[r.Way]
		if got, want := len(r.Readings), len(r.Joint.Sequence())+more; got != want || r.Incomplete() {
			t.Errorf("%s: got %d pulls, incomplete %v, want %d and a complete joint", r.Way, got, r.Incomplete(), want)
		}
	}
}

// Through an adapter the wrench shows something else than the fastener gets (FAA AC 43.13-1B, 7-40h), and the pull is as good.
func TestTrial_ThroughAnAdapter(t *testing.T) {
	other := 0
	for _, r := range clean(t, "adapters") {
		for i, l := range r.Labels {
			s := r.Joint.Sequence()[l.Step]
			if !l.Good {
				t.Errorf("%s: got pull %d of %s not good", r.Way, i, r.Readings[i].Torque)
			}
			if rd := r.Readings[i]; s.Torques.Set && (rd.Torque < s.Torques.Low || rd.Torque > s.Torques.High) {
				other++
			}
		}
	}
	if other < 100 {
		t.Errorf("got %d torques shown that are not those at the fastener, want many", other)
	}
}

func TestTrial_Watched(t *testing.T) {
	for _, c := range []struct {
		world string
		most  float64 // good pulls with a false verdict said with one half, of all
	}{{"renewals", 0.001}, {"verification", 0.001}, {"adapters", 0.001}} {
		t.Run(c.world, func(t *testing.T) {
			s := trial.Play(world(t, c.world), trial.Slips(), runs, 7, nil)
			var good, wrong, complete, took, verified int
			for _, w := range s.Ways {
				good, wrong = good+w.Final.Good.Of, wrong+w.Live.Good.Half+w.Final.Good.Half
				took, verified = took+w.Final.Took.Hit, verified+w.Final.Took.Of
			}
			for slip, tally := range s.Slips {
				if slip != trial.TurnTwice && slip != trial.Several {
					complete += tally.Complete.Hit
				}
			}
			if good < 5000 || float64(wrong) > c.most*float64(good) {
				t.Errorf("got %d of %d good pulls with a false verdict, want next to none", wrong, good)
			}
			if complete > 0 {
				t.Errorf("got %d incomplete joints called complete, want none", complete)
			}
			if c.world == "verification" && (verified < 1000 || took*50 > verified) {
				t.Errorf("got %d of %d verifications taken for a tightening, want few", took, verified)
			}
			var b strings.Builder
			if err := s.Table(&b); err != nil || !strings.Contains(b.String(), "WATCHED") {
				t.Errorf("got %v and %q, want the second table", err, b.String())
			}
		})
	}
}
