package match_test

import (
	"fmt"
	"testing"

	"witnessmark/audit"
	"witnessmark/audit/match"
	"witnessmark/audit/procedure"
	"witnessmark/device"
	"witnessmark/device/unit"
)

// reach is a joint whose second stage is pulled through a crowfoot that shows three quarters of what the fastener gets
// (US Army TM 9-2350-261-20-1, page 2-29: lever 12, adapter 4 inches): less is shown than the fastener stands at already.
const reach = `format: witnessmark/procedure/1
family: TT-4
revision: "1"
title: Manifold
source: invented for this test
decision: simple
adapters:
  cf-22: {lever: 12 in, offset: 4 in}
joints:
  - id: studs
    title: Studs
    criticality: B
    round: stage
    order: listed
    fasteners: [{id: "1"}, {id: "2"}, {id: "3"}, {id: "4"}, {id: "5"}, {id: "6"}]
    stages:
      - {id: set, tighten_to: 100 N·m, accept: ±5 %}
      - {id: reach, tighten_to: 130 N·m, accept: ±5 %, adapter: cf-22}
`

// reached pulls all studs to 100 and then all but one to 130 N·m, turning 0.8° per N·m from slack and 0.7° after that; the
// third of these is pulled twice.
func reached(t *testing.T, corrected bool) (*match.Matcher, []match.Finding) {
	p, err := procedure.Parse("reach.yaml", []byte(reach))
	if err != nil {
		t.Fatal(err)
	}
	m, a := match.New(&p.Joints[0]), p.Adapters["cf-22"]
	m.Through(1, a.Applied)
	var all []match.Finding
	pull := func(i int, torque unit.Torque, angle unit.Angle, shown unit.Torque) {
		torque += torque / 1000 * unit.Torque(wobble(i))
		shown += shown / 1000 * unit.Torque(wobble(i))
		angle += unit.Angle(wobble(i)) * 100
		o := match.Observation{Wrench: "W", Torque: shown, Angle: &angle, Direction: device.Tighten}
		if corrected {
			o.Torque, o.Corrected = torque, true
		}
		all = append(all, m.Observe(o))
	}
	for i := range 6 {
		pull(i, 100*unit.NewtonMetre, 81_500, 100*unit.NewtonMetre)
	}
	for i := range 6 {
		angle := unit.Angle(22_500)
		if i == 3 {
			angle = 1_500 // it stands there already
		}
		pull(i, 130*unit.NewtonMetre, angle, a.Shown(130*unit.NewtonMetre))
	}
	return m, all
}

func TestMatcher_AdapterBetweenStages(t *testing.T) {
	for name, corrected := range map[string]bool{"named by the stage": false, "corrected at the bench": true} {
		t.Run(name, func(t *testing.T) {
			m, all := reached(t, corrected)
			for i, f := range all {
				if f.Step < 0 || f.Verdict != audit.Pass || i != 9 && f.Kind == match.ReHit {
					t.Errorf("reading %d: got %+v, want a pass", i, f)
				}
			}
			if f := all[9]; f.Kind != match.ReHit || f.Step != all[8].Step {
				t.Errorf("got %+v, want a second hit of the one before: it did not turn", f)
			}
			if got := m.Learned().Seated[1]; got < 600_000 || got > 850_000 {
				t.Errorf("got %d µ° per N·m from a seated torque, want about 750000 at the fastener, wind-up included", got)
			}
		})
	}
}

// Whoever corrects at the bench sees what a stage that names the adapter sees.
func TestMatcher_AdapterIsAppliedOnce(t *testing.T) {
	_, named := reached(t, false)
	_, bench := reached(t, true)
	for i := range named {
		if fmt.Sprint(named[i].Step, named[i].Verdict) != fmt.Sprint(bench[i].Step, bench[i].Verdict) {
			t.Errorf("reading %d: got %+v and %+v, want the same", i, named[i], bench[i])
		}
	}
}

// FAA AC 43.13-1B, 7-40: the drag is added to the window; told late it is added all the same.
func TestMatcher_PrevailingTorqueToldLate(t *testing.T) {
	w := newWorkshop(t)
	w.want(t, w.pull(0, 30_000), "snug 1", match.Next)
	w.want(t, w.pull(1, 30_000), "snug 2", match.Next)
	w.m.Prevail(0, 5*unit.NewtonMetre)
	check := func(when string) {
		t.Helper()
		all := w.m.Findings()
		if all[0].Step != 0 || all[0].Verdict != audit.LowTorque || all[1].Step != 1 || all[1].Verdict != audit.Pass {
			t.Errorf("%s: got %+v, want 30 N·m judged as too little of 35, and where they were unchanged", when, all)
		}
		if open := w.openSteps(); open[0] != "snug 1" || open[1] != "snug 3" {
			t.Errorf("%s: got open %v, want the first again", when, open)
		}
	}
	check("told after the next")
	w.m.Name(1, "2")
	check("weighed again after a person's word")
	w.want(t, w.pull(0, 35_000), "snug 1", match.MakeGood)
	if open := w.openSteps(); open[0] != "snug 3" {
		t.Errorf("got open %v, want the first made good", open)
	}
}
