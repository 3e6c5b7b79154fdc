package bench_test

import (
	"errors"
	"reflect"
	"slices"
	"strings"
	"testing"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/device/label"
)

// review gives the ids of what blocks the release of build 4, the worst first.
func (f *floor) review() []string {
	f.t.Helper()
	rv, err := f.shop.Review(4)
	if err != nil {
		f.t.Fatal(err)
	}
	ids := []string{}
	for _, b := range rv.Blocking() {
		ids = append(ids, b.ID)
	}
	return ids
}

func (f *floor) finding(id string) *bench.Finding {
	f.t.Helper()
	rv, err := f.shop.Review(4)
	if err != nil {
		f.t.Fatal(err)
	}
	for i := range rv.Findings {
		if rv.Findings[i].ID == id {
			return &rv.Findings[i]
		}
	}
	return nil
}

// finished is a floor whose only joint was done well and closed.
func finished(t *testing.T) *floor {
	f := newFloor(t)
	f.must(audit.PersonAdded{Person: "p2", Name: "Odo Brandt"})
	f.must(audit.CheckAnswered{Bench: "B1", Run: 5, Check: "new-bolts", Yes: true, Person: "p1"})
	f.snugAll()
	f.must(audit.CheckAnswered{Bench: "B1", Run: 5, Check: "end-float", Value: "0.12 mm", Person: "p1"})
	f.seatAll("B1", 4)
	f.must(audit.JointClosed{Bench: "B1", Run: 5, Person: "p1"})
	return f
}

// release is a release that signs everything up to now.
func (f *floor) release() audit.BuildReleased {
	return audit.BuildReleased{Build: 4, Reviewed: f.seq, Recorded: f.seq, Size: int64(f.seq), Root: make([]byte, 32), Person: "p1"}
}

func (f *floor) refused(ev audit.Event, want string) {
	f.t.Helper()
	if out := f.apply(ev); want == "" || !strings.Contains(out.Refused, want) || len(out.Marks) > 0 {
		f.t.Errorf("%+v: got %q and marks %v, want a refusal with %q", ev, out.Refused, out.Marks, want)
	}
}

func concession(id string) audit.ConcessionGranted {
	return audit.ConcessionGranted{Build: 4, Finding: id, Reason: "seen by the designer", Person: "p1", Seconded: "p2"}
}

func TestReview_WhatStandsInTheWay(t *testing.T) {
	f := newFloor(t)
	f.must(audit.JointClosed{Bench: "B1", Run: 5, Person: "p1"})
	for i, step := range []struct {
		name string
		do   func()
		want []string
	}{
		{"a joint that was closed untouched has all its steps and checks open", func() {},
			[]string{"step:caps/snug/1", "step:caps/snug/2", "step:caps/snug/3", "step:caps/snug/4", "step:caps/seat/1", "step:caps/seat/2",
				"step:caps/seat/3", "step:caps/seat/4", "check:caps/new-bolts", "check:caps/end-float"}},
		{"a step that failed is the worst, an answer not accepted stands before none, a joint on the bench is to be closed", func() {
			f.must(audit.JointStarted{Bench: "B1", Build: 4, Joint: "caps", Person: "p1"})
			run := f.shop.Run("B1")
			f.snugAll()
			f.must(audit.CheckAnswered{Bench: "B1", Run: run, Check: "end-float", Value: "0.31 mm", Person: "p1"})
			f.seatAll("B1", 4)
			f.pull(75_000, 9_000) // the last one again, far over
		}, []string{"step:caps/seat/4", "check:caps/end-float", "check:caps/new-bolts", "unsure:17", "re-hit:17", "bench:caps"}},
	} {
		step.do()
		if got := f.review(); !reflect.DeepEqual(got, step.want) {
			t.Errorf("%d, %s:\ngot  %q\nwant %q", i, step.name, got, step.want)
		}
	}
}

