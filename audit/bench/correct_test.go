package bench_test

import (
	"reflect"
	"slices"
	"strings"
	"testing"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/device"
	"witnessmark/device/unit"
)

func (f *floor) correct(reading uint64, fastener, stage string) []audit.Mark {
	f.t.Helper()
	return f.must(f.shop.Correcting(audit.CorrectionMade{Reading: reading, Fastener: fastener, Stage: stage, Reason: "seen from the next bench", Person: "p1"})).Marks
}

func TestCorrection_OnTheBenchWeighsEverythingAgain(t *testing.T) {
	f := newFloor(t)
	f.snugAll()
	m := f.correct(9, "", "") // fastener 4
	if len(m) == 0 || m[0].Reading != 9 || m[0].Fastener != "" || m[0].LocatedBy != audit.ByPerson || m[0].No != 2 {
		t.Fatalf("got %+v, want a second mark of reading 9: none of this joint, by a person", m)
	}
	if v := f.shop.View("B1"); v.Next == nil || v.Next.Stage != "snug" || v.Next.Fastener != "4" {
		t.Errorf("got %+v next, want fastener 4 at snug", v.Next)
	}
	if got := f.finding("unexpected:9"); got != nil {
		t.Errorf("got %+v, want nothing: a person has explained the reading", got)
	}
}

func TestCorrection_AfterTheClose(t *testing.T) {
	f := finished(t) // the readings are 8 to 11 and 13 to 16
	m := f.correct(16, "3", "")
	if len(m) != 1 || m[0].Fastener != "3" || m[0].Stage != "seat" || m[0].Verdict != audit.Pass || m[0].No != 2 ||
		m[0].LocatedBy != audit.ByPerson || !slices.Contains(m[0].Flags, audit.ReHit) {
		t.Fatalf("got %+v, want reading 16 as a second hit of fastener 3", m)
	}
	if got := f.review(); !slices.Equal(got, []string{"step:caps/seat/4", "re-hit:16"}) {
		t.Errorf("got %q, want fastener 4 open", got)
	}
	m = f.correct(16, "4", "snug") // 60 N·m where 30 N·m is wanted
	if len(m) != 1 || m[0].Verdict != audit.HighTorque || m[0].Stage != "snug" || m[0].No != 3 {
		t.Errorf("got %+v, want high torque at the stage that was named", m)
	}
	m = f.correct(16, "4", "seat")
	if len(m) != 1 || m[0].Verdict != audit.Pass || m[0].No != 4 || len(f.review()) != 0 {
		t.Errorf("got %+v and %q, want all good again", m, f.review())
	}
}

// A joint that was closed half done still has its matcher.
func TestCorrection_AfterAnEarlyClose(t *testing.T) {
	f := newFloor(t)
	f.snugAll()
	f.must(audit.JointClosed{Bench: "B1", Run: 5, Person: "p1"})
	f.correct(8, "3", "snug")
	m := f.correct(9, "3", "snug")
	if len(m) == 0 || m[len(m)-1].Reading != 9 || m[len(m)-1].Fastener != "3" || m[len(m)-1].Stage != "snug" {
		t.Errorf("got %+v, want reading 9 at fastener 3", m)
	}
	if got := f.finding("step:caps/snug/4"); got == nil || got.Subject != bench.StepOpen {
		t.Errorf("got %+v, want fastener 4 open", got)
	}
}

