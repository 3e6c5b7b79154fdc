package bench_test

import (
	"encoding/json"
	"reflect"
	"slices"
	"strings"
	"testing"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/device"
	"witnessmark/device/unit"
)

// measuring is the joint caps with checks by wrench: of the whole joint between two stages and at the end, and of each
// fastener before the first.
var measuring = strings.NewReplacer(
	`      - {id: end-float, ask: Crankshaft end float, accept: 0.07..0.23 mm, after: snug}
`, `      - {id: drag, ask: Turning torque of the crankshaft, accept: 0..9 N·m, after: snug, by: wrench}
      - {id: free, ask: Turn of the flange, accept: 10..20°, after: seat, by: wrench}
`).Replace(caps)

// floorWith is a floor whose joint is that of another text of the procedure.
func floorWith(t *testing.T, text string) *floor {
	f := &floor{t: t, shop: bench.NewShop(nil)}
	f.must(audit.ProcedureAdded{Family: "TT-1", Revision: "1", Title: "Bearing caps", Text: text})
	f.must(audit.PersonAdded{Person: "p1", Name: "Ines Falk"})
	f.must(audit.WrenchDeclared{Wrench: "W1"})
	f.must(audit.BuildOpened{Engine: "E1", Family: "TT-1", Revision: "1", WorkOrder: "WO1", Person: "p1"})
	f.must(audit.JointStarted{Bench: "B1", Build: 4, Joint: "caps", Person: "p1"})
	return f
}

func (f *floor) answers(check, fastener, value string) {
	f.t.Helper()
	f.must(audit.CheckAnswered{Bench: "B1", Run: 5, Check: check, Fastener: fastener, Yes: true, Value: value, Person: "p1"})
}

// asked is the check that the bench asks for, with its fastener.
func (f *floor) asked() string {
	if a := f.shop.View("B1").Ask; a != nil {
		return strings.TrimSpace(a.Check + " " + a.Fastener)
	}
	return ""
}

// where is the step or check of a mark, and the verdict.
func where(m audit.Mark) string {
	return strings.TrimSpace(m.CheckID+m.Stage+" "+m.Fastener) + ": " + string(m.Verdict)
}

func TestGauge_WhichReadingsAnswer(t *testing.T) {
	for rule, c := range map[string]struct {
		torque, angle int64
		want          string
	}{
		"inside the range":                    {6_200, 180_000, "drag: pass"},
		"at the limit":                        {9_000, 180_000, "drag: pass"},
		"a little above":                      {10_000, 90_000, "drag: high torque"},
		"the step that is due":                {60_000, 22_500, "seat 1: pass"},
		"the step that is due, given up":      {50_000, 15_000, "seat 1: low torque"},
		"a second hit in the stage before it": {30_100, 1_300, "snug 4: pass"},
	} {
		t.Run(rule, func(t *testing.T) {
			f := floorWith(t, measuring)
			f.snugAll()
			if got := f.asked(); got != "new-bolts" {
				t.Fatalf("got %q asked first, want the check that no wrench answers", got)
			}
			if m := f.pull(c.torque, c.angle); where(m[0]) != c.want {
				t.Errorf("got %q, want %q", where(m[0]), c.want)
			}
		})
	}
}

func TestGauge_TheMomentCounts(t *testing.T) {
	f := floorWith(t, measuring)
	if m := f.pull(6_000, 90_000)[0]; m.CheckID != "" || m.Verdict == audit.Pass {
		t.Errorf("got %+v before the stage, want no answer to a check that is not asked yet", m)
	}
	f.must(audit.FastenerNamed{Bench: "B1", Run: 5, Reading: f.seq, Fastener: "", Person: "p1"})
	f.snugAll()
	f.answers("new-bolts", "", "")
	if body, err := json.Marshal(f.pull(30_000, 1_200)[0]); err != nil || strings.Contains(string(body), "check_id") {
		t.Errorf("got %s, %v, want the leaf of a tightening as it always was", body, err)
	}
	if v := f.shop.View("B1"); v.Ask == nil || v.Ask.Check != "drag" || !v.Ask.ByWrench {
		t.Fatalf("got %+v, want drag asked, which a wrench may answer", v.Ask)
	}
	m := f.pull(6_000, 90_000)[0]
	if m.CheckID != "drag" || m.Stage != "" || m.Fastener != "" || m.LocatedBy != audit.ByOrder || m.Confidence < 900_000 || len(m.Flags) != 0 {
		t.Errorf("got %+v, want the check alone", m)
	}
	if l := f.shop.View("B1").Last; !strings.Contains(l.Advice, "Check drag: 6 N·m is good. Next: fastener 1") {
		t.Errorf("got %q, want the value and what is next", l.Advice)
	}
	if got := f.asked(); got != "" {
		t.Errorf("got %q asked, want nothing more", got)
	}
	if m := f.pull(6_000, 90_000)[0]; m.CheckID != "" {
		t.Errorf("got %+v, want a check that is answered not measured again", m)
	}
}

