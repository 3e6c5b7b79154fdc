package store_test

import (
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5/pgconn"

	"witnessmark/audit"
	"witnessmark/audit/recall"
	"witnessmark/store"
)

// after commits further events behind the first entries of the story.
func (s *shop) after(last uint64, events ...audit.Event) {
	s.t.Helper()
	st := s.open()
	s.commit(st, 1, last)
	var outs []audit.Outcome
	for i, ev := range events {
		outs = append(outs, audit.Outcome{Entry: audit.Entry{Seq: last + uint64(i) + 1, At: time.Date(2026, 5, 4, 9, 30, i, 0, time.UTC), Event: ev}})
	}
	if err := st.Commit(s.t.Context(), outs); err != nil {
		s.t.Fatal(err)
	}
	if err := st.Close(); err != nil {
		s.t.Fatal(err)
	}
}

func TestStore_AForgottenNameIsBlankAndTheProofHolds(t *testing.T) {
	s := newShop(t)
	s.after(30, audit.PersonAdded{Person: "cd34", Name: "Odo Brandt"},
		audit.BadgeGiven{Badge: "B-8", Person: "cd34", By: "cd34"},
		audit.PersonForgotten{Person: "ab12", Reason: "ten years are over", By: "cd34"})
	if got := s.verify(); got != "" {
		t.Errorf("verify: got %s, want all to fit", got)
	}
	for rule, query := range map[string]string{
		"the name":                 "SELECT 1/(count(*)) FROM witnessmark.person WHERE person = 'ab12' AND name = ''",
		"and no other":             "SELECT 1/(count(*)) FROM witnessmark.person WHERE person = 'cd34' AND name = 'Odo Brandt'",
		"the badge":                "SELECT 1/(count(*)) FROM witnessmark.badge WHERE person = 'ab12' AND badge = ''",
		"and no other one":         "SELECT 1/(count(*)) FROM witnessmark.badge WHERE person = 'cd34' AND badge = 'B-8'",
		"the badge where scanned":  "SELECT 1/(count(*)) FROM witnessmark.scan WHERE label = 'badge' AND value = '' AND text = ''",
		"other labels stay":        "SELECT 1/(count(*)) FROM witnessmark.scan WHERE label = 'engine' AND value <> ''",
		"it is nowhere in a table": "SELECT 1/(1-count(*)) FROM witnessmark.badge WHERE badge = 'B-7'",
	} {
		if err := s.sql(false, query); err != nil {
			t.Errorf("%s: %v", rule, err)
		}
	}
	h, err := s.reader().History(t.Context(), "E-100")
	if err != nil || h.Builds[0].Technician != "" || len(h.Builds[0].Runs[0].Readings) < 10 {
		t.Errorf("got a technician %q, %v, want the history without the name", h.Builds[0].Technician, err)
	}
	var pg *pgconn.PgError
	for rule, statement := range map[string]string{
		"another name cannot be put in":   "UPDATE witnessmark.person SET name = 'Somebody' WHERE person = 'cd34'",
		"nor by the writer":               "SET ROLE witnessmark_writer; UPDATE witnessmark.person SET name = 'Somebody' WHERE person = 'cd34'",
		"nor without an entry":            "SET ROLE witnessmark_writer; SELECT witnessmark.forget('s1', 'cd34')",
		"nor by a reader":                 "SET ROLE witnessmark_reader; SELECT witnessmark.forget('s1', 'ab12')",
		"the entry that says so is kept":  "DELETE FROM witnessmark.person_forgotten",
		"the reason is kept":              "UPDATE witnessmark.person_forgotten SET reason = ''",
		"a finding is kept":               "UPDATE witnessmark.calibration_found SET good = true",
		"the id of the person is kept":    "UPDATE witnessmark.person SET person = 'x'",
		"a scan of an engine stays whole": "SET ROLE witnessmark_writer; UPDATE witnessmark.scan SET value = ''",
	} {
		if err := s.sql(false, statement); !errors.As(err, &pg) || pg.Code != "42501" {
			t.Errorf("%s: got %v, want insufficient privilege", rule, err)
		}
	}
	if err := s.sql(true, "UPDATE witnessmark.person_forgotten SET reason = 'none'"); err != nil {
		t.Fatal(err)
	}
	if got := s.verify(); !strings.Contains(got, "table person_forgotten, entry 33") {
		t.Errorf("a changed reason: got %q, want the entry named", got)
	}
}

