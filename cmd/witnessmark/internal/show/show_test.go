package show

import (
	"strings"
	"testing"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/device/label"
)

func view() bench.View {
	return bench.View{
		Bench: "1", Run: 7, Engine: "E-4711", WorkOrder: "W-12", Joint: "main-caps", Title: "Main bearing caps",
		Left: 3, Steps: 30,
		Next: &bench.Next{Stage: "seat", Fastener: "8", Target: "60 N·m (57 … 63 N·m)"},
		Last: &bench.LastReading{Seq: 41, Torque: "45.2 N·m", Angle: "31°", Wrench: "TW-01", Advice: "Tighten it again.",
			Mark: audit.Mark{Stage: "seat", Fastener: "7", Verdict: audit.LowTorque, Confidence: 996_000, LocatedBy: audit.ByOrder}},
		Summary: bench.Summary{Open: []bench.OpenStage{{Stage: "seat", Fasteners: []string{"7"}}}, Attention: []string{"stage seat: missed: 3"}},
	}
}

func TestBench_Lines(t *testing.T) {
	for name, tc := range map[string]struct {
		change func(*bench.View)
		want   string
	}{
		"a reading that is not good says so first": {func(*bench.View) {}, `
Bench 1: engine E-4711, work order W-12, Main bearing caps (main-caps), 27 of 30 steps done.
NOT OK #41  TW-01  45.2 N·m 31°  fastener 7, stage seat: low torque (by order, >99 %)
       Tighten it again.
  next   fastener 8, stage seat: 60 N·m (57 … 63 N·m)
  look   stage seat: missed: 3`},
		"what an adapter makes of a reading stands beside it": {func(v *bench.View) {
			v.Fitted = []bench.Fitted{{Adapter: "cf-22", Wrench: "TW-01", WrenchLength: "400 mm", Extension: "60 mm", Angle: "30°"}}
			v.Last.Applied, v.Last.Mark.Adapter, v.Last.Advice, v.Summary.Attention = "51.1 N·m", "cf-22", "", nil
		}, `
Bench 1: engine E-4711, work order W-12, Main bearing caps (main-caps), 27 of 30 steps done.
  fitted adapter cf-22 on wrench TW-01: 400 mm from grip to drive, 60 mm on from there at 30°; readings are corrected by it
NOT OK #41  TW-01  45.2 N·m (51.1 N·m at the fastener, through cf-22) 31°  fastener 7, stage seat: low torque (by order, >99 %)
  next   fastener 8, stage seat: 60 N·m (57 … 63 N·m)`},
		"a check that waits stands before the next step": {func(v *bench.View) {
			v.Last, v.Summary.Attention = nil, nil
			v.Ask = &bench.Ask{Check: "end-float", Text: "Crankshaft end float", Accept: "0.07 … 0.23 mm"}
		}, `
Bench 1: engine E-4711, work order W-12, Main bearing caps (main-caps), 27 of 30 steps done.
  check  end-float: Crankshaft end float (0.07 … 0.23 mm)
  next   fastener 8, stage seat: 60 N·m (57 … 63 N·m)`},
		"a check that a wrench may answer says so, and what it measured": {func(v *bench.View) {
			v.Summary.Attention = nil
			v.Ask = &bench.Ask{Check: "drag", Text: "Turning torque", Accept: "0 … 9 N·m", ByWrench: true}
			v.Last.Torque, v.Last.Angle, v.Last.Advice = "3 N·m", "", ""
			v.Last.Mark = audit.Mark{CheckID: "run-down", Fastener: "7", Verdict: audit.Pass, Confidence: 990_000, LocatedBy: audit.ByOrder}
		}, `
Bench 1: engine E-4711, work order W-12, Main bearing caps (main-caps), 27 of 30 steps done.
ok     #41  TW-01  3 N·m  check run-down, fastener 7: pass (by order, 99 %)
  check  drag: Turning torque (0 … 9 N·m). Pull the wrench, or type the value.
  next   fastener 8, stage seat: 60 N·m (57 … 63 N·m)`},
		"a joint that waits for its verification says that it is tightened": {func(v *bench.View) {
			v.Last, v.Left = nil, 0
			v.Next = &bench.Next{Stage: "residual", Fastener: "2", Target: "find where it moves (57 … 75 N·m)", Verify: true}
			v.Summary = bench.Summary{Complete: true, Verification: []bench.OpenStage{{Stage: "residual", Fasteners: []string{"2", "7"}}}}
		}, `
Bench 1: engine E-4711, work order W-12, Main bearing caps (main-caps), 30 of 30 steps done.
  done   all of this joint is tightened; it may be closed, and verified later.
  next   fastener 2, stage residual: find where it moves (57 … 75 N·m)`},
		"at the end what is open is named, with the candidates": {func(v *bench.View) {
			v.Last, v.Next, v.Summary.Attention = nil, nil, nil
			v.Summary.Open[0].Candidates = []string{"3", "7"}
		}, `
Bench 1: engine E-4711, work order W-12, Main bearing caps (main-caps), 27 of 30 steps done.
  open   stage seat: one of these was missed: 3, 7 (presumed: 7)`},
		"several that are open are counted": {func(v *bench.View) {
			v.Last, v.Next, v.Summary.Attention = nil, nil, nil
			v.Summary.Open[0].Fasteners, v.Summary.Open[0].Candidates = []string{"5", "7"}, []string{"3", "5", "7"}
		}, `
Bench 1: engine E-4711, work order W-12, Main bearing caps (main-caps), 27 of 30 steps done.
  open   stage seat: 2 of these were missed: 3, 5, 7 (presumed: 5, 7)`},
		"a bench without a joint says what to do": {func(v *bench.View) { *v = bench.View{Bench: "1"} }, `
Bench 1: no joint. Start one with ` + "`witnessmark joint start`."},
		"a build that was scanned says what is missing": {func(v *bench.View) {
			*v = bench.View{Bench: "1", Build: 4, Engine: "E-4711", WorkOrder: "W-12", Person: "Ada Holt"}
		}, `
Bench 1: engine E-4711, work order W-12, no joint. Scan one, or start one with ` + "`witnessmark joint start`. Ada Holt is signed in."},
		"a new engine asks for its work order": {func(v *bench.View) { *v = bench.View{Bench: "1", Engine: "E-4711"} }, `
Bench 1: engine E-4711 is new here. Scan its work order.`},
		"a new work order asks for its engine": {func(v *bench.View) { *v = bench.View{Bench: "1", WorkOrder: "W-12"} }, `
Bench 1: work order W-12 is new here. Scan its engine.`},
		"both of them open a build": {func(v *bench.View) { *v = bench.View{Bench: "1", Engine: "E-4711", WorkOrder: "W-12"} }, `
Bench 1: engine E-4711, work order W-12: the build is about to be opened.`},
		"a fastener that was scanned is said to be next": {func(v *bench.View) {
			v.Last, v.Summary.Attention, v.Scanned, v.Person = nil, nil, "5", "Ada Holt"
		}, `
Bench 1: engine E-4711, work order W-12, Main bearing caps (main-caps), 27 of 30 steps done. Ada Holt is signed in.
  next   fastener 8, stage seat: 60 N·m (57 … 63 N·m)
  scan   the next reading is fastener 5, by its label`},
		"a joint taken up again says so": {func(v *bench.View) { v.Last, v.Summary.Attention, v.Resumed = nil, nil, true }, `
Bench 1: engine E-4711, work order W-12, Main bearing caps (main-caps), taken up again, 27 of 30 steps done.
  next   fastener 8, stage seat: 60 N·m (57 … 63 N·m)`},
		"a complete joint says so": {func(v *bench.View) {
			v.Last, v.Next, v.Left, v.Summary = nil, nil, 0, bench.Summary{Complete: true}
		}, `
Bench 1: engine E-4711, work order W-12, Main bearing caps (main-caps), 30 of 30 steps done.
  done   every step of this joint is done; close it with ` + "`witnessmark joint close`."},
	} {
		t.Run(name, func(t *testing.T) {
			v := view()
			tc.change(&v)
			if got := "\n" + strings.Join(Bench(v), "\n"); got != tc.want {
				t.Errorf("got %s\nwant %s", got, tc.want)
			}
		})
	}
}