func TestReview_JointNeverStarted(t *testing.T) {
	f := &floor{t: t, shop: bench.NewShop(nil)}
	f.must(audit.ProcedureAdded{Family: "TT-1", Revision: "1", Title: "Bearing caps", Text: caps})
	f.must(audit.BuildOpened{Engine: "E1", Family: "TT-1", Revision: "1", WorkOrder: "WO1", Person: "p1"})
	rv, err := f.shop.Review(2)
	if err != nil || len(rv.Findings) != 1 || rv.Findings[0].ID != "joint:caps" || !rv.Findings[0].Blocks || !rv.Findings[0].Second {
		t.Errorf("got %+v, %v, want joint caps alone, which blocks", rv.Findings, err)
	}
	if _, err := f.shop.Review(3); err == nil || !strings.Contains(err.Error(), "no build 3") {
		t.Errorf("got %v, want a sentence that there is no build 3", err)
	}
}

func TestReview_BegunAnew(t *testing.T) {
	f := finished(t)
	f.correct(16, "4", "snug") // high torque there
	f.startAgain("B1", "p1", true)
	got := f.finding("anew:5")
	if got == nil || got.Blocks || got.Text != "joint caps, begun anew after run 5, which is in the history and counts no longer" {
		t.Errorf("got %+v, want the earlier attempt noted", got)
	}
	if f.finding("step:caps/snug/4").Subject != bench.StepOpen {
		t.Error("the newest attempt counts alone")
	}
}

func TestReview_WrenchOutOfCalibration(t *testing.T) {
	f := finished(t)
	if got := f.review(); len(got) != 0 {
		t.Fatalf("got %q, want nothing in the way of a joint done well", got)
	}
	f = newFloor(t)
	f.seq = 100 // past the due date
	f.pull(30_000, 25_500)
	if got := f.finding("wrench-out-of-calibration:101"); got == nil || got.Subject != bench.WrenchFinding || !got.Blocks || got.Reading != 101 {
		t.Errorf("got %+v, want a finding about the wrench of reading 101", got)
	}
}

func TestRelease_RefusedWithTheList(t *testing.T) {
	f := newFloor(t)
	f.snugAll()
	f.must(audit.CheckAnswered{Bench: "B1", Run: 5, Check: "new-bolts", Yes: true, Person: "p1"})
	f.must(audit.CheckAnswered{Bench: "B1", Run: 5, Check: "end-float", Value: "0.12 mm", Person: "p1"})
	f.seatAll("B1", 4)
	f.pull(75_000, 9_000)
	f.must(audit.JointClosed{Bench: "B1", Run: 5, Person: "p1"})
	out := f.apply(f.release())
	want := "build 4 of engine E1 cannot be released, this stands in the way:\n" +
		"- joint caps, stage seat, fastener 4: high torque with reading 16, not made good [step:caps/seat/4]\n" +
		"- joint caps, reading 16 (75 N·m, 9°, stage seat, fastener 4): unsure [unsure:16]\n" +
		"- joint caps, reading 16 (75 N·m, 9°, stage seat, fastener 4): re-hit [re-hit:16]"
	if out.Refused != want {
		t.Errorf("got  %q\nwant %q", out.Refused, want)
	}
	if f.shop.Builds()[0].Standing() != bench.UnderWay {
		t.Error("a refused release must change nothing")
	}
}

// Whoever reviewed a build need not look again for what is of its bench alone.
func TestReview_LastEntryOfTheBuild(t *testing.T) {
	f := newFloor(t)
	f.must(audit.PersonAdded{Person: "p2", Name: "Odo Brandt"})
	f.must(audit.BadgeGiven{Badge: "77", Person: "p1", By: "p2"})
	for _, tc := range []struct {
		ev audit.Event
		is bool // of the build
	}{
		{audit.AdapterFitted{Bench: "B1", Adapter: "crowfoot", WrenchLength: 400_000, Extension: 50_000, Person: "p1"}, false},
		{audit.LabelScanned{Bench: "B1", Scanner: "S1", Label: label.Badge, Value: "77", Text: "77", Run: 5, Person: "p1"}, false},
		{audit.FrameRefused{Bench: "B1"}, false},
		{audit.ReadingTaken{Bench: "B2"}, false}, // no joint is there
		{audit.ReadingTaken{Bench: "B1"}, true},
		{audit.FastenerNamed{Bench: "B1", Run: 5, Reading: 12, Fastener: "2", Person: "p1"}, true},
		{audit.CheckAnswered{Bench: "B1", Run: 5, Check: "new-bolts", Yes: true, Person: "p1"}, true},
		{audit.BoltReplaced{Bench: "B1", Run: 5, Fastener: "2", Person: "p1"}, true},
		{audit.HandedOver{Bench: "B1", Run: 5, Person: "p2"}, true},
		{audit.JointClosed{Bench: "B1", Run: 5, Person: "p1"}, true},
		{audit.CorrectionMade{Build: 4, Run: 5, Reading: 12, Fastener: "3", Reason: "seen", Person: "p1"}, true},
		{audit.JointStarted{Bench: "B2", Build: 4, Joint: "caps", Person: "p1"}, true},
	} {
		f.must(tc.ev)
		if rv, err := f.shop.Review(4); err != nil || (rv.Last == f.seq) != tc.is {
			t.Errorf("%s, entry %d: got %d as the last entry of the build, %v; want it to be that one: %t", tc.ev.Kind(), f.seq, rv.Last, err, tc.is)
		}
	}
}