func TestGauge_AnAngleIsMeasured(t *testing.T) {
	f := floorWith(t, measuring)
	f.snugAll()
	f.answers("drag", "", "3 N·m")
	for i := range int64(4) {
		f.pull(60_000, 22_500+i*100)
	}
	if m := f.pull(2_000, 15_000)[0]; where(m) != "free: pass" {
		t.Errorf("got %q, want the angle read", where(m))
	}
	if got := f.shop.View("B1").Summary; got.Complete || !slices.Equal(got.Attention, []string{"check new-bolts is not answered"}) {
		t.Errorf("got %+v, want the one check that no wrench answers", got)
	}
}

func TestGauge_OutsideTheRange(t *testing.T) {
	f := floorWith(t, measuring)
	f.snugAll()
	f.answers("new-bolts", "", "")
	if m := f.pull(10_000, 90_000)[0]; where(m) != "drag: high torque" {
		t.Fatalf("got %q, want drag too high", where(m))
	}
	s := f.shop.View("B1").Summary
	if want := "check drag: 10 N·m, wanted 0 … 9 N·m"; s.Complete || !slices.Contains(s.Attention, want) {
		t.Errorf("got %+v, want %q", s, want)
	}
	t.Run("it may be measured again", func(t *testing.T) {
		if m := f.pull(7_000, 90_000)[0]; where(m) != "drag: pass" {
			t.Errorf("got %q, want drag", where(m))
		}
		if s := f.shop.View("B1").Summary; slices.ContainsFunc(s.Attention, func(a string) bool { return strings.HasPrefix(a, "check drag") }) {
			t.Errorf("got %q, want the newest measurement to count", s.Attention)
		}
	})
	t.Run("the word of a person that comes later counts", func(t *testing.T) {
		f.answers("drag", "", "12 N·m")
		if s := f.shop.View("B1").Summary; !slices.Contains(s.Attention, "check drag: 12 N·m, wanted 0 … 9 N·m") {
			t.Errorf("got %q, want the answer that came last", s.Attention)
		}
	})
}

func TestGauge_NamingWithdraws(t *testing.T) {
	for fastener, want := range map[string]string{"1": "seat 1: low torque", "": ": not judged"} {
		f := floorWith(t, measuring)
		f.snugAll()
		f.answers("new-bolts", "", "")
		f.pull(8_000, 2_000)
		reading := f.seq
		if got := f.asked(); got != "" {
			t.Fatalf("got %q asked, want the check answered", got)
		}
		out := f.must(audit.FastenerNamed{Bench: "B1", Run: 5, Reading: reading, Fastener: fastener, Person: "p1"})
		if len(out.Marks) != 1 || out.Marks[0].Reading != reading || out.Marks[0].No != 2 || where(out.Marks[0]) != want || out.Marks[0].LocatedBy != audit.ByPerson {
			t.Errorf("named %q: got %+v, want a second mark, %q", fastener, out.Marks, want)
		}
		if got := f.asked(); got != "drag" {
			t.Errorf("named %q: got %q asked, want drag again", fastener, got)
		}
	}
}

// locking is a joint of locking nuts: what each takes to run down is measured with the wrench, fastener by fastener.
var locking = strings.Replace(strings.Replace(caps, "    checks:\n", "    prevailing: run-down\n    checks:\n", 1),
	`      - {id: end-float, ask: Crankshaft end float, accept: 0.07..0.23 mm, after: snug}
`, `      - {id: run-down, ask: Torque to run down, accept: 1..6 N·m, each: fastener, by: wrench}
`, 1)

