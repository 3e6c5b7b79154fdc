package store_test

import (
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5/pgconn"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/store"
)

// released commits the entries 1 to 30 of the story, and then: a concession, a correction with its mark, a release that
// signs the ledger as it was, and a reopening.
func (s *shop) released(change func(*audit.BuildReleased)) {
	s.t.Helper()
	st := s.open()
	s.commit(st, 1, 30)
	c, err := st.Checkpoint()
	if err != nil {
		s.t.Fatal(err)
	}
	release := audit.BuildReleased{Build: 4, Reviewed: 33, Recorded: 30, Size: c.Size, Root: c.Root[:], Person: "ab12"}
	change(&release)
	var outs []audit.Outcome
	for i, ev := range []audit.Event{
		audit.PersonAdded{Person: "cd34", Name: "Odo Brandt"},
		audit.ConcessionGranted{Build: 4, Finding: "step:caps/snug/2", Found: "not done", Joint: "caps", Stage: "snug", Fastener: "2",
			Reason: "shown by the drawing", Person: "ab12", Seconded: "cd34"},
		audit.CorrectionMade{Build: 4, Run: 5, Reading: 12, Fastener: "2", Reason: "seen", Person: "ab12"},
		release,
		audit.BuildReopened{Build: 4, Reason: "asked for by the customer", Person: "cd34"},
	} {
		o := audit.Outcome{Entry: audit.Entry{Seq: 31 + uint64(i), At: time.Date(2026, 5, 4, 9, 30, i, 0, time.UTC), Event: ev}}
		if _, is := ev.(audit.CorrectionMade); is {
			m := outcome(12).Marks[0]
			m.No, m.Fastener, m.LocatedBy = 2, "2", audit.ByPerson
			o.Marks = []audit.Mark{m}
		}
		outs = append(outs, o)
	}
	if err := st.Commit(s.t.Context(), outs); err != nil {
		s.t.Fatal(err)
	}
}

func TestVerify_Releases(t *testing.T) {
	for rule, c := range map[string]struct {
		change    func(*audit.BuildReleased)
		statement string
		want      string // empty: all fits
	}{
		"what was signed is there": {},
		"a ledger that never was": {change: func(r *audit.BuildReleased) { r.Root = make([]byte, 32) },
			want: "table build_release, entry 34, leaf "},
		"a ledger of later":         {change: func(r *audit.BuildReleased) { r.Size += 6 }, want: "the ledger that it signs"},
		"a ledger that never came":  {change: func(r *audit.BuildReleased) { r.Size = 999 }, want: "999 leaves, which there are not"},
		"a reason of a concession":  {statement: "UPDATE witnessmark.concession SET reason = 'none'", want: "table concession, entry 32, leaf "},
		"the second person":         {statement: "UPDATE witnessmark.concession SET seconded = ''", want: "table concession, entry 32, leaf "},
		"a correction":              {statement: "UPDATE witnessmark.correction SET fastener = '1'", want: "table correction, entry 33, leaf "},
		"who released":              {statement: "UPDATE witnessmark.build_release SET person = 'cd34'", want: "table build_release, entry 34, leaf "},
		"a reopening taken out":     {statement: "DELETE FROM witnessmark.build_reopening", want: "table build_reopening, entry 35, leaf "},
		"a release that was put in": {statement: "INSERT INTO witnessmark.build_release SELECT 's1', 99, now(), '', 9999, 4, 1, 1, 1, root, '' FROM witnessmark.build_release", want: "table build_release, entry 99"},
	} {
		t.Run(rule, func(t *testing.T) {
			s := newShop(t)
			if c.change == nil {
				c.change = func(*audit.BuildReleased) {}
			}
			s.released(c.change)
			if c.statement != "" {
				if got := s.verify(); got != "" {
					t.Fatalf("before the change: %s", got)
				}
				if err := s.sql(true, c.statement); err != nil {
					t.Fatal(err)
				}
			}
			if got := s.verify(); !strings.Contains(got, c.want) || (c.want == "") != (got == "") {
				t.Errorf("got %q, want %q in it", got, c.want)
			}
		})
	}
}

func TestStore_ReleasesCannotBeChanged(t *testing.T) {
	s := newShop(t)
	s.released(func(*audit.BuildReleased) {})
	for _, table := range []string{"concession", "correction", "build_release", "build_reopening"} {
		for _, statement := range []string{"UPDATE witnessmark." + table + " SET person = 'x'", "DELETE FROM witnessmark." + table, "TRUNCATE witnessmark." + table} {
			for _, role := range []string{"SET ROLE witnessmark_writer; ", ""} {
				var pg *pgconn.PgError
				if err := s.sql(false, role+statement); !errors.As(err, &pg) || pg.Code != "42501" {
					t.Errorf("%s%s: got %v, want insufficient privilege", role, statement, err)
				}
			}
		}
	}
}

func TestReader_HistoryOfARelease(t *testing.T) {
	s := newShop(t)
	s.released(func(*audit.BuildReleased) {})
	r, err := store.OpenReader(t.Context(), s.opt.URL, "s1")
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	h, err := r.History(t.Context(), "E-100")
	if err != nil {
		t.Fatal(err)
	}
	b := h.Builds[0]
	if len(b.Concessions) != 1 || b.Concessions[0].By != "Ines Falk" || b.Concessions[0].SecondedBy != "Odo Brandt" || b.Concessions[0].Reason != "shown by the drawing" || b.Concessions[0].Index < 30 {
		t.Errorf("got %+v, want the one concession with both names and its leaf", b.Concessions)
	}
	if len(b.Corrections) != 1 || b.Corrections[0].By != "Ines Falk" || b.Corrections[0].Reading != 12 {
		t.Errorf("got %+v, want the one correction", b.Corrections)
	}
	if len(b.Releases) != 1 || b.Releases[0].Size == 0 || b.Releases[0].Seq != 34 || len(b.Reopenings) != 1 || b.Reopenings[0].By != "Odo Brandt" {
		t.Errorf("got %+v and %+v, want one of each", b.Releases, b.Reopenings)
	}
	then := *h
	then.Builds = append([]store.BuildHistory{}, b)
	then.Until(time.Date(2026, 5, 4, 9, 30, 3, 0, time.UTC))
	if was := then.Builds[0]; len(was.Concessions) != 1 || len(was.Corrections) != 1 || len(was.Releases) != 1 || len(was.Reopenings) != 0 || was.Standing() != bench.Released {
		t.Errorf("got %+v, want it released as it was known before the reopening", was)
	}
	run := b.Runs[0]
	if len(run.Named) != 1 || run.Named[0].By != "Ines Falk" || run.Named[0].Fastener != "2" {
		t.Errorf("got %+v, want who named a fastener", run.Named)
	}
	marks := run.Readings[3].Marks
	if len(marks) != 2 || marks[1].Fastener != "2" || marks[1].Seq != 33 {
		t.Errorf("got %+v, want the superseding mark that entry 33 led to", marks)
	}
}