// What a reading was out of, it stays out of when a person confirms it.
func TestCorrection_KeepsTheOrderInSight(t *testing.T) {
	f := newFloor(t)
	f.must(audit.CheckAnswered{Bench: "B1", Run: 5, Check: "new-bolts", Yes: true, Person: "p1"})
	f.snugAll() // 7 to 10
	f.must(audit.CheckAnswered{Bench: "B1", Run: 5, Check: "end-float", Value: "0.12 mm", Person: "p1"})
	said := map[uint64]bool{}                               // by the matcher
	for i, fastener := range []string{"1", "3", "4", "2"} { // 12 to 18
		f.pull(60_000+int64(i)*50, 25_000+int64(i)*150)
		f.must(audit.FastenerNamed{Bench: "B1", Run: 5, Reading: f.seq, Fastener: fastener, Person: "p1"})
		said[f.seq-1] = slices.Contains(f.shop.View("B1").Last.Mark.Flags, audit.OutOfOrder)
	}
	f.must(audit.JointClosed{Bench: "B1", Run: 5, Person: "p1"})
	for reading, want := range map[uint64]bool{12: false, 14: true, 16: false, 18: false} {
		fastener := map[uint64]string{12: "1", 14: "3", 16: "4", 18: "2"}[reading]
		m := f.correct(reading, fastener, "seat")
		if len(m) != 1 || said[reading] != want || slices.Contains(m[0].Flags, audit.OutOfOrder) != want || m[0].Verdict != audit.Pass {
			t.Errorf("reading %d: got %+v after %v, want out of order %v", reading, m, said[reading], want)
		}
	}
}

func TestCorrection_Refusals(t *testing.T) {
	f := finished(t)
	good := audit.CorrectionMade{Build: 4, Run: 5, Reading: 16, Fastener: "3", Reason: "seen", Person: "p1"}
	for name, tc := range map[string]struct {
		change func(*audit.CorrectionMade)
		says   string
	}{
		"a reading of no joint":           {func(c *audit.CorrectionMade) { c.Reading = 5 }, "belongs to no joint"},
		"a reading of another build":      {func(c *audit.CorrectionMade) { c.Build = 3 }, "belongs to no joint"},
		"a fastener that the joint lacks": {func(c *audit.CorrectionMade) { c.Fastener = "9" }, "no fastener"},
		"a stage that the joint lacks":    {func(c *audit.CorrectionMade) { c.Stage = "turn" }, "name one that does"},
		"a stage of no fastener":          {func(c *audit.CorrectionMade) { c.Fastener, c.Stage = "", "seat" }, "leave the stage out"},
		"no reason":                       {func(c *audit.CorrectionMade) { c.Reason = "" }, "needs a reason"},
		"nobody":                          {func(c *audit.CorrectionMade) { c.Person = "" }, "needs a person"},
	} {
		t.Run(name, func(t *testing.T) {
			ev := good
			tc.change(&ev)
			if err := f.shop.Refusal(ev); err == nil || !strings.Contains(err.Error(), tc.says) {
				t.Errorf("got %v, want %q", err, tc.says)
			}
		})
	}
}

func TestCorrection_StageThatDoesNotFollow(t *testing.T) {
	f := newFloor(t)
	f.must(audit.CheckAnswered{Bench: "B1", Run: 5, Check: "new-bolts", Yes: true, Person: "p1"})
	f.pull(45_000, 9_000) // good for no stage
	f.must(audit.FastenerNamed{Bench: "B1", Run: 5, Reading: 7, Person: "p1"})
	f.snugAll()
	f.must(audit.CheckAnswered{Bench: "B1", Run: 5, Check: "end-float", Value: "0.12 mm", Person: "p1"})
	f.seatAll("B1", 4)
	f.must(audit.JointClosed{Bench: "B1", Run: 5, Person: "p1"})
	ev := audit.CorrectionMade{Build: 4, Run: 5, Reading: 7, Fastener: "3", Reason: "seen", Person: "p1"}
	if err := f.shop.Refusal(ev); err == nil || !strings.Contains(err.Error(), "name the stage") {
		t.Errorf("got %v, want that the stage is asked for", err)
	}
	if m := f.correct(7, "3", "snug"); len(m) != 1 || m[0].Verdict != audit.HighTorque {
		t.Errorf("got %+v, want high torque at the stage that was named", m)
	}
}

func TestCorrection_ReplayGivesTheSame(t *testing.T) {
	f := finished(t)
	f.correct(16, "3", "")
	f.correct(16, "4", "seat")
	f.must(f.release())
	f.must(audit.BuildReopened{Build: 4, Reason: "asked for", Person: "p1"})
	f.correct(15, "", "")
	f.must(f.shop.Conceding(concession("step:caps/seat/3")))
	f.must(f.release())
	again := bench.NewShop(nil)
	for _, e := range f.log {
		body, err := audit.Encode(e.Event)
		if err != nil {
			t.Fatal(err)
		}
		if e.Event, err = audit.Decode(e.Event.Kind(), body); err != nil { // as it comes out of the journal
			t.Fatal(err)
		}
		again.Apply(e)
	}
	a, _ := f.shop.Review(4)
	b, _ := again.Review(4)
	if !reflect.DeepEqual(a, b) || a.Standing != bench.Released || len(a.Findings) != 1 {
		t.Errorf("got %+v\nand %+v, want the same review with one concession", a, b)
	}
}

