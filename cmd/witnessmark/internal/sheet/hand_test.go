package sheet

import (
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"witnessmark/audit"
	"witnessmark/store"
)

func TestAttempt_Hands(t *testing.T) {
	at := time.Date(2026, 5, 4, 9, 0, 0, 0, time.UTC)
	hand := func(seq, run uint64, who string) store.HandHistory {
		return store.HandHistory{Seq: seq, At: at, Index: int64(seq), Run: run, Person: who}
	}
	all := attempts([]store.RunHistory{
		{ID: 20, Joint: "caps", Technician: "Ada Holt", Hands: []store.HandHistory{hand(21, 20, "Ada Holt"), hand(23, 20, "Cy Moor"), hand(25, 20, "Cy Moor")}},
		{ID: 30, Joint: "caps", Continues: 20, Technician: "Bo Lind", Hands: []store.HandHistory{hand(32, 30, "Ada Holt")}},
	})
	if len(all) != 1 {
		t.Fatalf("got %d attempts, want one", len(all))
	}
	for _, tc := range []struct {
		run, seq uint64
		want     string
	}{{20, 22, "Ada Holt"}, {20, 24, "Cy Moor"}, {20, 26, "Cy Moor"}, {30, 31, "Bo Lind"}, {30, 33, "Ada Holt"}} {
		r := store.ReadingHistory{Seq: tc.seq, Marks: []store.MarkHistory{{Mark: audit.Mark{Run: tc.run}}}}
		if got := all[0].by(&r); got != tc.want {
			t.Errorf("reading %d of run %d: got %s, want %s", tc.seq, tc.run, got, tc.want)
		}
	}
	if got, want := all[0].changes(), []Hand{{"Cy Moor", at, 23}, {"Ada Holt", at, 32}}; !reflect.DeepEqual(got, want) {
		t.Errorf("got %v, want %v: who scans their badge again takes nothing over", got, want)
	}
}

func TestOf_HandsAndClock(t *testing.T) {
	h := history()
	run := &h.Builds[0].Runs[1]
	run.Hands = []store.HandHistory{{Seq: 22, At: run.Started, Index: 95, Run: run.ID, Person: "Cy Moor"}}
	run.Clock = []store.ClockHistory{{At: run.Started, Index: 97, By: -time.Hour}, {At: run.Started, Index: 98, By: time.Second},
		{At: run.Started, Index: 99, By: -2 * time.Hour, AtLeast: true}}
	e, err := Of(h, "")
	if err != nil {
		t.Fatal(err)
	}
	j := e.Builds[0].Joints[1]
	steps := slices.DeleteFunc(slices.Clone(j.Findings), func(f string) bool { return !strings.Contains(f, "the clock was set") })
	want := []string{"the clock was set back by 1h0m0s, to 2026-05-04 09:00:00Z: the times before may be wrong, the order is not",
		"the clock was set back by at least 2h0m0s, to 2026-05-04 09:00:00Z: the times before may be wrong, the order is not"}
	if !slices.Equal(steps, want) || len(j.Clock) != 3 {
		t.Errorf("got %q of %v, want %q", steps, j.Clock, want)
	}
	var text strings.Builder
	if err := e.Text(&text, OfFastener); err != nil {
		t.Fatal(err)
	}
	if line := "    Taken over:\n    by Cy Moor  2026-05-04 09:00:00Z  leaf 95\n"; !strings.Contains(text.String(), line) {
		t.Errorf("got %s\nwant %q", text.String(), line)
	}
}