func TestRelease_SignsWhatWasSeen(t *testing.T) {
	good := finished(t)
	for name, tc := range map[string]struct {
		change func(*audit.BuildReleased)
		says   string
	}{
		"reviewed before the newest entry of the build": {func(r *audit.BuildReleased) { r.Reviewed-- }, "review it again"},
		"reviewed up to an entry that does not exist":   {func(r *audit.BuildReleased) { r.Reviewed += 9 }, "does not exist yet"},
		"a ledger that has not caught up":               {func(r *audit.BuildReleased) { r.Recorded-- }, "wait until the database has caught up"},
		"no ledger at all":                              {func(r *audit.BuildReleased) { r.Root = nil }, "wait until the database is up"},
		"nobody":                                        {func(r *audit.BuildReleased) { r.Person = "" }, "say who signs"},
		"no such build":                                 {func(r *audit.BuildReleased) { r.Build = 3 }, "no build 3"},
	} {
		t.Run(name, func(t *testing.T) {
			ev := good.release()
			tc.change(&ev)
			if err := good.shop.Refusal(ev); err == nil || !strings.Contains(err.Error(), tc.says) {
				t.Errorf("got %v, want %q", err, tc.says)
			}
		})
	}
	good.must(audit.PersonAdded{Person: "p3", Name: "Ada Holt"}) // nothing of the build
	ev := good.release()
	ev.Reviewed, ev.Recorded = ev.Reviewed-1, ev.Recorded-1
	good.must(ev)
	if got := good.shop.Builds()[0].Standing(); got != bench.Released {
		t.Errorf("got %q, want it released", got)
	}
}

func TestRelease_NothingMovesUntilReopened(t *testing.T) {
	f := finished(t)
	before, _ := f.shop.Review(4)
	f.must(f.release())
	f.refused(f.release(), "released already")
	f.refused(audit.JointStarted{Bench: "B1", Build: 4, Joint: "caps", Person: "p1"}, "reopen it first")
	f.refused(audit.CorrectionMade{Build: 4, Run: 5, Reading: 8, Fastener: "2", Reason: "x", Person: "p1"}, "reopen it first")
	f.refused(concession("step:caps/seat/4"), "reopen it first")
	f.refused(audit.BuildReopened{Build: 4, Person: "p1"}, "a reason")
	f.refused(audit.BuildReopened{Build: 4, Reason: "x"}, "a person")
	f.must(audit.BuildReopened{Build: 4, Reason: "wrong bolts", Person: "p1"})
	f.refused(audit.BuildReopened{Build: 4, Reason: "wrong bolts", Person: "p1"}, "is not released")
	after, _ := f.shop.Review(4)
	if after.Standing != bench.Reopened || !reflect.DeepEqual(before.Findings, after.Findings) {
		t.Errorf("got %+v, want reopened with the findings of before", after)
	}
	m := f.must(audit.CorrectionMade{Build: 4, Run: 5, Reading: 15, Reason: "a test on the block", Person: "p1"}).Marks
	if len(m) != 1 || m[0].Reading != 15 || m[0].No != 2 || m[0].Fastener != "" {
		t.Errorf("got %+v, want reading 15 taken off its step", m)
	}
	if got := f.review(); !slices.Equal(got, []string{"step:caps/seat/3"}) {
		t.Errorf("got %q, want the step of that reading open", got)
	}
	f.must(audit.JointStarted{Bench: "B1", Build: 4, Joint: "caps", Person: "p1"})
}

