package sheet

import (
	"slices"
	"strings"
	"testing"
	"time"

	"witnessmark/audit"
	"witnessmark/device/unit"
	"witnessmark/store"
)

// resumed is the good run of history, left after its first stage by one person and finished by another on another bench,
// with a new bolt in between.
func resumed() *store.History {
	h := history()
	b := &h.Builds[0]
	first := b.Runs[1]
	left, again := first.Started.Add(20*time.Minute), first.Started.Add(22*time.Hour)
	second := first
	second.ID, second.Bench, second.Technician, second.Started, second.Continues = 40, "2", "Bo Lind", again, first.ID
	first.Closed, first.Technician, first.Afresh = &left, "Ada Holt", true
	second.Readings, second.Answers, second.Scans = first.Readings[2:], first.Answers[2:], first.Scans
	first.Scans = nil
	first.Readings, first.Answers = first.Readings[:2:2], first.Answers[:2:2]
	for i := range second.Readings {
		r := &second.Readings[i]
		r.Seq, r.At = r.Seq+20, again.Add(time.Duration(i+5)*time.Minute)
		r.Marks[0].Reading = r.Seq
	}
	fresh := reading(42, "30", "30.0", unit.Nm, 300, mk("snug", "2", audit.Pass))
	fresh.At = again.Add(2 * time.Minute)
	second.Readings = append([]store.ReadingHistory{fresh}, second.Readings...)
	second.Renewals = []store.RenewalHistory{{Seq: 41, At: again.Add(time.Minute), Index: 410, Person: "Bo Lind",
		BoltReplaced: audit.BoltReplaced{Bench: "2", Run: 40, Fastener: "2", Reason: "thread damaged"}}}
	b.Runs = []store.RunHistory{b.Runs[0], first, second}
	return h
}

func TestOf_RunsThatContinueEachOther(t *testing.T) { golden(t, resumed(), "testdata/resumed") }

func TestOf_Attempts(t *testing.T) {
	joints := func(h *store.History) []Joint {
		t.Helper()
		e, err := Of(h, "")
		if err != nil {
			t.Fatal(err)
		}
		return e.Builds[0].Joints
	}
	t.Run("runs that continue each other are one joint of two persons", func(t *testing.T) {
		j := joints(resumed())
		if len(j) != 2 || !j[0].Earlier || j[1].Earlier || !j[1].Complete || len(j[1].Runs) != 2 || j[1].Runs[0].By != "Ada Holt" || j[1].Runs[1].By != "Bo Lind" {
			t.Errorf("got %+v, want an earlier attempt, and one that is complete with both runs", j)
		}
	})
	t.Run("what the old bolt had does not count", func(t *testing.T) {
		h := resumed()
		second := &h.Builds[0].Runs[2]
		second.Readings = second.Readings[1:]
		j := joints(h)[1]
		if j.Complete || !slices.Contains(j.Findings, "stage snug is open for fastener 2") ||
			slices.ContainsFunc(j.Stray, func(m Mark) bool { return m.Reading == 22 }) {
			t.Errorf("got %+v, want snug 2 open again and no reading astray", j)
		}
	})
	t.Run("what was measured of the old bolt is asked again", func(t *testing.T) {
		h := resumed()
		b := &h.Builds[0]
		b.Procedure = strings.Replace(block, "after: snug}\n", "after: snug}\n      - {id: stretch, ask: Bolt stretch, accept: 0.1..0.2 mm, each: fastener}\n", 1)
		for i, f := range []string{"1", "2"} {
			b.Runs[1].Answers = append(b.Runs[1].Answers, store.AnswerHistory{At: begin, Index: int64(95 + i), Person: "Ada Holt",
				CheckAnswered: audit.CheckAnswered{Check: "stretch", Fastener: f, Value: "0.15 mm"}})
		}
		j := joints(h)[1]
		for f, want := range map[string]bool{"1": false, "2": true} {
			if got := slices.Contains(j.Findings, "check stretch of fastener "+f+" was not answered"); got != want {
				t.Errorf("got %q, want the stretch of fastener 2 alone", j.Findings)
			}
		}
	})
	t.Run("runs that do not are joints of their own", func(t *testing.T) {
		h := resumed()
		h.Builds[0].Runs[2].Continues = 0
		if j := joints(h); len(j) != 3 || !j[1].Earlier || j[2].Complete {
			t.Errorf("got %+v, want three attempts of which the last is not complete", j)
		}
	})
}

// The sheet says of bolts what the bench says of them.
func TestOf_Bolts(t *testing.T) {
	h := history()
	b := &h.Builds[0]
	b.Procedure = strings.NewReplacer("joints:\n", "fastener_types:\n  once: {thread: M12x1.75, length: 95 mm, class: \"10.9\", reuse: never}\n"+
		"  worn: {thread: M12x1.75, length: 95 mm, class: \"10.9\", reuse: \"1\"}\njoints:\n",
		`{id: "1", at`, `{id: "1", type: once, at`, `{id: "2", at`, `{id: "2", type: worn, at`).Replace(block)
	b.Runs[0].Readings = append(b.Runs[0].Readings, reading(9, "99", "99", unit.Nm, 900, mk("turn", "1", audit.Pass)),
		reading(10, "99", "99", unit.Nm, 900, mk("turn", "2", audit.Pass)))
	b.Runs[1].Afresh = true
	e, err := Of(h, "")
	if err != nil {
		t.Fatal(err)
	}
	first, second := e.Builds[0].Joints[0], e.Builds[0].Joints[1]
	for _, want := range []string{
		"fastener 1: a bolt for single use that was loosened after it had been tightened: fit a new one and say so with `witnessmark joint renew 1`",
		"fastener 2: a bolt with 2 torque cycles, which may have 1: fit a new one and say so with `witnessmark joint renew 2`",
	} {
		if slices.Contains(first.Findings, want) || !slices.Contains(second.Findings, want) {
			t.Errorf("got %q and %q, want %q in the second alone", first.Findings, second.Findings, want)
		}
	}
	if second.Complete {
		t.Error("a joint with a single-use bolt that was used twice is called complete")
	}
}