// A line leads with a question mark where somebody should look at a reading that passed.
func TestReading_Sign(t *testing.T) {
	for sign, m := range map[string]audit.Mark{
		"ok     #": {Verdict: audit.Pass, Flags: []string{audit.Conditional, audit.Resent}},
		"ok ?   #": {Verdict: audit.Pass, Flags: []string{audit.ReHit}},
		"NOT OK #": {Verdict: audit.LowTorque},
		"stray  #": {Verdict: audit.NotJudged, Flags: []string{audit.Unexpected}},
	} {
		if got := Reading(&bench.LastReading{Mark: m})[0]; !strings.HasPrefix(got, sign) {
			t.Errorf("got %q, want %q in front", got, sign)
		}
	}
}

func TestSummary_Verification(t *testing.T) {
	s := bench.Summary{Complete: true, Verification: []bench.OpenStage{{Stage: "residual", Fasteners: []string{"2", "7"}}}}
	want := "  later  verification is still open: stage residual: fastener 2, 7"
	if got := strings.Join(Summary(s), "\n"); got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}

func TestPercent(t *testing.T) {
	for share, want := range map[audit.Share]string{
		audit.Certain: "100 %", 999_999: ">99 %", 994_999: "99 %", 500_000: "50 %", 4_999: "<1 %", 0: "0 %",
	} {
		if got := Percent(share); got != want {
			t.Errorf("Percent(%d): got %q, want %q", share, got, want)
		}
	}
}

