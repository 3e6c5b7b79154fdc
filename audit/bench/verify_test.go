package bench_test

import (
	"reflect"
	"slices"
	"strings"
	"testing"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/audit/procedure"
)

// residual is the joint caps with a verification round, and a check after it.
var residual = strings.Replace(strings.Replace(caps, "      - {id: seat, tighten_to: 60 N·m, accept: ±5 %}\n",
	"      - {id: seat, tighten_to: 60 N·m, accept: ±5 %}\n      - {id: residual, verify: 57..75 N·m}\n", 1),
	"accept: 0.07..0.23 mm, after: snug}", "accept: 0.07..0.23 mm, after: snug}\n      - {id: paint, ask: Paint marks drawn?, after: residual}", 1)

// tightened is a floor whose joint is done but for its verification.
func tightened(t *testing.T) *floor {
	f := floorWith(t, residual)
	f.answers("new-bolts", "", "")
	f.snugAll()
	f.answers("end-float", "", "0.12 mm")
	for i := range int64(4) {
		f.pull(60_000, 22_500+i*100)
	}
	return f
}

func TestVerification_KeepsNoJointFromBeingComplete(t *testing.T) {
	f := floorWith(t, residual)
	f.snugAll()
	v := f.shop.View("B1")
	if v.Left != 4 || v.Steps != 8 || v.Next.Stage != "seat" || v.Next.Verify {
		t.Errorf("got %d of %d left and %+v next, want the verification not counted, and asked for last", v.Left, v.Steps, v.Next)
	}
	want := []bench.OpenStage{{Stage: "residual", Fasteners: []string{"1", "2", "3", "4"}}}
	if s := v.Summary; !reflect.DeepEqual(s.Verification, want) || len(s.Open) != 1 || s.Open[0].Stage != "seat" {
		t.Errorf("got %+v, want the verification listed apart", s)
	}
	f = tightened(t)
	v = f.shop.View("B1")
	if s := v.Summary; !s.Complete || len(s.Open) != 0 || !reflect.DeepEqual(s.Verification, want) || len(s.Attention) != 0 {
		t.Errorf("got %+v, want a complete joint whose verification is still open", s)
	}
	if v.Left != 0 || v.Next == nil || !v.Next.Verify || v.Next.Fastener != "1" || v.Next.Target != "find where it moves (57 … 75 N·m)" {
		t.Errorf("got %d left and %+v, want the first verification next", v.Left, v.Next)
	}
	if !strings.Contains(v.Last.Advice, "Nothing is left to tighten in this joint; its verification is still open. Next: fastener 1") {
		t.Errorf("got %q, want to be told that all is tightened", v.Last.Advice)
	}
}

func TestVerification_ARound(t *testing.T) {
	f := tightened(t)
	for i, torque := range []int64{64_000, 71_000, 61_000, 66_000} {
		m := f.pull(torque, 1_500+int64(i)*100)[0]
		if m.Stage != "residual" || m.Fastener != []string{"1", "2", "3", "4"}[i] || m.Verdict != audit.Pass || len(m.Flags) != 0 {
			t.Errorf("got %+v, want a good verification of the next one", m)
		}
	}
	v := f.shop.View("B1")
	if v.Next != nil || len(v.Summary.Verification) != 0 || f.asked() != "paint" || v.Summary.Complete {
		t.Errorf("got %+v and %q asked, want nothing left but the check after it", v.Summary, f.asked())
	}
	f.answers("paint", "", "")
	if s := f.shop.View("B1").Summary; !s.Complete || len(s.Attention) != 0 {
		t.Errorf("got %+v, want a complete joint", s)
	}
	f.must(audit.JointClosed{Bench: "B1", Run: 5, Person: "p1"})
	f.replays()
}

func TestVerification_Failed(t *testing.T) {
	f := tightened(t)
	f.pull(64_000, 1_500)
	m := f.pull(50_000, 1_600)[0]
	if where(m) != "residual 2: low torque" {
		t.Fatalf("got %q, want the second too low", where(m))
	}
	v := f.shop.View("B1")
	want := "stage residual, fastener 2: low torque at the verification: the engine maker's procedure says what follows"
	if s := v.Summary; s.Complete || len(s.Open) != 0 || !slices.Contains(s.Attention, want) {
		t.Errorf("got %+v, want the joint not complete, and %q", s, want)
	}
	if v.Next.Fastener != "3" || !strings.Contains(v.Last.Advice, "Fastener 2: low torque. Stop: the engine maker's procedure says what follows.") {
		t.Errorf("got %+v next and %q, want to be told to stop", v.Next, v.Last.Advice)
	}
	t.Run("another pull does not make it good", func(t *testing.T) {
		f.pull(62_000, 1_700)
		f.must(audit.FastenerNamed{Bench: "B1", Run: 5, Reading: f.seq, Fastener: "2", Person: "p1"})
		if s := f.shop.View("B1").Summary; s.Complete || !slices.Contains(s.Attention, want) {
			t.Errorf("got %+v, want the failure to stand", s)
		}
	})
}

