package bench_test

import (
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/device"
	"witnessmark/device/label"
	"witnessmark/device/unit"
)

// at pulls at a bench with that bench's wrench, in thousandths of N·m and degrees; a negative angle turns back.
func (f *floor) at(benchID string, torque, angle int64) audit.Outcome {
	f.t.Helper()
	r := device.Reading{Wrench: "W1", Torque: unit.Torque(torque * 1000), Unit: unit.Nm, Direction: device.Tighten}
	if benchID != "B1" {
		r.Wrench = "W-" + benchID
	}
	a := unit.Angle(max(angle, -angle))
	r.Angle = &a
	if angle < 0 {
		r.Direction = device.Loosen
	}
	return f.must(audit.ReadingTaken{Bench: benchID, Reading: r})
}

func (f *floor) seatAll(benchID string, n int64) {
	for i := range n {
		f.at(benchID, 60_000, 22_500+i*100)
	}
}

// starting is a start of joint caps of build 4 as the shop completes it.
func (f *floor) starting(benchID, person string, afresh bool) (audit.JointStarted, error) {
	return f.shop.Starting(audit.JointStarted{Bench: benchID, Build: 4, Joint: "caps", Person: person, Afresh: afresh})
}

func (f *floor) startAgain(benchID, person string, afresh bool) audit.Outcome {
	f.t.Helper()
	ev, err := f.starting(benchID, person, afresh)
	if err != nil {
		f.t.Fatal(err)
	}
	return f.must(ev)
}

// halfDone closes the joint after its first stage and one fastener of the second, with the checks answered.
func halfDone(t *testing.T) *floor {
	f := newFloor(t)
	f.must(audit.CheckAnswered{Bench: "B1", Run: 5, Check: "new-bolts", Yes: true})
	f.snugAll()
	f.must(audit.CheckAnswered{Bench: "B1", Run: 5, Check: "end-float", Value: "0.12 mm"})
	f.seatAll("B1", 1)
	f.must(audit.JointClosed{Bench: "B1", Run: 5})
	return f
}

// replaysFromText applies the same entries to a new shop, from their journal text, and wants the same outcomes.
func (f *floor) replaysFromText() {
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
		if !reflect.DeepEqual(a.Marks, b.Marks) || a.Refused != b.Refused {
			f.t.Fatalf("entry %d: got %+v from memory and %+v from the journal's text", e.Seq, a, b)
		}
	}
	for _, at := range []string{"B1", "B2"} {
		if a, b := f.shop.View(at), other.View(at); !reflect.DeepEqual(a, b) {
			f.t.Errorf("bench %s: got %+v, want %+v as it was", at, b, a)
		}
	}
}

func TestShop_TakenUpAgain(t *testing.T) {
	f := halfDone(t)
	run := f.startAgain("B2", "p1", false).Entry
	if ev := run.Event.(audit.JointStarted); ev.Continues != 5 {
		t.Fatalf("got %+v, want run 5 taken up again", ev)
	}
	v := f.shop.View("B2")
	if !v.Resumed || v.Left != 3 || v.Next.Stage != "seat" || v.Next.Fastener != "2" || v.Ask != nil {
		t.Fatalf("got %+v, want seat 2 next, 3 steps left and no check asked again", v)
	}
	m := f.at("B2", 60_000, 22_700).Marks
	if len(m) != 1 || m[0].Run != run.Seq || m[0].Fastener != "2" || m[0].Stage != "seat" || slices.Contains(m[0].Flags, audit.OutOfOrder) {
		t.Errorf("got %+v, want seat 2 in order, in run %d", m, run.Seq)
	}
	f.seatAll("B2", 2)
	if s := f.shop.View("B2").Summary; !s.Complete || len(s.Attention) != 0 {
		t.Errorf("got %+v, want complete with nothing to say", s)
	}
	t.Run("what is said anew of an earlier reading names the run that it was taken in", func(t *testing.T) {
		for _, m := range f.must(audit.FastenerNamed{Bench: "B2", Run: run.Seq, Reading: 7, Fastener: "2"}).Marks {
			if want := map[bool]uint64{true: 5, false: run.Seq}[m.Reading < run.Seq]; m.Run != want {
				t.Errorf("got %+v, want run %d", m, want)
			}
		}
	})
	f.replaysFromText()
}

