package bench_test

import (
	"reflect"
	"slices"
	"strings"
	"testing"

	"witnessmark/audit"
	"witnessmark/audit/bench"
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
	again := bench.NewShop()
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