func TestCorrection_TheJointIsTakenUpAgain(t *testing.T) {
	f := finished(t)
	f.correct(15, "", "") // fastener 3 at seat was a test on the block
	out := f.startAgain("B1", "p1", false)
	if ev := out.Entry.Event.(audit.JointStarted); ev.Continues != 5 {
		t.Fatalf("got %+v, want run 5 taken up again", ev)
	}
	if v := f.shop.View("B1"); v.Next == nil || v.Next.Stage != "seat" || v.Next.Fastener != "3" || v.Left != 1 {
		t.Fatalf("got %+v and %d left, want fastener 3 at seat alone", v.Next, v.Left)
	}
	m := f.pull(60_200, 25_100)
	if len(m) != 1 || m[0].Fastener != "3" || m[0].Stage != "seat" || m[0].Verdict != audit.Pass {
		t.Errorf("got %+v, want that step done and nothing else said again", m)
	}
	if out := f.must(audit.JointClosed{Bench: "B1", Run: f.shop.Run("B1"), Person: "p1"}); len(out.Marks) != 0 {
		t.Errorf("got %+v, want what was settled to stay", out.Marks)
	}
	if got := f.review(); len(got) != 0 {
		t.Errorf("got %q, want nothing in the way", got)
	}
	f.replays()
}

func TestRelease_AConcededJointIsTakenUpAfterReopening(t *testing.T) {
	f := newFloor(t)
	f.must(audit.PersonAdded{Person: "p2", Name: "Odo Brandt"})
	f.must(audit.CheckAnswered{Bench: "B1", Run: 5, Check: "new-bolts", Yes: true, Person: "p1"})
	f.snugAll()
	f.must(audit.CheckAnswered{Bench: "B1", Run: 5, Check: "end-float", Value: "0.12 mm", Person: "p1"})
	f.seatAll("B1", 3)
	f.must(audit.JointClosed{Bench: "B1", Run: 5, Person: "p1"})
	f.must(f.shop.Conceding(concession("step:caps/seat/4")))
	f.must(f.release())
	if got, _ := f.shop.Review(4); len(got.Findings) != 1 || got.Findings[0].Conceded == nil {
		t.Errorf("got %+v, want what was conceded in sight after the release", got.Findings)
	}
	f.must(audit.BuildReopened{Build: 4, Reason: "to be done after all", Person: "p1"})
	f.startAgain("B1", "p1", false)
	if m := f.pull(60_300, 22_900); len(m) != 1 || m[0].Fastener != "4" || m[0].Stage != "seat" || m[0].Verdict != audit.Pass {
		t.Errorf("got %+v, want the step that was left", m)
	}
	f.must(audit.JointClosed{Bench: "B1", Run: f.shop.Run("B1"), Person: "p1"})
	if got := f.review(); len(got) != 0 {
		t.Errorf("got %q, want nothing in the way", got)
	}
	f.replays()
}

// A reading that measured a check was a pull of a fastener after all.
func TestCorrection_OfAMeasuredCheck(t *testing.T) {
	f := floorWith(t, strings.Replace(caps, "after: snug}\n", "after: snug}\n      - {id: drag, ask: Turning torque, accept: 0..9 N·m, by: wrench, after: snug}\n", 1))
	f.must(audit.CheckAnswered{Bench: "B1", Run: 5, Check: "new-bolts", Yes: true, Person: "p1"})
	f.snugAll()
	f.must(audit.CheckAnswered{Bench: "B1", Run: 5, Check: "end-float", Value: "0.12 mm", Person: "p1"})
	m := f.pull(6_000, 180_000)
	if len(m) != 1 || m[0].CheckID != "drag" {
		t.Fatalf("got %+v, want the check measured", m)
	}
	f.seatAll("B1", 4)
	f.must(audit.JointClosed{Bench: "B1", Run: 5, Person: "p1"})
	if got := f.review(); len(got) != 0 {
		t.Fatalf("got %q, want nothing in the way", got)
	}
	f.correct(m[0].Reading, "", "")
	if got := f.review(); !slices.Equal(got, []string{"check:caps/drag"}) {
		t.Errorf("got %q, want the check open again", got)
	}
	f.replays()
}