// The next day's first pull shows that the last stage of the day before had been left with one missed.
func TestShop_TakenUpAgainRestatesOldReadings(t *testing.T) {
	f := newFloor(t)
	f.pull(30_000, 25_500)
	f.pull(30_100, 25_700)
	f.must(audit.JointClosed{Bench: "B1", Run: 5})
	run := f.startAgain("B2", "p1", false).Entry.Seq
	f.at("B2", 30_000, 25_600)
	out := f.must(audit.FastenerNamed{Bench: "B2", Run: run, Reading: 7, Fastener: "4"})
	i := slices.IndexFunc(out.Marks, func(m audit.Mark) bool { return m.Reading == 7 })
	if i < 0 || out.Marks[i].Run != 5 || out.Marks[i].No != 2 || out.Marks[i].Fastener != "4" {
		t.Errorf("got %+v, want a second mark of reading 7, still in run 5", out.Marks)
	}
	f.replaysFromText()
}

func TestShop_BegunAfresh(t *testing.T) {
	f := halfDone(t)
	run := f.startAgain("B1", "p1", true).Entry.Seq
	v := f.shop.View("B1")
	if v.Resumed || v.Left != 8 || v.Next.Stage != "snug" || v.Ask == nil {
		t.Errorf("got %+v, want all eight steps open and the first check asked again", v)
	}
	if m := f.pull(30_000, 25_500); m[0].Run != run || m[0].Fastener != "1" || m[0].Verdict != audit.Pass {
		t.Errorf("got %+v, want a pass for fastener 1", m)
	}
	f.must(audit.JointClosed{Bench: "B1", Run: run})
	if ev, err := f.starting("B1", "p1", false); err != nil || ev.Continues != run {
		t.Errorf("got %+v, %v, want the newest attempt, run %d, taken up again", ev, err, run)
	}
	f.replaysFromText()
}

func TestShop_CompleteIsStartedAgainOnlyAfresh(t *testing.T) {
	f := halfDone(t)
	run := f.startAgain("B1", "p1", false).Entry.Seq
	f.seatAll("B1", 3)
	f.must(audit.JointClosed{Bench: "B1", Run: run})
	if _, err := f.starting("B1", "p1", false); err == nil || !strings.Contains(err.Error(), "--afresh") {
		t.Errorf("got %v, want a sentence that names --afresh", err)
	}
	f.startAgain("B1", "p1", true)
	if ev, err := f.starting("B2", "p1", false); err != nil || f.shop.Refusal(ev) == nil || !strings.Contains(f.shop.Refusal(ev).Error(), "on bench B1 already") {
		t.Errorf("got %+v, %v, want the bench named where it is worked on now", ev, err)
	}
	if v := f.shop.View("B1"); v.Left != 8 {
		t.Errorf("got %d steps left, want all 8", v.Left)
	}
	f.replaysFromText()
}

// A joint whose steps are all done is not complete while a check is open.
func TestShop_TakenUpForACheck(t *testing.T) {
	f := newFloor(t)
	f.must(audit.CheckAnswered{Bench: "B1", Run: 5, Check: "new-bolts", Yes: true})
	f.snugAll()
	f.seatAll("B1", 4)
	f.must(audit.JointClosed{Bench: "B1", Run: 5})
	run := f.startAgain("B1", "p1", false).Entry.Seq
	f.must(audit.CheckAnswered{Bench: "B1", Run: run, Check: "end-float", Value: "0.12 mm"})
	if v := f.shop.View("B1"); v.Left != 0 || !v.Summary.Complete {
		t.Errorf("got %+v, want complete by that one answer", v)
	}
	f.replaysFromText()
}

func TestShop_RefusesToContinue(t *testing.T) {
	f := halfDone(t)
	start := audit.JointStarted{Bench: "B2", Build: 4, Joint: "caps", Continues: 5}
	for rule, c := range map[string]struct {
		change func(*audit.JointStarted)
		want   string
	}{
		"a run that is not the unfinished one": {func(ev *audit.JointStarted) { ev.Continues = 3 }, "worked on meanwhile"},
		"both at once":                         {func(ev *audit.JointStarted) { ev.Afresh = true }, "say which"},
		"a joint that the procedure lacks":     {func(ev *audit.JointStarted) { ev.Joint = "head" }, "it has: caps"},
	} {
		ev := start
		c.change(&ev)
		if err := f.shop.Refusal(ev); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: got %v, want a refusal with %q", rule, err, c.want)
		}
	}
	f.must(start)
	start.Bench = "B1"
	if err := f.shop.Refusal(start); err == nil || !strings.Contains(err.Error(), "on bench B2 already") {
		t.Errorf("got %v, want the other bench named", err)
	}
	f.must(audit.JointClosed{Bench: "B2", Run: f.shop.Run("B2")})
	if err := f.shop.Refusal(start); err == nil || !strings.Contains(err.Error(), "worked on meanwhile") {
		t.Errorf("got %v for a run that was taken up and left again, want it refused as stale", err)
	}
}

