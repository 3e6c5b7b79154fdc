package bench_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/device/unit"
)

// rules is a joint whose procedure looks at the wrench, has an adapter in its second stage, and nuts that run down hard.
const rules = `format: witnessmark/procedure/1
family: TT-5
revision: "1"
title: Manifold
source: invented for this test
decision: guarded
wrench: {out_of_calibration: fail, out_of_range: flag}
adapters:
  cf-22: {lever: 12 in, offset: 4 in}
joints:
  - id: studs
    title: Studs
    criticality: B
    round: stage
    order: listed
    prevailing: drag
    fasteners:
      - {id: a}
      - {id: b}
    checks:
      - {id: drag, ask: Torque to run down, accept: 0..20 N·m, each: fastener}
    stages:
      - {id: set, tighten_to: 100 N·m, accept: 95..105 N·m}
      - {id: reach, tighten_to: 160 N·m, accept: 150..170 N·m, adapter: cf-22}
`

func studs(t *testing.T, w audit.WrenchDeclared) *floor {
	f := &floor{t: t, shop: bench.NewShop(nil)}
	w.Wrench = "W1"
	f.must(audit.ProcedureAdded{Family: "TT-5", Revision: "1", Title: "Manifold", Text: rules})
	f.must(audit.PersonAdded{Person: "p1", Name: "Ines Falk"})
	f.must(w)
	f.must(audit.BuildOpened{Engine: "E1", Family: "TT-5", Revision: "1", WorkOrder: "WO1", Person: "p1"})
	f.must(audit.JointStarted{Bench: "B1", Build: 4, Joint: "studs", Person: "p1"})
	return f
}

// U = 2 N·m at 100 N·m, of 0.8 % deviation and 1.2 % uncertainty; the window is that of the constructed case of
// ILAC-G8:09/2019, 4.2.2.
var certain = audit.WrenchDeclared{Deviation: 8_000, Uncertainty: 12_000}

func TestShop_GuardedDecision(t *testing.T) {
	f := studs(t, certain)
	m := f.pull(96_000, 60_000)[0]
	if m.Verdict != audit.LowTorque || m.Conformity == nil || !slices.Contains(m.Flags, audit.Conditional) {
		t.Errorf("got %+v, want low torque, inside the limits but nearer to one than the wrench is uncertain", m)
	}
	m = f.pull(100_000, 3_000)[0]
	if m.Verdict != audit.Pass || *m.Conformity < 999_990 || slices.Contains(m.Flags, audit.Conditional) {
		t.Errorf("got %+v, want pass and all but certain", m)
	}
}

func TestShop_NoConformityWithoutUncertainty(t *testing.T) {
	f := studs(t, audit.WrenchDeclared{})
	if m := f.pull(96_000, 60_000)[0]; m.Conformity != nil || m.Verdict != audit.Pass {
		t.Errorf("got %+v, want pass and no probability: nobody said how certain the wrench is", m)
	}
}

func TestShop_CalibrationByCycles(t *testing.T) {
	f := studs(t, audit.WrenchDeclared{Certificate: "C-1", Cycles: 1})
	if m := f.pull(100_000, 60_000)[0]; m.Verdict != audit.Pass {
		t.Errorf("got %s for the last reading before the calibration is due, want pass", m.Verdict)
	}
	m := f.pull(100_000, 61_000)[0]
	if m.Verdict != audit.WrenchUnfit || !slices.Contains(m.Flags, audit.OutOfCalibration) {
		t.Errorf("got %+v after it, want a wrench that may not be used", m)
	}
	if sum := f.shop.View("B1").Summary; sum.Complete || !strings.Contains(strings.Join(sum.Attention, "\n"), "wrench unfit") {
		t.Errorf("got %+v, want the step open and the reason named", sum)
	}
	f.must(audit.WrenchDeclared{Wrench: "W1", Title: "renamed", Certificate: "C-1", Cycles: 1})
	if got := f.shop.Pulls("W1"); got != 2 {
		t.Errorf("got %d readings after a new name, want 2: it was not calibrated", got)
	}
	day := time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC)
	f.must(audit.WrenchDeclared{Wrench: "W1", Certificate: "C-2", Calibrated: &day, Cycles: 1})
	if m := f.pull(100_000, 3_000)[0]; m.Verdict != audit.Pass {
		t.Errorf("got %s after a new certificate, want pass", m.Verdict)
	}
}

