package bench_test

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/device/unit"
)

// crowfoot shows three quarters of what the fastener gets (US Army TM 9-2350-261-20-1, page 2-29).
func crowfoot(id, wrench string) audit.AdapterFitted {
	const inch = 25_400_000
	return audit.AdapterFitted{Bench: "B1", Wrench: wrench, Adapter: id, WrenchLength: 12 * inch, Extension: 4 * inch, Person: "p1"}
}

func TestShop_AdapterFittedAtTheBench(t *testing.T) {
	nm := unit.NewtonMetre
	f := studs(t, audit.WrenchDeclared{Deviation: 8_000, Uncertainty: 12_000})
	f.must(crowfoot("cf-22", ""))
	if next := f.shop.View("B1").Next; next.Target != "75 N·m (71.25 … 78.75 N·m) shown by the wrench with adapter cf-22, which is 100 N·m at the fastener" {
		t.Errorf("got %q, want what the wrench should show", next.Target)
	}
	m := f.pull(75_000, 60_000)[0]
	if m.Stage != "set" || m.Verdict != audit.Pass || m.Adapter != "cf-22" || m.Applied != int64(100*nm) || len(m.Flags) != 0 {
		t.Errorf("got %+v, want a pass with 100 N·m through cf-22", m)
	}
	if *m.Conformity < 999_990 {
		t.Errorf("got a conformity of %d ppm, want that of 100 N·m at the fastener", *m.Conformity)
	}
	v := f.shop.View("B1")
	if v.Last.Torque != "75 N·m" || v.Last.Applied != "100 N·m" {
		t.Errorf("got %+v, want what was shown and what was applied", v.Last)
	}
	if len(v.Fitted) != 1 || v.Fitted[0] != (bench.Fitted{Adapter: "cf-22", WrenchLength: "304.8 mm", Extension: "101.6 mm", Angle: "0°"}) {
		t.Errorf("got %+v, want the adapter shown", v.Fitted)
	}
	f.pull(75_000, 61_000)
	// The second stage names the same one, which corrects once.
	if m := f.pull(120_000, 24_000)[0]; m.Stage != "reach" || m.Verdict != audit.Pass || m.Applied != int64(160*nm) || len(m.Flags) != 0 {
		t.Errorf("got %+v, want 160 N·m at the fastener", m)
	}
}

func TestShop_AdapterRemoved(t *testing.T) {
	f := studs(t, audit.WrenchDeclared{})
	f.must(crowfoot("cf-22", ""))
	f.must(audit.AdapterFitted{Bench: "B1", Person: "p1"})
	if m := f.pull(100_000, 60_000)[0]; m.Verdict != audit.Pass || m.Adapter != "" || m.Applied != 0 {
		t.Errorf("got %+v, want what the wrench showed", m)
	}
	if v := f.shop.View("B1"); v.Fitted != nil || v.Last.Applied != "" {
		t.Errorf("got %+v, want nothing fitted", v)
	}
}

func TestShop_AdapterWithoutAJoint(t *testing.T) {
	f := studs(t, audit.WrenchDeclared{})
	f.must(crowfoot("cf-22", ""))
	f.must(audit.JointClosed{Bench: "B1", Run: 5, Person: "p1"})
	if m := f.pull(75_000, 60_000)[0]; m.Verdict != audit.NotJudged || m.Adapter != "cf-22" || m.Applied != int64(100*unit.NewtonMetre) {
		t.Errorf("got %+v, want both torques all the same", m)
	}
}

func TestShop_OtherAdapterThanTheStageNames(t *testing.T) {
	f := studs(t, audit.WrenchDeclared{})
	f.pull(100_000, 60_000)
	f.pull(100_000, 61_000)
	long := crowfoot("cf-30", "")
	long.Extension = long.WrenchLength // shows half
	f.must(long)
	if next := f.shop.View("B1").Next; !strings.HasPrefix(next.Target, "80 N·m") || !strings.HasSuffix(next.Target, "(the procedure wants adapter cf-22 here)") {
		t.Errorf("got %q, want what the wrench shows with what is fitted, and that it is another one", next.Target)
	}
	m := f.pull(80_000, 24_000)[0]
	if m.Stage != "reach" || m.Verdict != audit.Pass || m.Adapter != "cf-30" || !slices.Contains(m.Flags, audit.OtherAdapter) {
		t.Errorf("got %+v, want 160 N·m through what was fitted, and a flag", m)
	}
	if sum := f.shop.View("B1").Summary; !strings.Contains(strings.Join(sum.Attention, "\n"), "other adapter") {
		t.Errorf("got %q, want it told", sum.Attention)
	}
}

func TestShop_AdapterOfOneWrench(t *testing.T) {
	f := studs(t, audit.WrenchDeclared{})
	f.must(audit.WrenchDeclared{Wrench: "W2"})
	f.must(crowfoot("cf-22", "W2"))
	if m := f.pull(100_000, 60_000)[0]; m.Adapter != "" || m.Verdict != audit.Pass {
		t.Errorf("got %+v of the other wrench, want no adapter", m)
	}
}