func TestConcession_Rules(t *testing.T) {
	f := newFloor(t)
	f.must(audit.PersonAdded{Person: "p2", Name: "Odo Brandt"})
	f.snugAll()
	complete := func(ev audit.ConcessionGranted) audit.ConcessionGranted { return f.shop.Conceding(ev) }
	for name, tc := range map[string]struct {
		change func(*audit.ConcessionGranted)
		says   string
	}{
		"a class A joint needs a second person":      {func(c *audit.ConcessionGranted) { c.Seconded = "" }, "needs a second person"},
		"who must be another one":                    {func(c *audit.ConcessionGranted) { c.Seconded = "p1" }, "must be another one"},
		"it needs a reason":                          {func(c *audit.ConcessionGranted) { c.Reason = " " }, "needs a reason"},
		"it needs a person":                          {func(c *audit.ConcessionGranted) { c.Person = "" }, "needs a person"},
		"it needs a finding that is there":           {func(c *audit.ConcessionGranted) { c.Finding = "step:caps/snug/1" }, "no finding"},
		"a joint on the bench is to be closed":       {func(c *audit.ConcessionGranted) { c.Finding = "bench:caps"; *c = complete(*c) }, "close it"},
		"what was found must be what is still found": {func(c *audit.ConcessionGranted) { c.Found += "!" }, "is different now"},
		"it needs a build":                           {func(c *audit.ConcessionGranted) { c.Build = 3 }, "no build 3"},
	} {
		t.Run(name, func(t *testing.T) {
			ev := complete(concession("step:caps/seat/1"))
			tc.change(&ev)
			if err := f.shop.Refusal(ev); err == nil || !strings.Contains(err.Error(), tc.says) {
				t.Errorf("got %v, want %q", err, tc.says)
			}
		})
	}
	f.must(complete(concession("step:caps/seat/1")))
	got := f.finding("step:caps/seat/1")
	if got == nil || got.Blocks || got.Conceded == nil || got.Conceded.By != "Ines Falk" || got.Conceded.Seconded != "Odo Brandt" || got.Conceded.Seq != f.seq {
		t.Errorf("got %+v, want it conceded by both and visible", got)
	}
	if err := f.shop.Refusal(complete(concession("step:caps/seat/1"))); !errors.Is(err, bench.ErrAlready) {
		t.Errorf("got %v, want that it was conceded already", err)
	}
}

func TestConcession_LapsesWhenTheFactsChange(t *testing.T) {
	f := newFloor(t)
	f.snugAll()
	f.pull(70_000, 30_000)
	f.must(f.shop.Conceding(concession("step:caps/seat/1")))
	if got := f.finding("step:caps/seat/1"); got.Blocks {
		t.Fatalf("got %+v, want it conceded", got)
	}
	f.pull(75_000, 3_000) // hit again: another reading, which nobody has accepted
	if got := f.finding("step:caps/seat/1"); !got.Blocks || got.Conceded != nil {
		t.Errorf("got %+v, want it to block again", got)
	}
}

func TestConcession_ClassBNeedsNoSecond(t *testing.T) {
	f := &floor{t: t, shop: bench.NewShop(nil)}
	f.must(audit.ProcedureAdded{Family: "TT-1", Revision: "1", Title: "T", Text: strings.Replace(caps, "criticality: A", "criticality: B", 1)})
	f.must(audit.PersonAdded{Person: "p1", Name: "Ines Falk"})
	f.must(audit.PersonAdded{Person: "p2", Name: "Odo Brandt"})
	f.must(audit.BuildOpened{Engine: "E1", Family: "TT-1", Revision: "1", WorkOrder: "WO1", Person: "p1"})
	f.must(f.shop.Conceding(audit.ConcessionGranted{Build: 4, Finding: "joint:caps", Reason: "not part of this order", Person: "p1"}))
	f.must(f.release())
}
