package bench_test

import (
	"errors"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/device"
	"witnessmark/device/unit"
)

const caps = `format: witnessmark/procedure/1
family: TT-1
revision: "1"
title: Bearing caps
source: invented for this test
decision: simple
joints:
  - id: caps
    title: Caps
    criticality: A
    round: stage
    order: listed
    fasteners:
      - {id: "1", at: [0, 0]}
      - {id: "2", at: [80, 0]}
      - {id: "3", at: [0, 60]}
      - {id: "4", at: [80, 60]}
    checks:
      - {id: new-bolts, ask: New oiled bolts fitted?}
      - {id: end-float, ask: Crankshaft end float, accept: 0.07..0.23 mm, after: snug}
    stages:
      - {id: snug, tighten_to: 30 N·m, accept: ±10 %}
      - {id: seat, tighten_to: 60 N·m, accept: ±5 %}
`

var start = time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)

// floor is a shop with one bench that has the joint caps on it.
type floor struct {
	t    *testing.T
	shop *bench.Shop
	seq  uint64
	log  []audit.Entry

	shelf bench.Shelf
	plain bool // the shop itself goes on
}

func newFloor(t *testing.T) *floor {
	f := &floor{t: t, shelf: &board{}}
	f.shop = bench.NewShop(f.shelf)
	due := start.Add(10 * time.Minute)
	f.must(audit.ProcedureAdded{Family: "TT-1", Revision: "1", Title: "Bearing caps", Text: caps})
	f.must(audit.PersonAdded{Person: "p1", Name: "Ines Falk"})
	f.must(audit.WrenchDeclared{Wrench: "W1", Due: &due, RangeLow: int64(5 * unit.NewtonMetre), RangeHigh: int64(100 * unit.NewtonMetre)})
	f.must(audit.BuildOpened{Engine: "E1", Family: "TT-1", Revision: "1", WorkOrder: "WO1", Person: "p1"})
	f.must(audit.JointStarted{Bench: "B1", Build: 4, Joint: "caps", Person: "p1"})
	return f
}

func (f *floor) apply(ev audit.Event) audit.Outcome {
	f.seq++
	e := audit.Entry{Seq: f.seq, At: start.Add(time.Duration(f.seq) * 20 * time.Second), Event: ev}
	f.log = append(f.log, e)
	out := f.shop.Apply(e)
	f.putBy()
	return out
}

// putBy goes on with the shop that comes out of a snapshot, so that every test is one of that too.
func (f *floor) putBy() {
	f.t.Helper()
	if f.plain {
		return
	}
	again, err := bench.Restored(f.shop.Snapshot(), f.shelf)
	if err != nil {
		f.t.Fatal(err)
	}
	if diff := bench.Unlike(f.shop, again); diff != "" {
		f.t.Fatalf("after entry %d: %s", f.seq, diff)
	}
	f.shop = again
}

func (f *floor) must(ev audit.Event) audit.Outcome {
	f.t.Helper()
	out := f.apply(ev)
	if out.Refused != "" {
		f.t.Fatalf("refused: %s", out.Refused)
	}
	return out
}

func (f *floor) pull(torque, angle int64) []audit.Mark {
	a := unit.Angle(angle)
	r := device.Reading{Wrench: "W1", Torque: unit.Torque(torque * 1000), Unit: unit.Nm, Angle: &a, Direction: device.Tighten}
	return f.must(audit.ReadingTaken{Bench: "B1", Reading: r}).Marks
}

// snugAll tightens the four fasteners in order, each turning about 0.8° per N·m.
func (f *floor) snugAll() {
	for i := range int64(4) {
		f.pull(30_000+i*100, 25_500+i*150)
	}
}