// US Army TM 9-2350-261-20-1, page 2-29: with a lever of 12 and an adapter of 4 inches, 40 at the fastener show as 30.
func TestShop_AdapterOfAStage(t *testing.T) {
	f := studs(t, audit.WrenchDeclared{})
	f.pull(100_000, 60_000)
	f.pull(100_000, 61_000)
	next := f.shop.View("B1").Next
	if next.Stage != "reach" || !strings.HasPrefix(next.Target, "120 N·m (112.5 … 127.5 N·m) shown by the wrench with adapter cf-22") ||
		!strings.HasSuffix(next.Target, "160 N·m at the fastener") {
		t.Errorf("got %+v, want both torques told", next)
	}
	m := f.pull(120_000, 20_000)[0]
	if m.Stage != "reach" || m.Verdict != audit.Pass || m.Adapter != "cf-22" || m.Applied != int64(160*unit.NewtonMetre) {
		t.Errorf("got %+v, want pass with 160 N·m through cf-22", m)
	}
}

func TestShop_PrevailingTorque(t *testing.T) {
	f := studs(t, audit.WrenchDeclared{})
	f.must(audit.CheckAnswered{Bench: "B1", Run: 5, Check: "drag", Fastener: "a", Value: "5 N·m", Person: "p1"})
	f.must(audit.CheckAnswered{Bench: "B1", Run: 5, Check: "drag", Fastener: "a", Value: "9 N·m", Person: "p1"})
	if next := f.shop.View("B1").Next; next.Target != "109 N·m (104 … 114 N·m)" {
		t.Errorf("got %q, want the last answer added to the target and the window", next.Target)
	}
	if m := f.pull(103_000, 60_000)[0]; m.Verdict != audit.LowTorque {
		t.Errorf("got %s for 103 N·m, want low torque", m.Verdict)
	}
	f.pull(109_000, 6_000)
	f.pull(100_000, 60_000)
	// 160 and 9 N·m at the fastener are three quarters of that at the wrench.
	if next := f.shop.View("B1").Next; !strings.HasPrefix(next.Target, "126.75 N·m (119.25 … 134.25 N·m)") || !strings.HasSuffix(next.Target, "169 N·m at the fastener") {
		t.Errorf("got %q, want the run-down torque through the adapter too", next.Target)
	}
}

// The rates of one run are what the next one of the same joint begins with.
func TestShop_LearnsFromEarlierBuilds(t *testing.T) {
	f := newFloor(t)
	f.snugAll()
	f.must(audit.JointClosed{Bench: "B1", Run: 5, Person: "p1"})
	f.must(audit.JointStarted{Bench: "B1", Build: 4, Joint: "caps", Person: "p1"})
	f.pull(30_000, 25_500)
	again := f.pull(30_000, 1_500)[0]
	if !slices.Contains(again.Flags, audit.ReHit) || again.Confidence < 800_000 {
		t.Errorf("got %+v, want a second hit, surely, of the first fastener", again)
	}
	g := newFloor(t)
	g.pull(30_000, 25_500)
	if alone := g.pull(30_000, 1_500)[0]; alone.Confidence > again.Confidence {
		t.Errorf("got %d ppm without an earlier run and %d with one, want no more", alone.Confidence, again.Confidence)
	}
}

// ISO 6789-1:2017, table of classes: 4 % for a type II class A wrench of more than 10 N·m (public instructions, and from memory).
func TestShop_DeviatesMoreThanItsClassPermits(t *testing.T) {
	f := studs(t, audit.WrenchDeclared{Class: "II A", Permissible: 40_000, Deviation: 52_000})
	if m := f.pull(100_000, 60_000)[0]; m.Verdict != audit.WrenchUnfit || !slices.Contains(m.Flags, audit.OutOfCalibration) {
		t.Errorf("got %+v, want a wrench out of calibration, which this procedure lets pass nothing", m)
	}
}
