package match_test

import (
	"fmt"
	"slices"
	"testing"

	"witnessmark/audit"
	"witnessmark/audit/match"
	"witnessmark/audit/procedure"
	"witnessmark/device"
	"witnessmark/device/unit"
)

func TestMatcher_ANewBoltStartsAgain(t *testing.T) {
	w := newWorkshop(t)
	w.round(0, all...)
	w.round(1, 0, 1, 2, 3)
	w.m.Replace(2)
	w.standing[2] = 0
	if open := w.openSteps(); !slices.Contains(open, "snug 3") || !slices.Contains(open, "seat 3") || slices.Contains(open, "snug 2") {
		t.Errorf("got open %v, want both stages of the third and no other of the snug stage", open)
	}
	w.want(t, w.pull(2, 30_000), "snug 3", match.MakeGood)
	w.want(t, w.pull(2, 60_000), "seat 3", match.Next)
	before := w.openSteps()
	w.m.Name(0, "1") // weighs everything again, the new bolt at its place
	if after := w.openSteps(); !slices.Equal(before, after) {
		t.Errorf("got open %v after a person's word on the first, want %v as before", after, before)
	}
}

// In one stage nothing tells the new bolt from the next one, but that a person has just fitted it.
func TestMatcher_ANewBoltIsExpectedNext(t *testing.T) {
	w := newWorkshop(t)
	w.round(0, 0, 1, 2)
	w.m.Replace(0)
	w.standing[0] = 0
	f := w.pull(0, 30_000)
	w.want(t, f, "snug 1", match.MakeGood)
	if f.OutOfOrder || f.Confidence < 800_000 {
		t.Errorf("got %+v, want it in order and sure", f)
	}
	w.want(t, w.round(0, 3)[0], "snug 4", match.Next)
}

// FAA AC 43.13-1B, table 7-1 and 7-40: a tension nut 1/4-28 is tightened to 50 … 70 in·lb, and 9 in·lb of drag come on top.
func TestMatcher_PrevailingTorque(t *testing.T) {
	p, err := procedure.Parse("nuts.yaml", []byte(`format: witnessmark/procedure/1
family: TT-3
revision: "1"
title: Locking nuts
source: FAA AC 43.13-1B, table 7-1
decision: simple
joints:
  - id: nuts
    title: Locking nuts
    criticality: B
    round: stage
    order: listed
    prevailing: drag
    fasteners:
      - {id: a}
      - {id: b}
    checks:
      - {id: drag, ask: Torque to run down, accept: 0..30 lbf·in, each: fastener}
    stages:
      - {id: set, tighten_to: 60 lbf·in, accept: 50..70 lbf·in}
`))
	if err != nil {
		t.Fatal(err)
	}
	m := match.New(&p.Joints[0])
	drag, err := unit.TorqueIn("9", unit.LbfIn)
	if err != nil {
		t.Fatal(err)
	}
	m.Prevail(0, drag)
	in := func(t unit.Torque) string { return t.In(unit.LbfIn, 0) }
	if f := m.Steps()[0]; in(f.Torque) != "69" || in(f.Torques.Low) != "59" || in(f.Torques.High) != "79" {
		t.Errorf("got %s (%s … %s), want 69 (59 … 79)", in(f.Torque), in(f.Torques.Low), in(f.Torques.High))
	}
	if f := m.Steps()[1]; in(f.Torque) != "60" {
		t.Errorf("got %s for the other nut, want 60", in(f.Torque))
	}
	low, _ := unit.TorqueIn("57", unit.LbfIn)
	if got := m.Observe(match.Observation{Torque: low, Direction: device.Tighten}); got.Verdict != audit.LowTorque {
		t.Errorf("got %s for 57 in·lb, want low torque", got.Verdict)
	}
}

// A long extension winds up more than the wrench alone; what one wrench taught must not be held against the other.
func TestMatcher_TwoWrenches(t *testing.T) {
	w := newWorkshop(t)
	pull := func(wrench string, f int, torque, wind int64) match.Finding {
		rate := int64(700)
		if w.standing[f] == 0 {
			rate = 800
		}
		angle := unit.Angle(wind*torque/60_000 + max(torque-w.standing[f], 0)*rate/1000 + wobble(w.pulls)*100)
		w.standing[f] = max(w.standing[f], torque)
		w.pulls++
		return w.m.Observe(match.Observation{Wrench: wrench, Torque: unit.Torque(torque * 1000), Angle: &angle, Direction: device.Tighten})
	}
	for f := range 6 {
		w.want(t, pull("low", f, 30_000, 1_000), fmt.Sprintf("snug %d", f+1), match.Next)
	}
	w.want(t, pull("low", 6, 15_000, 1_000), "snug 7", match.Next)
	w.want(t, pull("low", 7, 15_000, 1_000), "snug 8", match.Next)
	for f := range 3 {
		w.want(t, pull("high", f, 60_000, 9_000), fmt.Sprintf("seat %d", f+1), match.Next)
	}
	w.want(t, pull("high", 2, 60_000, 9_000), "seat 3", match.ReHit)
	w.want(t, pull("high", 3, 60_000, 9_000), "seat 4", match.Next)
}

func TestMatcher_EarlierBuilds(t *testing.T) {
	first := newWorkshop(t)
	for stage := range 3 {
		first.round(stage, all...)
	}
	learned := first.m.Learned()
	for k, v := range learned.Slack {
		if stage := first.m.Steps()[k].Stage; stage == 0 && k < 2 && (v < 700_000 || v > 950_000) {
			t.Errorf("kind %d: got %d µ° per N·m from slack, want about 800000 and the wind-up", k, v)
		}
	}
	// The second fastener hit twice, with nothing but the first to compare: who knows the family is surer.
	again := func(tell bool) audit.Share {
		w := newWorkshop(t)
		if tell {
			w.m.Expect(learned)
		}
		w.pull(0, 30_000)
		f := w.pull(0, 30_000)
		w.want(t, f, "snug 1", match.ReHit)
		return f.Confidence
	}
	if alone, told := again(false), again(true); told < alone {
		t.Errorf("got %d ppm with what earlier builds taught and %d without, want no less", told, alone)
	}
}

func TestMatcher_Geometry(t *testing.T) {
	sure := func(tell bool) audit.Share {
		w := newWorkshop(t)
		if tell {
			for f := range 8 {
				w.m.Suppose(f, 800_000)
			}
		}
		w.pull(0, 30_000)
		return w.pull(0, 30_000).Confidence
	}
	if alone, told := sure(false), sure(true); told < alone {
		t.Errorf("got %d ppm by geometry and %d without, want no less", told, alone)
	}
}
