package trial_test

import (
	"math/rand/v2"
	"reflect"
	"testing"

	"witnessmark/cmd/wrenchsim/trial"
)

// runs is what a test affords; the command plays ten thousand and more.
const runs = 600

func TestTrial_SameSeedSameRun(t *testing.T) {
	for _, slip := range trial.Slips() {
		a := trial.Make(trial.Ordinary(), slip, rand.New(rand.NewPCG(1, 2)))
		b := trial.Make(trial.Ordinary(), slip, rand.New(rand.NewPCG(1, 2)))
		if !reflect.DeepEqual(a.Readings, b.Readings) || !reflect.DeepEqual(a.Labels, b.Labels) {
			t.Errorf("%s: got two runs from one seed", slip)
		}
	}
}

// A label that is wrong would make every figure of the table wrong: the count of pulls is what the slip says.
func TestTrial_PullsOfASlip(t *testing.T) {
	more := map[trial.Slip]int{trial.AgainExtra: 1, trial.AgainOld: 1, trial.LowNoticed: 1, trial.TurnedBack: 1, trial.Elsewhere: 1,
		trial.MissOne: -1, trial.MissLast: -1}
	for _, slip := range trial.Slips() {
		for seed := range uint64(20) {
			r := trial.Make(trial.Ordinary(), slip, rand.New(rand.NewPCG(seed, 3)))
			if slip == trial.Several || r.Slip != slip {
				continue
			}
			if got, want := len(r.Readings), len(r.Joint.Sequence())+more[slip]; got != want {
				t.Errorf("%s: got %d pulls, want %d", slip, got, want)
			}
			wrong := map[trial.Slip]bool{trial.AgainMiss: true, trial.MissOne: true, trial.MissLast: true, trial.LowUnseen: true,
				trial.TooHigh: true, trial.TurnedBack: true, trial.TurnTwice: true}[slip]
			if r.Incomplete() != wrong {
				t.Errorf("%s: got incomplete %v, want %v", slip, r.Incomplete(), wrong)
			}
		}
	}
}

func TestTrial_Ordinary(t *testing.T) {
	s := trial.Play(trial.Ordinary(), trial.Slips(), runs, 11, nil)
	for slip, tally := range s.Slips {
		if tally.Complete.Hit > 0 && slip != trial.TurnTwice && slip != trial.Several {
			t.Errorf("%s: got %d incomplete joints called complete, want none", slip, tally.Complete.Hit)
		}
	}
	for _, c := range []struct {
		what  string
		got   trial.Count
		least float64
	}{
		{"hit twice and the next missed, found", s.Slips[trial.AgainMiss].Found, 0.99},
		{"last of a stage missed, found", s.Slips[trial.MissLast].Found, 1},
		{"one missed, found", s.Slips[trial.MissOne].Found, 1},
		{"let go early, found", s.Slips[trial.LowUnseen].Found, 0.97}, // at a torque of the stage before it may be a second hit there
		{"clean joints, readings at their step", s.Slips[trial.Clean].Light, 0.995},
		{"hit twice, readings at their step", s.Slips[trial.AgainExtra].Light, 0.99},
	} {
		if c.got.Of < 10 || c.got.Share() < c.least {
			t.Errorf("%s: got %v of %d, want at least %v", c.what, c.got.Share(), c.got.Of, c.least)
		}
	}
	if flagged := s.Slips[trial.Clean].Flagged; flagged.Share() > 0.05 {
		t.Errorf("got %v of the clean joints flagged, want few", flagged.Share())
	}
	if s.Final.Error() > 0.02 || s.Live.Error() > 0.03 {
		t.Errorf("got calibration errors of %v at once and %v at the close, want under 0.03 and 0.02", s.Live.Error(), s.Final.Error())
	}
	// What all this is for: the count alone calls every one of these joints complete.
	if c := s.Cursor[trial.AgainMiss].Complete; c.Of < 10 || c.Hit != c.Of {
		t.Errorf("got %d of %d slips missed by the cursor, want all", c.Hit, c.Of)
	}
}

// A world far from the ordinary one may hide more, but a miss that the count shows must never be hidden.
func TestTrial_Corners(t *testing.T) {
	for _, w := range trial.Corners()[1:] {
		t.Run(w.Name, func(t *testing.T) {
			s := trial.Play(w, trial.Slips(), runs/5, 5, nil)
			for _, slip := range []trial.Slip{trial.MissOne, trial.MissLast, trial.LowUnseen, trial.TooHigh} {
				if c := s.Slips[slip].Complete; c.Hit > 0 {
					t.Errorf("%s: got %d of %d called complete, want none", slip, c.Hit, c.Of)
				}
			}
		})
	}
}