func TestReader_Calibrations(t *testing.T) {
	day := func(n int) *time.Time { d := time.Date(2026, 3, n, 0, 0, 0, 0, time.UTC); return &d }
	s := newShop(t)
	s.after(30, audit.WrenchDeclared{Wrench: "W1", Certificate: "K-1", Calibrated: day(1)},
		audit.WrenchDeclared{Wrench: "W1", Certificate: "K-1", Calibrated: day(1), Title: "said again"},
		audit.WrenchDeclared{Wrench: "W1", Certificate: "K-2", Calibrated: day(9)},
		audit.WrenchDeclared{Wrench: "W2", Certificate: "K-3"},
		audit.CalibrationFound{Wrench: "W1", Certificate: "K-2", Found: *day(9), Points: "2.5 %@40 N·m", Person: "ab12"})
	r := s.reader()
	declared, err := r.Declared(t.Context(), "W1")
	if err != nil || len(declared) != 4 {
		t.Errorf("got %v, %v, want four declarations", declared, err)
	}
	rec, err := r.Calibrations(t.Context(), "W1")
	if err != nil {
		t.Fatal(err)
	}
	if d, err := rec.Doubt(); err != nil || !d.From.Equal(*day(1)) || !d.To.IsZero() || d.Certificate != "K-2" || d.Found.String() != "2.5 %@40 N·m" {
		t.Errorf("got %+v, %v, want it in doubt from its first calibration on", d, err)
	}
	found, err := r.Found(t.Context(), "W1")
	if err != nil || len(found) != 1 || found[0].Points != "2.5 %@40 N·m" || !found[0].Found.Equal(*day(9)) {
		t.Errorf("got %+v, %v, want the finding", found, err)
	}
	if got := s.verify(); got != "" {
		t.Errorf("verify: %s", got)
	}
}

// Both ends of a span belong to it, and a reading to the mark in force.
func TestReader_PullsOf(t *testing.T) {
	s := newShop(t)
	s.after(40, audit.PersonAdded{Person: "cd34", Name: "Odo Brandt"})
	at := func(second int) time.Time { return time.Date(2026, 5, 4, 9, 0, second, 1000, time.UTC) }
	take := func(wrench string, span recall.Span) (list []uint64) {
		err := s.reader().PullsOf(t.Context(), wrench, span, func(p *store.Pull) error {
			if p.Engine != "E-100" || p.Torque != 45_200_000 || *p.Angle != 31_500 {
				t.Errorf("got %+v", p)
			}
			list = append(list, p.Mark.Reading)
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		return list
	}
	if got := take("W1", recall.Span{From: at(10), To: at(12)}); len(got) != 3 || got[0] != 10 || got[2] != 12 {
		t.Errorf("got %v, want 10 to 12", got)
	}
	if got := take("W1", recall.Span{From: at(10).Add(time.Microsecond), To: at(12).Add(-time.Microsecond)}); len(got) != 1 {
		t.Errorf("got %v, want 11 alone", got)
	}
	if got := take("W1", recall.Span{}); len(got) != 26 {
		t.Errorf("got %d readings, want all", len(got))
	}
	if got := take("'; DROP TABLE witnessmark.reading; --", recall.Span{}); len(got) != 0 {
		t.Errorf("got %v of a wrench that is SQL", got)
	}
}

func TestReader_Touched(t *testing.T) {
	s := newShop(t)
	s.after(30,
		audit.CheckAnswered{Bench: "B", Run: 5, Check: "lot", Yes: true, Value: "L-77", Person: "ab12"},
		audit.CheckAnswered{Bench: "B", Run: 5, Check: "lot", Yes: true, Value: "L-78", Person: "ab12"},
		audit.JointStarted{Bench: "C", Build: 4, Joint: "head", Person: "ab12"},
		audit.JointClosed{Bench: "C", Run: 33, Person: "ab12"})
	at := func(minute, second int) time.Time { return time.Date(2026, 5, 4, 9, minute, second, 0, time.UTC) }
	ever := time.Date(9999, 1, 1, 0, 0, 0, 0, time.UTC)
	for rule, c := range map[string]struct {
		filter store.Suspect
		want   string
	}{
		"a lot":                        {store.Suspect{Lot: "L-78", To: ever}, "caps"},
		"one that was said before":     {store.Suspect{Lot: "L-77", To: ever}, "caps"},
		"a lot written otherwise":      {store.Suspect{Lot: "l 78", To: ever}, "caps"},
		"another lot":                  {store.Suspect{Lot: "L-7", To: ever}, ""},
		"a lot that is SQL":            {store.Suspect{Lot: "' OR '1'='1", To: ever}, ""},
		"a bench":                      {store.Suspect{Bench: "C", To: ever}, "head"},
		"a family":                     {store.Suspect{Family: "F", To: ever}, "caps head"},
		"a revision":                   {store.Suspect{Family: "F", Revision: "1", To: ever}, "caps head"},
		"another revision":             {store.Suspect{Family: "F", Revision: "2", To: ever}, ""},
		"a bench and a lot":            {store.Suspect{Bench: "C", Lot: "L-78", To: ever}, ""},
		"still on the bench then":      {store.Suspect{From: at(31, 0), To: ever}, "caps"},
		"both ends belong to the span": {store.Suspect{From: at(30, 3), To: at(30, 3)}, "caps head"},
		"before it was closed":         {store.Suspect{From: at(30, 4), To: ever}, "caps"},
		"before any":                   {store.Suspect{To: at(0, 0)}, ""},
	} {
		list, err := s.reader().Touched(t.Context(), c.filter)
		var joints []string
		for _, l := range list {
			joints = append(joints, l.Joint)
		}
		if got := strings.Join(joints, " "); err != nil || got != c.want {
			t.Errorf("%s: got %q, %v, want %q", rule, got, err, c.want)
		}
	}
}