func TestGauge_EachFastener(t *testing.T) {
	f := floorWith(t, locking)
	f.answers("new-bolts", "", "")
	for i, torque := range []int64{4_000, 2_000} {
		if m := f.pull(torque, 170_000)[0]; m.CheckID != "run-down" || m.Fastener != []string{"1", "2"}[i] {
			t.Fatalf("got %+v, want the fasteners in order", m)
		}
	}
	f.must(audit.BadgeGiven{Badge: "b1", Person: "p1", By: "p1"})
	f.scans("badge b1", "fastener 4")
	if m := f.pull(3_000, 170_000)[0]; m.CheckID != "run-down" || m.Fastener != "4" || m.LocatedBy != audit.ByScan {
		t.Errorf("got %+v, want the fastener whose label was scanned", m)
	}
	if got := f.asked(); got != "run-down 3" {
		t.Errorf("got %q asked, want the one left out", got)
	}
	f.answers("run-down", "3", "5 N·m")
	if got := f.asked(); got != "" {
		t.Errorf("got %q asked, want nothing more", got)
	}
	if got := f.shop.View("B1").Next.Target; got != "34 N·m (31 … 37 N·m)" { // FAA AC 43.13-1B, 7-40: the drag is added
		t.Errorf("got %q, want the run-down torque added", got)
	}
	t.Run("a measurement that is withdrawn adds nothing", func(t *testing.T) {
		i := slices.IndexFunc(f.log, func(e audit.Entry) bool { _, ok := e.Event.(audit.ReadingTaken); return ok })
		f.must(audit.FastenerNamed{Bench: "B1", Run: 5, Reading: f.log[i].Seq, Person: "p1"})
		if got := f.shop.View("B1").Next.Target; got != "30 N·m (27 … 33 N·m)" || f.asked() != "run-down 1" {
			t.Errorf("got %q and %q asked, want the bare figure, and the check asked again", got, f.asked())
		}
	})
}

func TestGauge_TheProceduresRulesForWrenchesHold(t *testing.T) {
	strict := strings.Replace(measuring, "joints:\n", "wrench: {out_of_calibration: fail}\njoints:\n", 1)
	f := floorWith(t, strict)
	due := start
	f.snugAll()
	f.must(audit.WrenchDeclared{Wrench: "W1", Due: &due})
	m := f.pull(6_000, 90_000)[0]
	if m.CheckID != "drag" || m.Verdict != audit.WrenchUnfit || !slices.Contains(m.Flags, audit.OutOfCalibration) {
		t.Errorf("got %+v, want no answer that counts from a wrench out of calibration", m)
	}
}

func TestGauge_ALooseningAnswersNothing(t *testing.T) {
	f := floorWith(t, measuring)
	f.snugAll()
	a := unit.Angle(90_000)
	r := device.Reading{Wrench: "W1", Torque: 6 * unit.NewtonMetre, Unit: unit.Nm, Angle: &a, Direction: device.Loosen}
	if m := f.must(audit.ReadingTaken{Bench: "B1", Reading: r}).Marks[0]; m.CheckID != "" {
		t.Errorf("got %+v, want no check", m)
	}
}

// replays applies the log of a floor, read back from the journal's text, to another shop.
func (f *floor) replays() {
	f.t.Helper()
	again, other := bench.NewShop(nil), bench.NewShop(nil)
	for _, e := range f.log {
		body, err := audit.Encode(e.Event)
		if err != nil {
			f.t.Fatal(err)
		}
		ev, err := audit.Decode(e.Event.Kind(), body)
		if err != nil {
			f.t.Fatal(err)
		}
		a, b := again.Apply(e), other.Apply(audit.Entry{Seq: e.Seq, At: e.At, Event: ev})
		if !reflect.DeepEqual(a, audit.Outcome{Entry: e, Marks: b.Marks, Refused: b.Refused}) {
			f.t.Fatalf("entry %d: got %+v from memory and %+v from the journal's text", e.Seq, a.Marks, b.Marks)
		}
	}
	if got, want := other.View("B1"), f.shop.View("B1"); !reflect.DeepEqual(got, want) {
		f.t.Errorf("got %+v, want the bench as it was, %+v", got, want)
	}
}

func TestGauge_SameEntriesSameOutcomes(t *testing.T) {
	f := floorWith(t, measuring)
	f.snugAll()
	f.pull(10_000, 90_000)
	first := f.seq
	f.pull(6_000, 90_000)
	f.pull(60_000, 22_500)
	f.must(audit.FastenerNamed{Bench: "B1", Run: 5, Reading: first, Fastener: "2", Person: "p1"})
	f.must(audit.JointClosed{Bench: "B1", Run: 5, Person: "p1"})
	f.replays()
}
