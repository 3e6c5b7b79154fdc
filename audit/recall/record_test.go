package recall

import (
	"testing"
	"time"

	"witnessmark/audit"
)

func TestRecord_Doubts(t *testing.T) {
	day := func(n int) time.Time { return time.Date(2026, 3, n, 0, 0, 0, 0, time.UTC) }
	var r Record
	for i, certificate := range []string{"K-1", "K-2", "K-3"} {
		at := day(1 + 10*i)
		r.Declare(day(31), audit.WrenchDeclared{Wrench: "W", Certificate: certificate, Calibrated: &at})
	}
	if d, err := r.Doubts(); d != nil || err != nil {
		t.Errorf("got %v, %v, want none before one was found bad", d, err)
	}
	r.Find(day(31), audit.CalibrationFound{Certificate: "k-2", Found: day(11), Points: "2 %@40 N·m"})
	r.Find(day(31), audit.CalibrationFound{Certificate: "K-4", Found: day(25), Points: "3 %@40 N·m"})
	all, err := r.Doubts()
	if err != nil || len(all) != 2 {
		t.Fatalf("got %+v, %v, want two", all, err)
	}
	for i, want := range []string{"since 2026-03-01 until 2026-03-21 by K-2 2 %@40 N·m", "since 2026-03-21 until now by K-4 3 %@40 N·m"} {
		if got := all[i].Span.String() + " by " + all[i].Certificate + " " + all[i].Found.String(); got != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
	if newest, _ := r.Doubt(); newest.Certificate != "K-4" {
		t.Errorf("got %s, want the newest", newest.Certificate)
	}
	for rule, c := range map[string]struct {
		at   time.Time
		want string
	}{
		"before it all":          {day(1).Add(-1), ""},
		"at the good one before": {day(1), "K-2"},
		"in the first span":      {day(15), "K-2"},
		"at the day of both":     {day(21).Add(time.Hour), "K-4"},
		"to now":                 {day(30), "K-4"},
	} {
		got := ""
		if d := Of(all, c.at); d != nil {
			got = d.Certificate
		}
		if got != c.want {
			t.Errorf("%s: got %q, want %q", rule, got, c.want)
		}
	}
}
