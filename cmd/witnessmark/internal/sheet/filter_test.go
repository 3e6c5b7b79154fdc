package sheet

import (
	"fmt"
	"reflect"
	"slices"
	"testing"
	"time"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/device/unit"
	"witnessmark/store"
)

// released is resumed with everything that people say of a build around its release.
func released() *store.History {
	h := resumed()
	b := &h.Builds[0]
	for i := range b.Runs {
		for j := range b.Runs[i].Readings {
			b.Runs[i].Readings[j].Marks[0].Run = b.Runs[i].ID
		}
	}
	act := func(seq uint64, by string) store.Act {
		return store.Act{Seq: seq, At: begin.Add(time.Duration(seq) * time.Hour), Index: int64(10 * seq), By: by}
	}
	b.Runs[1].Readings[1].Marks = append([]store.MarkHistory{{Seq: 22, At: begin, Index: 219, Mark: mk("snug", "1", audit.Pass, audit.ReHit)}}, b.Runs[1].Readings[1].Marks...)
	b.Runs[1].Readings[1].Raw = []byte("22;30.0\r\n")
	b.Runs[1].Named = []store.NamedHistory{{Act: act(23, "Ada Holt"), FastenerNamed: audit.FastenerNamed{Run: 20, Reading: 22, Fastener: "2"}}}
	b.Concessions = []store.ConcessionHistory{{Act: act(60, "Quinn Ray"), SecondedBy: "Rosa Lind", ConcessionGranted: audit.ConcessionGranted{Build: 4,
		Finding: "unexpected:46", Found: "joint caps, reading 46 (9.5 N·m, 180°, no step): unexpected", Joint: "caps", Reading: 46, Reason: "turned by hand"}}}
	b.Corrections = []store.CorrectionHistory{{Act: act(61, "Ada Holt"), CorrectionMade: audit.CorrectionMade{Build: 4, Run: 5, Reading: 7, Reason: "a test on the block"}}}
	b.Releases = []store.ReleaseHistory{{Act: act(62, "Quinn Ray"), BuildReleased: audit.BuildReleased{Build: 4, Reviewed: 61, Size: 600, Root: make([]byte, 32)}}}
	b.Reopenings = []store.ReopeningHistory{{Act: act(70, "Quinn Ray"), BuildReopened: audit.BuildReopened{Build: 4, Reason: "asked for"}}}
	return h
}

func TestOf_Released(t *testing.T) { golden(t, released(), "testdata/released") }

func TestStanding(t *testing.T) {
	h := released()
	b := &h.Builds[0]
	for _, want := range []bench.Standing{bench.Reopened, bench.Released, bench.UnderWay} {
		if got := b.Standing(); got != want {
			t.Errorf("got %q, want %q", got, want)
		}
		if b.Reopenings == nil {
			b.Releases = nil
		}
		b.Reopenings = nil
	}
}

// left lists what a filter leaves, joint by joint: steps with the number of their readings, and what is beside them.
func left(t *testing.T, f Filter) []string {
	t.Helper()
	e, err := Of(released(), "")
	if err != nil {
		t.Fatal(err)
	}
	e.Keep(f)
	var out []string
	for _, j := range e.Builds[0].Joints {
		for _, s := range j.Steps {
			out = append(out, fmt.Sprintf("%d %s %s: %d", j.Run, s.Stage, s.Fastener, len(s.Marks)+len(s.Replaced)))
		}
		for _, m := range j.Stray {
			out = append(out, fmt.Sprintf("%d stray %d", j.Run, m.Reading))
		}
		for _, c := range j.Checks {
			out = append(out, fmt.Sprintf("%d %s %s", j.Run, c.Check, c.Answer))
		}
	}
	for _, c := range e.Builds[0].Concessions {
		out = append(out, "conceded "+c.Finding)
	}
	for _, c := range e.Builds[0].Corrections {
		out = append(out, fmt.Sprintf("corrected %d", c.Reading))
	}
	return out
}