func TestUpdate(t *testing.T) {
	v := view()
	for name, tc := range map[string]struct{ kind, refused, first string }{
		"a reading is shown by itself":      {audit.ReadingTaken{}.Kind(), "", "NOT OK #41"},
		"a refusal is the whole story":      {audit.JointStarted{}.Kind(), "no build 9", "  refused  no build 9"},
		"an unreadable frame is a call":     {audit.FrameRefused{}.Kind(), "", "  look   a wrench sent"},
		"the first update is a whole bench": {"", "", "Bench 1:"},
	} {
		t.Run(name, func(t *testing.T) {
			if got := Update(control.Update{View: v, Kind: tc.kind, Refused: tc.refused})[0]; !strings.HasPrefix(got, tc.first) {
				t.Errorf("got %q, want it to begin with %q", got, tc.first)
			}
		})
	}
}

func TestUpdate_Scans(t *testing.T) {
	idle := bench.View{Bench: "1", Person: "Ada Holt"}
	for name, tc := range map[string]struct {
		u    control.Update
		want string
	}{
		"a badge shows the person, not itself": {control.Update{View: idle, Scan: &control.Scan{Label: label.Badge}},
			"  scan   badge\nBench 1: no joint. Start one with `witnessmark joint start`. Ada Holt is signed in."},
		"a note stands beside the label": {control.Update{View: idle, Scan: &control.Scan{Label: label.Engine, Value: "WAUZZZ", Note: label.NoCheckDigit}},
			"  scan   engine WAUZZZ (no check digit)\nBench 1"},
		"a fastener shows what is next": {control.Update{View: bench.View{Run: 1, Scanned: "5"}, Scan: &control.Scan{Label: label.Fastener, Value: "5"}},
			"  scan   fastener 5\n  scan   the next reading is fastener 5, by its label"},
		"a refusal names the label": {control.Update{Refused: "scan your badge first", Scan: &control.Scan{Label: label.Joint, Value: "caps"}},
			"  refused  joint caps: scan your badge first"},
		"one that was not understood is quoted": {control.Update{Refused: "no kind of label", Scan: &control.Scan{Value: "X:1"}},
			`  refused  "X:1": no kind of label`},
		"of noise the beginning is shown": {control.Update{Refused: "noise", Scan: &control.Scan{Value: strings.Repeat(`\xe4`, 100)}},
			`  refused  "` + strings.Repeat(`\xe4`, 8) + `…": noise`},
		"a joint is shown when it has started": {control.Update{View: idle, Scan: &control.Scan{Label: label.Joint, Value: "caps"}}, "  scan   joint caps$"},
		"a build is shown when it is open": {control.Update{View: bench.View{Engine: "E", WorkOrder: "W"}, Scan: &control.Scan{Label: label.Engine, Value: "E"}},
			"  scan   engine E$"},
	} {
		t.Run(name, func(t *testing.T) {
			if got := strings.Join(Update(tc.u), "\n") + "$"; !strings.HasPrefix(got, tc.want) {
				t.Errorf("got %q, want it to begin with %q", got, tc.want)
			}
		})
	}
}
