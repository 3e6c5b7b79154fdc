package sheet

import (
	"encoding/json"
	"flag"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"witnessmark/audit"
	"witnessmark/device"
	"witnessmark/device/label"
	"witnessmark/device/unit"
	"witnessmark/store"
)

var update = flag.Bool("update", false, "write the sheets as they come out now")

const block = `format: witnessmark/procedure/1
family: TB-7
revision: "1"
title: Short block
source: invented for this test
decision: simple
joints:
  - id: caps
    title: Bearing caps
    criticality: B
    round: stage
    order: listed
    fasteners:
      - {id: "1", at: [0, 0]}
      - {id: "2", at: [80, 0]}
    checks:
      - {id: new-bolts, ask: New oiled bolts fitted?}
      - {id: end-float, ask: Crankshaft end float, accept: 0.07..0.23 mm, after: snug}
      - {id: drag, ask: Turning torque of the crankshaft, accept: 0..9 N·m, after: turn, by: wrench}
    stages:
      - {id: snug, tighten_to: 30 N·m, accept: ±10 %}
      - {id: turn, turn_by: 90°, accept: ±5°}
`

var begin = time.Date(2026, 5, 4, 8, 0, 0, 0, time.UTC)

func reading(seq uint64, torque, text string, in unit.TorqueUnit, angle int64, marks ...audit.Mark) store.ReadingHistory {
	t, err := unit.TorqueIn(torque, unit.Nm)
	if err != nil {
		panic(err)
	}
	a := unit.Angle(angle) * unit.Degree / 10
	r := store.ReadingHistory{Seq: seq, At: begin.Add(time.Duration(seq) * time.Minute), Index: int64(10 * seq),
		ReadingTaken: audit.ReadingTaken{Bench: "1", Reading: device.Reading{Wrench: "TW-01", Torque: t, TorqueText: text, Unit: in,
			Angle: &a, Direction: device.Tighten}}}
	for i, m := range marks {
		m.Reading, m.No, m.Confidence = seq, i+1, 993_250
		r.Marks = append(r.Marks, store.MarkHistory{At: r.At, Index: int64(10*seq) + int64(i) + 1, Mark: m})
	}
	return r
}

func mk(stage, fastener string, v audit.Verdict, flags ...string) audit.Mark {
	return audit.Mark{Stage: stage, Fastener: fastener, Verdict: v, Flags: append([]string{}, flags...), LocatedBy: audit.ByOrder}
}

func drag(v audit.Verdict, flags ...string) audit.Mark {
	m := mk("", "", v, flags...)
	m.CheckID = "drag"
	return m
}

// history is a build with one run that was closed too early and one that came out well.
func history() *store.History {
	closed := begin.Add(time.Hour)
	answer := func(check, value string, yes bool, index int64) store.AnswerHistory {
		return store.AnswerHistory{At: begin, Index: index, Person: "Ada Holt",
			CheckAnswered: audit.CheckAnswered{Bench: "1", Check: check, Value: value, Yes: yes}}
	}
	bad := store.RunHistory{ID: 5, Bench: "1", Joint: "caps", Technician: "Ada Holt", Started: begin, Closed: &closed,
		Readings: []store.ReadingHistory{
			reading(6, "30.1", "30.1", unit.Nm, 310, mk("snug", "1", audit.Pass)),
			reading(7, "12", "12.0", unit.Nm, 0, mk("snug", "2", audit.LowTorque), audit.Mark{Verdict: audit.NotJudged,
				Flags: []string{audit.Unexpected}, LocatedBy: audit.ByPerson}),
			reading(8, "33.9", "25.0", unit.LbfFt, 302, mk("snug", "2", audit.HighTorque, audit.OutOfCalibration)),
		},
		Answers: []store.AnswerHistory{answer("end-float", "0.31 mm", true, 90)}}
	good := store.RunHistory{ID: 20, Bench: "1", Joint: "caps", Started: closed,
		Readings: []store.ReadingHistory{
			reading(21, "30", "30.0", unit.Nm, 300, mk("snug", "1", audit.Pass)),
			reading(22, "30", "30.0", unit.Nm, 300, mk("snug", "2", audit.Pass, audit.Conditional)),
			reading(23, "99.5", "99.5", unit.Nm, 905, mk("turn", "1", audit.Pass)),
			reading(24, "98", "98.0", unit.Nm, 895, mk("turn", "2", audit.Pass)),
			reading(25, "10", "10.0", unit.Nm, 1800, drag(audit.HighTorque, audit.OutOfRange)),
			reading(26, "9.5", "9.5", unit.Nm, 1800, drag(audit.HighTorque), mk("", "", audit.NotJudged, audit.Unexpected)),
			reading(27, "6.2", "6.2", unit.Nm, 1800, drag(audit.Pass)),
		},
		Answers: []store.AnswerHistory{answer("new-bolts", "", true, 91), answer("end-float", "0.31 mm", true, 92),
			answer("end-float", "0.12 mm", true, 93)},
		Scans: []store.ScanHistory{{At: closed, Index: 94, Person: "Bo Lind", LabelScanned: audit.LabelScanned{Label: label.Fastener, Value: "1"}}}}
	good.Readings[0].Marks[0].LocatedBy = audit.ByScan
	return &store.History{Engine: "E-4711", Builds: []store.BuildHistory{{ID: 4, At: begin, WorkOrder: "W-12", Unit: "U-3", Family: "TB-7",
		Revision: "1", Technician: "Ada Holt", Procedure: block, Runs: []store.RunHistory{bad, good}}}}
}