func TestEngine_Keep(t *testing.T) {
	for name, tc := range map[string]struct {
		f    Filter
		want []string
	}{
		"a verdict":                              {Filter{Verdict: audit.HighTorque}, []string{"5 snug 2: 1"}},
		"a flag, of a reading that measured too": {Filter{Flag: audit.OutOfRange}, []string{"20 drag 10.0 N·m"}},
		"a flag of a reading at a step":          {Filter{Flag: audit.Conditional}, []string{"20 snug 2: 1"}},
		"a wrench that was not there":            {Filter{Wrench: "TW-09"}, nil},
		"a joint that was not there":             {Filter{Joint: "head"}, nil},
		"a technician who took it up again, whatever the case": {Filter{Technician: "bo lind"},
			[]string{"20 snug 2: 1", "20 turn 1: 1", "20 turn 2: 1", "20 stray 46"}},
		"a reading that was conceded": {Filter{Flag: audit.Unexpected, Joint: "caps"}, []string{"5 stray 7", "20 stray 46", "conceded unexpected:46", "corrected 7"}},
		"who seconded":                {Filter{Technician: "Rosa Lind"}, []string{"conceded unexpected:46"}},
		"two things at once":          {Filter{Fastener: "2", Verdict: audit.Pass}, []string{"20 snug 2: 2", "20 turn 2: 1"}},
	} {
		t.Run(name, func(t *testing.T) {
			if got := left(t, tc.f); !reflect.DeepEqual(got, tc.want) {
				t.Errorf("got  %q\nwant %q", got, tc.want)
			}
		})
	}
	t.Run("a fastener with what is open of it, and what was once held to be of it", func(t *testing.T) {
		got := left(t, Filter{Fastener: "1", Joint: "caps"})
		for _, want := range []string{"5 turn 1: 0", "20 snug 1: 1", "20 snug 2: 1", "20 end-float 0.12 mm"} {
			if !slices.Contains(got, want) {
				t.Errorf("got %q, want %q among it", got, want)
			}
		}
		if slices.Contains(got, "20 turn 2: 1") || slices.Contains(got, "corrected 7") {
			t.Errorf("got %q, want nothing of fastener 2", got)
		}
	})
	t.Run("no filter leaves everything", func(t *testing.T) {
		all, err := Of(released(), "")
		if err != nil {
			t.Fatal(err)
		}
		same, _ := Of(released(), "")
		same.Keep(Filter{})
		if !reflect.DeepEqual(all, same) {
			t.Errorf("got %+v, want %+v", same, all)
		}
	})
}

func TestEngine_AddRaw(t *testing.T) {
	h := released()
	e, err := Of(h, "")
	if err != nil {
		t.Fatal(err)
	}
	e.AddRaw(h)
	if got := e.Builds[0].Joints[1].Steps[1].Replaced[0].Raw; got != `22;30.0\r\n` {
		t.Errorf("got %q, want the bytes with what cannot be printed escaped", got)
	}
}

func TestOrders_OutOfTurn(t *testing.T) {
	h := history()
	run := &h.Builds[0].Runs[1]
	run.Readings[0].Marks[0].Fastener, run.Readings[1].Marks[0].Fastener = "2", "1"
	run.Readings = append(run.Readings[:2:2], reading(90, "99.5", "99.5", unit.Nm, 905, mk("turn", "1", audit.Pass)))
	e, err := Of(h, "")
	if err != nil {
		t.Fatal(err)
	}
	o := e.Builds[0].Joints[1].Order
	if len(o) != 2 || !reflect.DeepEqual(o[0].Wanted, []string{"1", "2"}) || !reflect.DeepEqual(o[0].Done, []string{"2", "1"}) || len(o[0].OutOfTurn) != 1 || o[0].Pause != nil {
		t.Errorf("got %+v, want 2 before 1, one of them moved", o)
	}
	if want := int64((90 - 22) * 60); o[1].Pause == nil || *o[1].Pause != want || len(o[1].Done) != 1 || len(o[1].Wanted) != 2 {
		t.Errorf("got %+v, want %d s between the stages and one of two done", o[1], want)
	}
}
