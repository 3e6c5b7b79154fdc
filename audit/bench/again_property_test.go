package bench_test

import (
	"slices"
	"testing"

	"pgregory.net/rapid"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/audit/procedure"
)

// TestShop_BenchAndRecordAgree lets a joint be pulled at, named, renewed, corrected, released, reopened, left and started again
// at random. What the bench says is open is what the steps over the recorded marks and renewals of the attempt say, as the
// build sheet asks them.
func TestShop_BenchAndRecordAgree(t *testing.T) {
	p, err := procedure.Parse("yield.yaml", []byte(yield))
	if err != nil {
		t.Fatal(err)
	}
	rapid.Check(t, func(rt *rapid.T) {
		f := yieldFloor(t)
		rec := &record{of: map[uint64]bool{5: true}}
		for _, what := range rapid.SliceOfN(rapid.SampledFrom([]string{"snug", "snug", "snug", "turn", "turn", "back", "renew", "name", "close", "start", "afresh", "correct", "correct", "release"}), 1, 40).Draw(rt, "steps") {
			rec.take(f.randomly(rt, what))
			got, want := opened(f.shop.View("B1").Summary), []string{}
			for _, s := range bench.Steps(&p.Joints[0], rec.inForce(), rec.renewals) {
				if s.State != bench.Done && f.shop.Run("B1") != 0 {
					want = append(want, s.Stage+" "+s.Fastener)
				}
			}
			if !slices.Equal(got, want) {
				rt.Fatalf("after %s the bench has open %q, the record %q", what, got, want)
			}
		}
		f.replaysFromText()
	})
}

func opened(s bench.Summary) []string {
	out := []string{}
	for _, o := range s.Open {
		for _, id := range o.Fasteners {
			out = append(out, o.Stage+" "+id)
		}
	}
	return out
}

// randomly does something at bench B1; what makes no sense there is refused and recorded all the same.
func (f *floor) randomly(rt *rapid.T, what string) audit.Outcome {
	run := f.shop.Run("B1")
	fastener := func() string { return rapid.SampledFrom([]string{"1", "2", "3", "4"}).Draw(rt, "fastener") }
	switch what {
	case "snug":
		return f.at("B1", rapid.Int64Range(20_000, 33_000).Draw(rt, "torque"), rapid.Int64Range(1_000, 30_000).Draw(rt, "angle"))
	case "turn":
		return f.at("B1", rapid.Int64Range(80_000, 95_000).Draw(rt, "torque"), rapid.Int64Range(80_000, 95_000).Draw(rt, "angle"))
	case "back":
		return f.at("B1", 40_000, -60_000)
	case "renew":
		return f.apply(audit.BoltReplaced{Bench: "B1", Run: run, Fastener: fastener(), Person: "p1"})
	case "name":
		return f.apply(audit.FastenerNamed{Bench: "B1", Run: run, Reading: f.seq, Fastener: fastener(), Person: "p1"})
	case "correct":
		return f.apply(f.shop.Correcting(audit.CorrectionMade{Reading: rapid.Uint64Range(5, f.seq).Draw(rt, "reading"), Reason: "seen", Person: "p1",
			Fastener: rapid.SampledFrom([]string{"", "1", "2", "3", "4"}).Draw(rt, "it was"), Stage: rapid.SampledFrom([]string{"", "snug", "turn"}).Draw(rt, "at")}))
	case "release":
		return f.releasedAndReopened()
	case "close":
		return f.apply(audit.JointClosed{Bench: "B1", Run: run, Person: "p1"})
	}
	ev, err := f.starting("B1", "p1", what == "afresh")
	if err != nil {
		return audit.Outcome{Refused: err.Error()}
	}
	return f.apply(ev)
}

// releasedAndReopened releases the build whatever was found, which must come true where no joint is on the bench.
func (f *floor) releasedAndReopened() audit.Outcome {
	if f.shop.Run("B1") != 0 {
		return f.apply(f.release())
	}
	rv, err := f.shop.Review(4)
	if err != nil {
		f.t.Fatal(err)
	}
	for _, found := range rv.Blocking() {
		f.must(f.shop.Conceding(concession(found.ID)))
	}
	f.must(f.release())
	after, err := f.shop.Review(4)
	if err != nil || len(after.Findings) != len(rv.Findings) {
		f.t.Fatalf("got %+v, %v, want the findings of before", after.Findings, err)
	}
	return f.must(audit.BuildReopened{Build: 4, Reason: "at random", Person: "p1"})
}

// record is what the database has of the newest attempt.
type record struct {
	of       map[uint64]bool // its runs
	marks    []audit.Mark    // in the order in which they were made
	renewals []bench.Renewal
}

func (r *record) take(out audit.Outcome) {
	if out.Refused != "" {
		return
	}
	switch ev := out.Entry.Event.(type) {
	case audit.JointStarted:
		if ev.Continues == 0 {
			*r = record{of: map[uint64]bool{}}
		}
		r.of[out.Entry.Seq] = true
	case audit.BoltReplaced:
		r.renewals = append(r.renewals, bench.Renewal{Entry: out.Entry.Seq, Fastener: ev.Fastener})
	}
	for _, m := range out.Marks {
		if r.of[m.Run] {
			r.marks = append(r.marks, m)
		}
	}
}

// inForce is the newest mark of each reading, in the order of the readings.
func (r *record) inForce() []audit.Mark {
	newest := map[uint64]audit.Mark{}
	for _, m := range r.marks {
		newest[m.Reading] = m
	}
	out := make([]audit.Mark, 0, len(newest))
	for _, m := range newest {
		out = append(out, m)
	}
	slices.SortFunc(out, func(a, b audit.Mark) int { return int(a.Reading) - int(b.Reading) })
	return out
}