func TestOf_Sheets(t *testing.T) { golden(t, history(), "testdata/sheet") }

// golden compares both forms of a sheet with what they were.
func golden(t *testing.T, h *store.History, name string) {
	t.Helper()
	e, err := Of(h, "")
	if err != nil {
		t.Fatal(err)
	}
	var text strings.Builder
	if err := e.Text(&text, OfFastener); err != nil {
		t.Fatal(err)
	}
	body, err := json.MarshalIndent(e, "", "  ")
	if err != nil {
		t.Fatal(err)
	}
	for file, got := range map[string]string{name + ".txt": text.String(), name + ".json": string(body) + "\n"} {
		if *update {
			if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		if got != string(want) {
			t.Errorf("%s: got\n%s\nwant\n%s", file, got, want)
		}
	}
}

func TestOf_Complete(t *testing.T) {
	complete := func(h *store.History) (bool, []string) {
		t.Helper()
		e, err := Of(h, "")
		if err != nil {
			t.Fatal(err)
		}
		j := e.Builds[0].Joints[1]
		return j.Complete, j.Findings
	}
	run := func(h *store.History) *store.RunHistory { return &h.Builds[0].Runs[1] }
	for name, tc := range map[string]struct {
		change func(*store.History)
		lacks  string // empty: complete
	}{
		"all done and all accepted is complete": {func(*store.History) {}, ""},
		"a step that is open is not": {func(h *store.History) { run(h).Readings = run(h).Readings[:3] },
			"stage turn is open for fastener 2"},
		"a step that failed is not": {func(h *store.History) { run(h).Readings[3].Marks[0].Verdict = audit.LowAngle },
			"stage turn, fastener 2: low angle, not made good"},
		"a check without an answer is not": {func(h *store.History) { run(h).Answers = run(h).Answers[1:] },
			"check new-bolts was not answered"},
		"a no is not":                        {func(h *store.History) { run(h).Answers[0].Yes = false }, "check new-bolts: no is not accepted"},
		"a value out of limits is not":       {func(h *store.History) { run(h).Answers[2].Value = "0.24 mm" }, "check end-float: 0.24 mm is not accepted"},
		"a value of another quantity is not": {func(h *store.History) { run(h).Answers[2].Value = "0.12 N·m" }, "check end-float: 0.12 N·m is not accepted"},
		"a measurement of the wrench that is out of limits is not": {func(h *store.History) { run(h).Readings = run(h).Readings[:6] },
			"check drag: 10.0 N·m is not accepted"},
		"an answer that came after the measurement counts": {func(h *store.History) {
			run(h).Answers = append(run(h).Answers, store.AnswerHistory{Index: 280, CheckAnswered: audit.CheckAnswered{Check: "drag", Value: "12 N·m"}})
		}, "check drag: 12 N·m is not accepted"},
		"the newest answer counts, good first": {func(h *store.History) {
			a := run(h).Answers
			a[1].Value, a[2].Value = a[2].Value, a[1].Value
		}, "check end-float: 0.31 mm is not accepted"},
	} {
		t.Run(name, func(t *testing.T) {
			h := history()
			tc.change(h)
			got, findings := complete(h)
			if got != (tc.lacks == "") || (tc.lacks != "" && !slices.Contains(findings, tc.lacks)) {
				t.Errorf("got complete %v with %q, want %q", got, findings, tc.lacks)
			}
		})
	}
}

// Complete is said where a release stands, whose review looked at what the record cannot tell.
func TestOf_State(t *testing.T) {
	release, reopening := store.ReleaseHistory{Act: store.Act{Seq: 50}}, store.ReopeningHistory{Act: store.Act{Seq: 60}}
	for name, tc := range map[string]struct {
		change func(*store.BuildHistory)
		want   [2]State // of an earlier attempt that lacks steps, and of one with all of them
	}{
		"under way": {func(*store.BuildHistory) {}, [2]State{NotComplete, StepsDone}},
		"released":  {func(b *store.BuildHistory) { b.Releases = []store.ReleaseHistory{release} }, [2]State{NotComplete, Complete}},
		"reopened": {func(b *store.BuildHistory) {
			b.Releases, b.Reopenings = []store.ReleaseHistory{release}, []store.ReopeningHistory{reopening}
		}, [2]State{NotComplete, StepsDone}},
		"released again": {func(b *store.BuildHistory) {
			b.Releases, b.Reopenings = []store.ReleaseHistory{release, release}, []store.ReopeningHistory{reopening}
		}, [2]State{NotComplete, Complete}},
		"an earlier attempt was not reviewed": {func(b *store.BuildHistory) {
			b.Releases = []store.ReleaseHistory{release}
			b.Runs[0], b.Runs[1] = b.Runs[1], b.Runs[0]
		}, [2]State{StepsDone, NotComplete}},
	} {
		t.Run(name, func(t *testing.T) {
			h := history()
			tc.change(&h.Builds[0])
			e, err := Of(h, "")
			if err != nil {
				t.Fatal(err)
			}
			j := e.Builds[0].Joints
			if got := [2]State{j[0].State, j[1].State}; got != tc.want {
				t.Errorf("got %q, want %q", got, tc.want)
			}
		})
	}
	for state, want := range map[State]string{NotComplete: "NOT COMPLETE", StepsDone: "every step done, verification is still open", Complete: "complete, verification is still open"} {
		if got := state.Loud(2); got != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
}

// A check is open for each fastener by itself, also after one was renewed, and may wait for a verification.
func TestOf_Unanswered(t *testing.T) {
	const checks = "      - {id: stretch, ask: Bolt stretch, accept: 0.1..0.2 mm, each: fastener}\n      - {id: paint, ask: Paint marks drawn?, after: residual}\n"
	h := history()
	b := &h.Builds[0]
	b.Procedure = strings.Replace(block, "    stages:\n", checks+"    stages:\n", 1) + "      - {id: residual, verify: 80..160 N·m}\n"
	run := &b.Runs[1]
	stretched := func(fastener string, index int64) {
		run.Answers = append(run.Answers, store.AnswerHistory{Index: index, CheckAnswered: audit.CheckAnswered{Check: "stretch", Fastener: fastener, Value: "0.15 mm"}})
	}
	paint := OpenCheck{"paint", "", true}
	for _, tc := range []struct {
		rule   string
		change func()
		want   []OpenCheck
		old    int
	}{
		{"nothing is answered", func() {}, []OpenCheck{{"stretch", "1", false}, {"stretch", "2", false}, paint}, 0},
		{"one of two fasteners", func() { stretched("2", 95) }, []OpenCheck{{"stretch", "1", false}, paint}, 0},
		{"both", func() { stretched("1", 96) }, []OpenCheck{paint}, 0},
		{"one was renewed since", func() {
			run.Renewals = append(run.Renewals, store.RenewalHistory{Seq: 30, Index: 97, BoltReplaced: audit.BoltReplaced{Fastener: "2"}})
		}, []OpenCheck{{"stretch", "2", false}, paint}, 1},
		{"and measured again", func() { stretched("2", 98) }, []OpenCheck{paint}, 1},
	} {
		tc.change()
		e, err := Of(h, "")
		if err != nil {
			t.Fatal(err)
		}
		j, old := e.Builds[0].Joints[1], 0
		for i := range j.Checks {
			if j.OfOldBolt(&j.Checks[i]) {
				old++
			}
		}
		if !slices.Equal(j.Unanswered, tc.want) || old != tc.old {
			t.Errorf("%s: got %+v and %d answers of an old bolt, want %+v and %d", tc.rule, j.Unanswered, old, tc.want, tc.old)
		}
	}
}

// A person's word explains that a reading was unexpected, also one that was held to measure a check.
func TestOf_WhatAPersonExplained(t *testing.T) {
	const stray, check = "reading 7 (no step): unexpected", "reading 27 (check drag): unsure"
	for by, want := range map[audit.LocatedBy]bool{audit.ByOrder: true, audit.ByPerson: false} {
		h := history()
		runs := h.Builds[0].Runs
		runs[0].Readings[1].Marks[1].LocatedBy = by
		measured := &runs[1].Readings[6].Marks[0]
		measured.Flags, measured.LocatedBy = []string{audit.Unsure}, by
		e, err := Of(h, "")
		if err != nil {
			t.Fatal(err)
		}
		j := e.Builds[0].Joints
		if slices.Contains(j[0].Findings, stray) != want || slices.Contains(j[1].Findings, check) != want {
			t.Errorf("located by %s: got %q and %q, want them named %v", by, j[0].Findings, j[1].Findings, want)
		}
	}
}

func TestOf_Verification(t *testing.T) {
	const check = "      - {id: paint, ask: Paint marks drawn?, after: residual}\n"
	for name, tc := range map[string]struct {
		check    string
		marks    []audit.Mark
		complete bool
		findings []string
	}{
		"one that is open keeps no joint from being complete": {check, nil, true, []string{"verification is still open: stage residual is open for fastener 1, 2"}},
		"one that is half done": {check, []audit.Mark{mk("residual", "1", audit.Pass)}, true,
			[]string{"verification is still open: stage residual is open for fastener 2"}},
		"one that was found good": {"", []audit.Mark{mk("residual", "1", audit.Pass), mk("residual", "2", audit.Pass)}, true, nil},
		"a check after it is due then": {check, []audit.Mark{mk("residual", "1", audit.Pass), mk("residual", "2", audit.Pass)}, false,
			[]string{"check paint was not answered"}},
		"one that failed does": {"", []audit.Mark{mk("residual", "1", audit.LowTorque), mk("residual", "2", audit.Pass)}, false,
			[]string{"stage residual, fastener 1: low torque at the verification: the engine maker's procedure says what follows"}},
	} {
		t.Run(name, func(t *testing.T) {
			h := history()
			b := &h.Builds[0]
			b.Procedure = strings.Replace(block, "    stages:\n", tc.check+"    stages:\n", 1) + "      - {id: residual, verify: 80..160 N·m}\n"
			run := &b.Runs[1]
			run.Readings = slices.Delete(run.Readings, 4, 6) // what was measured besides
			for i, m := range tc.marks {
				run.Readings = append(run.Readings, reading(uint64(30+i), "100", "100.0", unit.Nm, 20, m))
			}
			e, err := Of(h, "")
			if err != nil {
				t.Fatal(err)
			}
			j := e.Builds[0].Joints[1]
			if j.Complete != tc.complete || !slices.Equal(j.Findings, tc.findings) {
				t.Errorf("got complete %v with %q, want %v with %q", j.Complete, j.Findings, tc.complete, tc.findings)
			}
		})
	}
}

// The bolts that were used are counted against those that are due to be replaced.
func TestOf_BoltsUsed(t *testing.T) {
	text, err := os.ReadFile("../../../../testdata/procedures/checks.yaml")
	if err != nil {
		t.Fatal(err)
	}
	for name, tc := range map[string]struct {
		joint   string
		counts  []string
		renewed bool
		says    string // of the sheet
		finding string
		ok      bool
	}{
		"as many as are due":         {"rod-caps", []string{"2"}, false, "New bolts: 2 used, 2 due to be replaced", "", true},
		"the newest count counts":    {"rod-caps", []string{"1", "2"}, false, "New bolts: 2 used, 2 due to be replaced", "", true},
		"too few":                    {"rod-caps", []string{"1"}, false, "New bolts: 1 used, 2 due to be replaced", "check new-bolts: 1 is not accepted", false},
		"more than are due":          {"rod-caps", []string{"3"}, false, "New bolts: 3 used, 2 due", "new bolts: 3 used, 2 due to be replaced", true},
		"nobody counted":             {"rod-caps", nil, false, "New bolts: 2 due to be replaced, not counted", "check new-bolts was not answered", false},
		"one more was renewed later": {"rod-caps", []string{"2"}, true, "New bolts: 2 used, 2 due to be replaced; 1 more renewed later", "", true},
		"none is for single use":     {"main-caps", nil, false, "", "", false},
	} {
		t.Run(name, func(t *testing.T) {
			run := store.RunHistory{ID: 5, Bench: "1", Joint: tc.joint, Started: begin}
			for i, n := range tc.counts {
				run.Answers = append(run.Answers, store.AnswerHistory{Index: int64(i + 10), CheckAnswered: audit.CheckAnswered{Check: "new-bolts", Yes: true, Value: n}})
			}
			if tc.renewed {
				run.Renewals = append(run.Renewals, store.RenewalHistory{Index: 30, BoltReplaced: audit.BoltReplaced{Fastener: "1a"}})
			}
			h := &store.History{Engine: "E", Builds: []store.BuildHistory{{ID: 4, Procedure: string(text), Runs: []store.RunHistory{run}}}}
			e, err := Of(h, "")
			if err != nil {
				t.Fatal(err)
			}
			var out strings.Builder
			if err := e.Text(&out, OfJoint); err != nil {
				t.Fatal(err)
			}
			j := e.Builds[0].Joints[0]
			if (tc.says == "") != (j.Bolts == nil) || !strings.Contains(out.String(), tc.says) {
				t.Errorf("got %+v and\n%s\nwant %q", j.Bolts, out.String(), tc.says)
			}
			i := slices.IndexFunc(j.Checks, func(c Check) bool { return c.Check == "new-bolts" })
			if n := len(j.Checks); n > 0 && (i < 0 || j.Checks[n-1].OK != tc.ok) || tc.finding != "" && !slices.Contains(j.Findings, tc.finding) {
				t.Errorf("got %+v and %q, want accepted %v, %q", j.Checks, j.Findings, tc.ok, tc.finding)
			}
		})
	}
}

func TestOf_Units(t *testing.T) {
	e, err := Of(history(), unit.LbfFt)
	if err != nil {
		t.Fatal(err)
	}
	m := e.Builds[0].Joints[0].Steps[0].Marks[0]
	if m.Torque != "22.20" || m.Unit != unit.LbfFt { // 30.1 N·m / 1.355 817 948 331 4, NIST SP 811 appendix B
		t.Errorf("got %s %s, want 22.20 lbf·ft", m.Torque, m.Unit)
	}
	own := e.Builds[0].Joints[0].Steps[1].Marks[0]
	if own.Torque != "25.0" {
		t.Errorf("got %s, want the number that the wrench wrote in that unit itself", own.Torque)
	}
}

func TestOf_ZerosInFront(t *testing.T) {
	h := history()
	h.Builds[0].Runs[0].Readings[0].TorqueText = "0030.1"
	e, err := Of(h, "")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := json.Marshal(e); err != nil || e.Builds[0].Joints[0].Steps[0].Marks[0].Torque != "30.1" {
		t.Errorf("got %v, %v, want 30.1", e.Builds[0].Joints[0].Steps[0].Marks[0].Torque, err)
	}
}

func TestOf_ProcedureIsGone(t *testing.T) {
	h := history()
	h.Builds[0].Runs[0].Joint = "head"
	if _, err := Of(h, ""); err == nil || !strings.Contains(err.Error(), "witnessmark verify") {
		t.Errorf("got %v, want a sentence that says what to do", err)
	}
}