// A reading that came with no joint on the bench gets into one by a person's word, before or after that joint is closed, and
// released too: its place is that of its entry.
func TestCorrection_OfAReadingWithNoJoint(t *testing.T) {
	adopt := func(f *floor, reading uint64, fastener, stage string) audit.Outcome {
		ev, err := f.shop.Adopting(audit.CorrectionMade{Build: 4, Reading: reading, Fastener: fastener, Stage: stage, Reason: "forgot to start it", Person: "p1"}, "caps")
		if err != nil {
			f.t.Fatal(err)
		}
		return f.must(ev)
	}
	loose := func(f *floor, torque int64) uint64 {
		f.with("B2", torque)
		return f.seq
	}
	t.Run("while the joint is on its bench it goes on from there", func(t *testing.T) {
		f := newFloor(t)
		reading := loose(f, 30_000)
		m := adopt(f, reading, "1", "").Marks
		if len(m) != 1 || m[0].No != 2 || m[0].Stage != "snug" || m[0].Fastener != "1" || m[0].Verdict != audit.Pass || m[0].Run != 5 || m[0].LocatedBy != audit.ByPerson {
			t.Fatalf("got %+v, want a second mark in the joint", m)
		}
		if got := f.pull(30_000, 25_500); got[0].Fastener != "2" {
			t.Errorf("got %+v next, want fastener 2", got)
		}
		f.replaysFromText()
	})
	t.Run("of a joint that is closed", func(t *testing.T) {
		f := newFloor(t)
		f.snugAll()
		f.seatAll("B1", 3)
		f.must(audit.JointClosed{Bench: "B1", Run: 5, Person: "p1"})
		reading := loose(f, 60_000)
		if adopt(f, reading, "4", "seat"); slices.Contains(f.review(), "step:caps/seat/4") {
			t.Errorf("got %q, want the step done", f.review())
		}
		f.replaysFromText()
	})
	t.Run("refused", func(t *testing.T) {
		f := finished(t)
		reading := loose(f, 45_000)
		good := audit.CorrectionMade{Build: 4, Run: 5, Reading: reading, Fastener: "1", Stage: "snug", Reason: "seen", Person: "p1"}
		for rule, c := range map[string]struct {
			change func(*audit.CorrectionMade)
			want   string
		}{
			"no build":         {func(e *audit.CorrectionMade) { e.Build = 0 }, "name the build and the joint"},
			"another run":      {func(e *audit.CorrectionMade) { e.Run = 4 }, "name the build and the joint"},
			"no fastener":      {func(e *audit.CorrectionMade) { e.Fastener = "" }, "say which fastener"},
			"one of none":      {func(e *audit.CorrectionMade) { e.Fastener = "9" }, "no fastener"},
			"no stage follows": {func(e *audit.CorrectionMade) { e.Stage = "" }, "name the stage"},
			"no reason":        {func(e *audit.CorrectionMade) { e.Reason = "" }, "reason"},
		} {
			ev := good
			c.change(&ev)
			if err := f.shop.Refusal(ev); err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("%s: got %v, want %q", rule, err, c.want)
			}
		}
		f.must(f.release())
		if err := f.shop.Refusal(good); err == nil || !strings.Contains(err.Error(), "reopen it first") {
			t.Errorf("released: got %v", err)
		}
	})
}

// with is a pull at a bench that has no joint.
func (f *floor) with(bench string, torque int64) {
	f.t.Helper()
	a := unit.Angle(25_500)
	f.must(audit.ReadingTaken{Bench: bench, Reading: device.Reading{Wrench: "W1", Torque: unit.Torque(torque * 1000), Unit: unit.Nm, Angle: &a, Direction: device.Tighten}})
}