// The round is often made on another day, at another bench, by another person.
func TestVerification_InALaterRun(t *testing.T) {
	f := tightened(t)
	f.must(audit.JointClosed{Bench: "B1", Run: 5, Person: "p1"})
	f.must(audit.PersonAdded{Person: "p2", Name: "Odo Brandt"})
	f.must(audit.WrenchDeclared{Wrench: "W-B2"})
	want := []string{"step:caps/residual/1", "step:caps/residual/2", "step:caps/residual/3", "step:caps/residual/4", "check:caps/paint"}
	if got := f.review(); !slices.Equal(got, want) {
		t.Errorf("got %q in the way of the release, want %q", got, want)
	}
	start := f.startAgain("B2", "p2", false).Entry
	if got := start.Event.(audit.JointStarted).Continues; got != 5 {
		t.Fatalf("got a run that continues %d, want the one that tightened", got)
	}
	v := f.shop.View("B2")
	if v.Next == nil || !v.Next.Verify || v.Next.Fastener != "1" || !v.Resumed || !v.Summary.Complete {
		t.Fatalf("got %+v, want the first verification asked for", v)
	}
	for i, torque := range []int64{64_000, 71_000, 61_000, 66_000} {
		m := f.at("B2", torque, 1_500+int64(i)*100).Marks[0]
		if where(m) != "residual "+v.Next.Fastener+": pass" && i == 0 || m.Stage != "residual" || m.Run != start.Seq {
			t.Errorf("got %+v, want a verification in the second run", m)
		}
	}
	f.must(audit.CheckAnswered{Bench: "B2", Run: start.Seq, Check: "paint", Yes: true, Person: "p2"})
	f.must(audit.JointClosed{Bench: "B2", Run: start.Seq, Person: "p2"})
	if got := f.review(); len(got) != 0 {
		t.Errorf("got %q in the way of the release, want nothing", got)
	}
	if _, err := f.starting("B1", "p1", false); err == nil || !strings.Contains(err.Error(), "is complete") {
		t.Errorf("got %v, want a joint that is verified too to be complete", err)
	}
	f.replays()
}

func TestReview_AVerificationThatFailed(t *testing.T) {
	f := tightened(t)
	f.pull(64_000, 1_500)
	f.pull(50_000, 1_600)
	f.must(audit.JointClosed{Bench: "B1", Run: 5, Person: "p1"})
	got := f.finding("step:caps/residual/2")
	if got == nil || got.Subject != bench.StepFailed || !strings.HasSuffix(got.Text, "stage residual, fastener 2: low torque with reading 17 at the verification") ||
		!strings.Contains(got.Settle, "the engine maker's procedure says what follows") {
		t.Errorf("got %+v, want the failed verification of the second", got)
	}
}

// states gives the states of the steps of fastener 1 after marks, as "snug done, seat open, residual open".
func states(t *testing.T, marks ...audit.Mark) string {
	t.Helper()
	p, err := procedure.Parse("residual", []byte(residual))
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for _, s := range bench.Steps(&p.Joints[0], marks, nil) {
		if s.Fastener == "1" {
			out = append(out, s.Stage+" "+string(s.State))
		}
	}
	return strings.Join(out, ", ")
}

func TestSteps_Verification(t *testing.T) {
	pull := func(stage string, v audit.Verdict, flags ...string) audit.Mark {
		return audit.Mark{Stage: stage, Fastener: "1", Verdict: v, Flags: flags}
	}
	seat, good, low := pull("seat", audit.Pass), pull("residual", audit.Pass), pull("residual", audit.LowTorque)
	for rule, c := range map[string]struct {
		marks []audit.Mark
		want  string
	}{
		"it is no tightening":                       {[]audit.Mark{good}, "snug open, seat open, residual done"},
		"one that failed stays failed":              {[]audit.Mark{seat, low, good}, "snug open, seat done, residual failed"},
		"one that failed after a good one":          {[]audit.Mark{seat, good, low}, "snug open, seat done, residual failed"},
		"tightened after it, it is open again":      {[]audit.Mark{good, seat}, "snug open, seat done, residual open"},
		"tightened after it failed, too":            {[]audit.Mark{low, seat}, "snug open, seat done, residual open"},
		"hit again after it, too":                   {[]audit.Mark{seat, good, pull("seat", audit.Pass, audit.ReHit)}, "snug open, seat done, residual open"},
		"a second hit too weak to move it does not": {[]audit.Mark{seat, good, pull("seat", audit.LowTorque, audit.ReHit)}, "snug open, seat done, residual done"},
		"turned back, it is open again":             {[]audit.Mark{seat, low, pull("seat", audit.WrongDirection, audit.Unexpected)}, "snug open, seat failed, residual open"},
	} {
		t.Run(rule, func(t *testing.T) {
			if got := states(t, c.marks...); got != c.want {
				t.Errorf("got %q, want %q", got, c.want)
			}
		})
	}
}