func TestShop_AdapterRefusals(t *testing.T) {
	for rule, c := range map[string]struct {
		change  func(*audit.AdapterFitted)
		want    string
		already bool
	}{
		"a bench is named":            {func(a *audit.AdapterFitted) { a.Bench = "" }, "name one", false},
		"a wrench is known":           {func(a *audit.AdapterFitted) { a.Wrench = "W9" }, "no wrench", false},
		"a wrench has a length":       {func(a *audit.AdapterFitted) { a.WrenchLength = 0 }, "lever", false},
		"it is not there already":     {func(*audit.AdapterFitted) {}, "fitted there already", true},
		"what is removed is fitted":   {func(a *audit.AdapterFitted) { a.Wrench, a.Adapter = "W1", "" }, "no adapter", true},
		"one for one wrench is other": {func(a *audit.AdapterFitted) { a.Wrench = "W1" }, "", false},
	} {
		t.Run(rule, func(t *testing.T) {
			f := studs(t, audit.WrenchDeclared{})
			f.must(crowfoot("cf-22", ""))
			ev := crowfoot("cf-22", "")
			c.change(&ev)
			err := f.shop.Refusal(ev)
			if (err == nil) != (c.want == "") || err != nil && !strings.Contains(err.Error(), c.want) || errors.Is(err, bench.ErrAlready) != c.already {
				t.Errorf("got %v, want %q", err, c.want)
			}
		})
	}
}

// The drag is that of the bolt: a new one begins without, and what is told of it changes nothing that was said of the old one.
func TestShop_PrevailingTorqueOfANewBolt(t *testing.T) {
	f := studs(t, certain)
	f.must(audit.CheckAnswered{Bench: "B1", Run: 5, Check: "drag", Fastener: "a", Value: "2 N·m", Person: "p1"})
	f.pull(102_000, 60_000)
	f.must(audit.BoltReplaced{Bench: "B1", Run: 5, Fastener: "a", Person: "p1"})
	if next := f.shop.View("B1").Next; next.Fastener != "a" || next.Target != "100 N·m (95 … 105 N·m)" {
		t.Errorf("got %+v, want nothing added before it is told", next)
	}
	if out := f.must(audit.CheckAnswered{Bench: "B1", Run: 5, Check: "drag", Fastener: "a", Value: "9 N·m", Person: "p1"}); len(out.Marks) != 0 {
		t.Errorf("got %+v, want nothing said again of the bolt that is gone", out.Marks)
	}
	if m := f.pull(110_000, 64_000); len(m) != 1 || m[0].Verdict != audit.Pass || m[0].Fastener != "a" {
		t.Errorf("got %+v, want 110 N·m good of 104 … 114", m)
	}
}

// FAA AC 43.13-1B, 7-40: the drag is added to the window of what was tightened before it was told, too.
func TestShop_PrevailingTorqueToldLateJudgesAgain(t *testing.T) {
	f := studs(t, audit.WrenchDeclared{})
	first := f.pull(103_000, 60_000)[0]
	f.pull(100_000, 60_000)
	out := f.must(audit.CheckAnswered{Bench: "B1", Run: 5, Check: "drag", Fastener: "a", Value: "9 N·m", Person: "p1"})
	if len(out.Marks) != 1 {
		t.Fatalf("got %+v, want one mark that supersedes that of a", out.Marks)
	}
	m := out.Marks[0]
	if m.Reading != first.Reading || m.No != 2 || first.Verdict != audit.Pass || m.Verdict != audit.LowTorque || m.Fastener != "a" {
		t.Errorf("got %+v after %+v, want 103 N·m to be low of 104 … 114", m, first)
	}
	if next := f.shop.View("B1").Next; next.Fastener != "a" {
		t.Errorf("got %+v, want a again", next)
	}
	out = f.must(audit.CheckAnswered{Bench: "B1", Run: 5, Check: "drag", Fastener: "a", Value: "1 N·m", Person: "p1"})
	if len(out.Marks) != 1 || out.Marks[0].Verdict != audit.Pass || out.Marks[0].No != 3 {
		t.Errorf("got %+v, want it good again after another answer", out.Marks)
	}
}

// What is measured of a check through the crowfoot is what the nut takes, four thirds of what is shown.
func TestShop_CheckMeasuredThroughAnAdapter(t *testing.T) {
	f := floorWith(t, locking)
	f.answers("new-bolts", "", "")
	f.must(crowfoot("cf-22", ""))
	if m := f.pull(3_000, 170_000)[0]; m.CheckID != "run-down" || m.Verdict != audit.Pass || m.Adapter != "cf-22" || m.Applied != int64(4*unit.NewtonMetre) {
		t.Errorf("got %+v, want 4 N·m through cf-22", m)
	}
	if m := f.pull(4_800, 170_000)[0]; m.CheckID != "run-down" || m.Verdict != audit.HighTorque {
		t.Errorf("got %+v, want 6.4 N·m to be more than the 6 N·m that are accepted", m)
	}
	if got := f.shop.View("B1").Summary.Attention; !strings.Contains(strings.Join(got, "\n"), "4.8 N·m (6.4 N·m at the fastener, through cf-22), wanted 1 … 6 N·m") {
		t.Errorf("got %q, want both torques told", got)
	}
	f.answers("run-down", "2", "2 N·m")
	f.answers("run-down", "3", "2 N·m")
	f.answers("run-down", "4", "2 N·m")
	if got := f.shop.View("B1").Next.Target; !strings.HasSuffix(got, "34 N·m at the fastener") {
		t.Errorf("got %q, want the 4 N·m at the fastener added", got)
	}
}