func TestShop_ReadingsBecomeMarksInOrder(t *testing.T) {
	f := newFloor(t)
	for i, want := range []string{"1", "2", "3", "4"} {
		m := f.pull(30_000, 25_500+int64(i)*100)
		if len(m) != 1 || m[0].Fastener != want || m[0].Stage != "snug" || m[0].Verdict != audit.Pass || m[0].No != 1 {
			t.Fatalf("reading %d: got %+v, want a first mark: pass for fastener %s at snug", i+1, m, want)
		}
		if m[0].Family != "TT-1" || m[0].Revision != "1" || m[0].Calibration != 3 || m[0].LocatedBy != audit.ByOrder {
			t.Errorf("got %+v, want the revision, the calibration and the way of locating named", m[0])
		}
	}
	v := f.shop.View("B1")
	if v.Next == nil || v.Next.Stage != "seat" || v.Next.Fastener != "1" || v.Left != 4 || v.Steps != 8 {
		t.Errorf("got %+v, want seat 1 next and 4 of 8 left", v)
	}
}

func TestShop_AskedAtTheRightMoment(t *testing.T) {
	f := newFloor(t)
	ask := func() string {
		if a := f.shop.View("B1").Ask; a != nil {
			return a.Check
		}
		return ""
	}
	if got := ask(); got != "new-bolts" {
		t.Fatalf("before the first stage: got %q, want new-bolts", got)
	}
	f.must(audit.CheckAnswered{Bench: "B1", Run: 5, Check: "new-bolts", Yes: true})
	if got := ask(); got != "" {
		t.Fatalf("during the first stage: got %q, want nothing asked", got)
	}
	f.snugAll()
	if got := ask(); got != "end-float" {
		t.Fatalf("after the first stage: got %q, want end-float", got)
	}
	f.must(audit.CheckAnswered{Bench: "B1", Run: 5, Check: "end-float", Value: "0.31 mm"})
	if got := f.shop.View("B1").Summary.Attention; !slices.Contains(got, "check end-float: 0.31 mm, wanted 0.07 … 0.23 mm") {
		t.Errorf("got %q, want the end float outside its limits among it", got)
	}
}

func TestShop_WrenchFlags(t *testing.T) {
	f := newFloor(t)
	if m := f.pull(3_000, 4_000); !slices.Contains(m[0].Flags, audit.OutOfRange) {
		t.Errorf("got %v, want out of range", m[0].Flags)
	}
	f.seq = 100 // well past the due date
	if m := f.pull(30_000, 25_500); !slices.Contains(m[0].Flags, audit.OutOfCalibration) {
		t.Errorf("got %v, want out of calibration", m[0].Flags)
	}
}

func TestShop_ReadingWithoutJointIsKept(t *testing.T) {
	f := newFloor(t)
	f.must(audit.JointClosed{Bench: "B1", Run: 5})
	m := f.pull(30_000, 25_000)
	if len(m) != 1 || m[0].Run != 0 || m[0].Verdict != audit.NotJudged || !slices.Contains(m[0].Flags, audit.Unexpected) {
		t.Errorf("got %+v, want one unexpected mark that is not judged", m)
	}
}

func TestShop_APersonsWordSupersedes(t *testing.T) {
	f := newFloor(t)
	f.pull(30_000, 25_500)
	f.pull(30_100, 25_700)
	out := f.must(audit.FastenerNamed{Bench: "B1", Run: 5, Reading: 7, Fastener: "3", Person: "p1"})
	i := slices.IndexFunc(out.Marks, func(m audit.Mark) bool { return m.Reading == 7 })
	if i < 0 {
		t.Fatalf("got %+v, want a new mark for reading 7", out.Marks)
	}
	if m := out.Marks[i]; m.No != 2 || m.Fastener != "3" || m.LocatedBy != audit.ByPerson {
		t.Errorf("got %+v, want the second mark: fastener 3, known by a person", m)
	}
}