// Journals from before there was a choice have starts that name nothing; they began from slack and still do.
func TestShop_OldStartsBeginFromSlack(t *testing.T) {
	f := halfDone(t)
	f.must(audit.JointStarted{Bench: "B1", Build: 4, Joint: "caps", Person: "p1"})
	if v := f.shop.View("B1"); v.Left != 8 || v.Resumed {
		t.Errorf("got %+v, want all eight steps open", v)
	}
	body, err := audit.Encode(audit.JointStarted{Bench: "B1", Build: 4, Joint: "caps", Person: "p1"})
	if want := `{"bench":"B1","build":4,"joint":"caps","person":"p1"}`; err != nil || string(body) != want {
		t.Errorf("got %s, %v, want %s as it always was", body, err, want)
	}
}

func TestShop_ScanTakesUpAgain(t *testing.T) {
	f := halfDone(t)
	f.must(audit.BadgeGiven{Badge: "b1", Person: "p1", By: "p1"})
	f.onB2(label.Badge, "b1")
	f.onB2(label.Engine, "E1")
	scan := f.onB2(label.Joint, "CAPS").Entry.Event.(audit.LabelScanned)
	started := f.shop.Follows(scan).(audit.JointStarted)
	if started.Continues != 5 || started.Joint != "caps" {
		t.Fatalf("got %+v, want run 5 taken up again", started)
	}
	run := f.must(started).Entry.Seq
	f.seatAll("B2", 3)
	f.must(audit.JointClosed{Bench: "B2", Run: run})
	scan = f.shop.Scanned(audit.LabelScanned{Bench: "B2", Scanner: "S", Label: label.Joint, Value: "CAPS"})
	if err := f.shop.Refusal(scan); err == nil || !strings.Contains(err.Error(), "--afresh") {
		t.Errorf("got %v for a joint that is complete, want --afresh named", err)
	}
	f.replaysFromText()
}

func (f *floor) onB2(kind label.Kind, value string) audit.Outcome {
	f.t.Helper()
	return f.must(f.shop.Scanned(audit.LabelScanned{Bench: "B2", Scanner: "S", Label: kind, Value: value, Text: value}))
}

// Two technicians work on two joints of one engine: each bench follows its own.
func TestShop_OneEngineOnTwoBenches(t *testing.T) {
	f := &floor{t: t, shop: bench.NewShop(nil)}
	text := strings.Replace(caps, "joints:\n", "joints:\n  - {id: pan, title: Pan, criticality: C, round: stage, order: listed, fasteners: [{id: a}, {id: b}], stages: [{id: fit, tighten_to: 10 N·m, accept: ±10 %}]}\n", 1)
	f.must(audit.ProcedureAdded{Family: "TT-1", Revision: "1", Title: "Bearing caps", Text: text})
	f.must(audit.PersonAdded{Person: "p1", Name: "Ines Falk"})
	f.must(audit.PersonAdded{Person: "p2", Name: "Bo Lind"})
	f.must(audit.BuildOpened{Engine: "E1", Family: "TT-1", Revision: "1", WorkOrder: "WO1", Person: "p1"})
	f.must(audit.JointStarted{Bench: "B1", Build: 4, Joint: "caps", Person: "p1"})
	f.must(audit.JointStarted{Bench: "B2", Build: 4, Joint: "pan", Person: "p2"})
	var got []string
	for i := range int64(2) {
		for _, m := range []audit.Mark{f.at("B1", 30_000, 25_500+i*100).Marks[0], f.at("B2", 10_000, 12_000+i*100).Marks[0]} {
			got = append(got, fmt.Sprintf("%d %s %s %s %s", m.Run, m.Joint, m.Stage, m.Fastener, m.Verdict))
		}
	}
	if want := []string{"5 caps snug 1 pass", "6 pan fit a pass", "5 caps snug 2 pass", "6 pan fit b pass"}; !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
	if s := f.shop.View("B2").Summary; !s.Complete {
		t.Errorf("got %+v, want the pan complete while the caps are not", s)
	}
	f.replaysFromText()
}
