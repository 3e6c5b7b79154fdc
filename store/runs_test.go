package store_test

import (
	"os"
	"strings"
	"testing"

	"witnessmark/audit"
	"witnessmark/store"
)

// resumed is the small story with its joint left, taken up again by another person, a bolt renewed, and begun afresh.
func resumed() []audit.Outcome {
	out := outcomes(1, 24)
	for _, ev := range []audit.Event{
		audit.JointClosed{Bench: "B", Run: 5, Person: "ab12"},
		audit.PersonAdded{Person: "cd34", Name: "Bo Lind"},
		audit.JointStarted{Bench: "C", Build: 4, Joint: "caps", Person: "cd34", Continues: 5},
		audit.BoltReplaced{Bench: "C", Run: 27, Fastener: "2", Person: "cd34", Reason: "single-use\x00"},
		audit.JointClosed{Bench: "C", Run: 27, Person: "cd34"},
		audit.JointStarted{Bench: "B", Build: 4, Joint: "caps", Person: "ab12", Afresh: true},
	} {
		o := outcome(uint64(len(out)) + 1)
		o.Entry.Event, o.Marks, o.Refused = ev, nil, ""
		out = append(out, o)
	}
	return out
}

func (s *shop) commitAll(out []audit.Outcome) {
	s.t.Helper()
	st := s.open()
	defer st.Close()
	if err := st.Commit(s.t.Context(), out); err != nil {
		s.t.Fatal(err)
	}
}

func TestReader_RunsThatContinueEachOther(t *testing.T) {
	s := newShop(t)
	s.commitAll(resumed())
	if got := s.verify(); got != "" {
		t.Fatalf("verify: %s", got)
	}
	r, err := store.OpenReader(t.Context(), s.opt.URL, "s1")
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	h, err := r.History(t.Context(), "E-100")
	if err != nil {
		t.Fatal(err)
	}
	runs := h.Builds[0].Runs
	if len(runs) != 3 || runs[0].Continues != 0 || runs[1].Continues != 5 || runs[1].Afresh || !runs[2].Afresh || runs[1].Technician != "Bo Lind" {
		t.Fatalf("got %+v, want one run, the one that continues it, and one begun afresh", runs)
	}
	if n := len(runs[1].Renewals); n != 1 || len(runs[0].Renewals)+len(runs[2].Renewals) != 0 {
		t.Fatalf("got %+v, want one new bolt in the second run", runs)
	}
	b := runs[1].Renewals[0]
	if b.Seq != 28 || b.Person != "Bo Lind" || b.Fastener != "2" || b.Reason != "single-use␀" || b.Index < 28 {
		t.Errorf("got %+v, want the new bolt of fastener 2 with its person, reason and leaf", b)
	}
}

func TestVerify_RunsAndRenewals(t *testing.T) {
	for rule, c := range map[string]struct{ statement, want string }{
		"the fastener of a new bolt": {"UPDATE witnessmark.bolt_replaced SET fastener = '1'", "table bolt_replaced, entry 28, leaf "},
		"a new bolt taken out":       {"DELETE FROM witnessmark.bolt_replaced", "table bolt_replaced, entry 28, leaf "},
		"what a run continues":       {"UPDATE witnessmark.joint_start SET continues = 0", "table joint_start, entry 27, leaf "},
		"that a run began afresh":    {"UPDATE witnessmark.joint_start SET afresh = false", "table joint_start, entry 30, leaf "},
		"an old run made to be one":  {"UPDATE witnessmark.joint_start SET afresh = true WHERE seq = 5", "table joint_start, entry 5, leaf "},
	} {
		s := newShop(t)
		s.commitAll(resumed())
		if err := s.sql(true, c.statement); err != nil {
			t.Fatal(err)
		}
		if got := s.verify(); !strings.Contains(got, c.want) {
			t.Errorf("%s: got %q, want %q in it", rule, got, c.want)
		}
	}
}

// A ledger from before there were renewals: its tables lack what the migration adds, and its leaves hash as they did.
func TestVerify_LedgerFromBeforeTheMigration(t *testing.T) {
	s := newShop(t)
	s.commitAll(outcomes(1, 30))
	if err := s.sql(true, "ALTER TABLE witnessmark.joint_start DROP COLUMN afresh, DROP COLUMN continues; DROP TABLE witnessmark.bolt_replaced"); err != nil {
		t.Fatal(err)
	}
	step, err := os.ReadFile("migrations/00005_joint_runs.sql")
	if err != nil {
		t.Fatal(err)
	}
	if err := s.sql(false, string(step)); err != nil {
		t.Fatal(err)
	}
	if got := s.verify(); got != "" {
		t.Errorf("verify: %s", got)
	}
	leaf, err := audit.Encode(audit.JointStarted{Bench: "B", Build: 4, Joint: "caps", Person: "ab12"})
	if want := `{"bench":"B","build":4,"joint":"caps","person":"ab12"}`; err != nil || string(leaf) != want {
		t.Errorf("got %s, %v, want %s, which old leaves hash", leaf, err, want)
	}
}