func TestShop_Refuses(t *testing.T) {
	f := newFloor(t)
	for rule, c := range map[string]struct {
		ev   audit.Event
		want string
	}{
		"the same revision with other content": {audit.ProcedureAdded{Family: "TT-1", Revision: "1", Text: caps + "\n"}, "a revision never changes"},
		"a procedure with faults":              {audit.ProcedureAdded{Family: "TT-1", Revision: "2", Text: "format: x"}, "has faults"},
		"a build of an unknown family":         {audit.BuildOpened{Engine: "E2", Family: "XX", Revision: "1", WorkOrder: "W"}, "add it first"},
		"a build twice":                        {audit.BuildOpened{Engine: "E1", Family: "TT-1", Revision: "1", WorkOrder: "WO1"}, "go on with that one"},
		"a build without an engine":            {audit.BuildOpened{Family: "TT-1", Revision: "1", WorkOrder: "W"}, "serial number"},
		"a joint on a bench that is taken":     {audit.JointStarted{Bench: "B1", Build: 4, Joint: "caps"}, "close it first"},
		"a joint that is on another bench":     {audit.JointStarted{Bench: "B2", Build: 4, Joint: "caps"}, "on bench B1 already"},
		"a joint that the procedure lacks":     {audit.JointStarted{Bench: "B2", Build: 4, Joint: "head"}, "it has: caps"},
		"a close after the joint changed":      {audit.JointClosed{Bench: "B1", Run: 2}, "has changed meanwhile"},
		"a close of an empty bench":            {audit.JointClosed{Bench: "B9", Run: 5}, "start one first"},
		"a check that the joint lacks":         {audit.CheckAnswered{Bench: "B1", Run: 5, Check: "drag"}, "it has: new-bolts, end-float"},
		"a value in the wrong unit":            {audit.CheckAnswered{Bench: "B1", Run: 5, Check: "end-float", Value: "3 N·m"}, "in mm"},
		"a fastener that the joint lacks":      {audit.FastenerNamed{Bench: "B1", Run: 5, Reading: 1, Fastener: "9"}, "does not belong"},
		"a person without a name":              {audit.PersonAdded{Person: "p2"}, "needs a name"},
	} {
		t.Run(rule, func(t *testing.T) {
			err := f.shop.Refusal(c.ev)
			if err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("got %v, want a refusal with %q", err, c.want)
			}
		})
	}
	if err := f.shop.Refusal(audit.ProcedureAdded{Family: "TT-1", Revision: "1", Text: caps}); !errors.Is(err, bench.ErrAlready) {
		t.Errorf("the same revision with the same content: got %v, want ErrAlready", err)
	}
	before := f.shop.Builds()
	if out := f.apply(audit.BuildOpened{Engine: "E2", Family: "XX", Revision: "1", WorkOrder: "W"}); out.Refused == "" || len(f.shop.Builds()) != len(before) {
		t.Errorf("got %+v, want a refused entry that changes nothing", out)
	}
}

func TestShop_SameEntriesSameOutcomes(t *testing.T) {
	f := newFloor(t)
	f.snugAll()
	f.pull(60_000, 22_000)
	f.pull(60_100, 1_200)
	f.pull(50_000, 15_000)
	f.must(audit.FastenerNamed{Bench: "B1", Run: 5, Reading: 12, Fastener: "4", Person: "p1"})
	f.must(audit.JointClosed{Bench: "B1", Run: 5})
	again := bench.NewShop(nil)
	other := bench.NewShop(nil)
	for _, e := range f.log {
		body, err := audit.Encode(e.Event)
		if err != nil {
			t.Fatal(err)
		}
		ev, err := audit.Decode(e.Event.Kind(), body)
		if err != nil {
			t.Fatal(err)
		}
		a, b := again.Apply(e), other.Apply(audit.Entry{Seq: e.Seq, At: e.At, Event: ev})
		if !reflect.DeepEqual(a.Marks, b.Marks) || a.Refused != b.Refused {
			t.Fatalf("entry %d: got %+v from memory and %+v from the journal's text", e.Seq, a.Marks, b.Marks)
		}
	}
}

func TestShop_CleanJointIsComplete(t *testing.T) {
	f := newFloor(t)
	f.snugAll()
	for i := range int64(4) {
		f.pull(60_000, 22_500+i*100)
	}
	f.must(audit.CheckAnswered{Bench: "B1", Run: 5, Check: "new-bolts", Yes: true})
	f.must(audit.CheckAnswered{Bench: "B1", Run: 5, Check: "end-float", Value: "0.12 mm"})
	s := f.shop.View("B1").Summary
	if !s.Complete || len(s.Open) != 0 || len(s.Attention) != 0 {
		t.Errorf("got %+v, want complete with nothing to say", s)
	}
}
