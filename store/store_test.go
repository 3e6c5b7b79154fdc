package store_test

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"witnessmark/audit"
	"witnessmark/device"
	"witnessmark/device/label"
	"witnessmark/device/unit"
	"witnessmark/store"
	"witnessmark/store/cluster/clustertest"
	"witnessmark/store/ledger"
)

func TestMain(m *testing.M) { os.Exit(clustertest.Main(m)) }

// shop is a database with a ledger key and a place outside, for one test.
type shop struct {
	t   *testing.T
	opt store.Options
}

func newShop(t *testing.T) *shop {
	dir := t.TempDir()
	key, err := ledger.LoadOrCreateKey(filepath.Join(dir, "ledger.key"), store.Origin("s1"))
	if err != nil {
		t.Fatal(err)
	}
	clock := func() time.Time { return time.Date(2026, 5, 4, 10, 0, 0, 0, time.UTC) }
	return &shop{t, store.Options{URL: clustertest.Database(t), Shop: "s1", Key: key, Outside: filepath.Join(dir, "checkpoint"), Clock: clock}}
}

func (s *shop) open() *store.Store {
	s.t.Helper()
	st, err := store.Open(s.t.Context(), s.opt)
	if err != nil {
		s.t.Fatal(err)
	}
	s.t.Cleanup(func() { st.Close() })
	return st
}

func (s *shop) commit(st *store.Store, from, to uint64) {
	s.t.Helper()
	if err := errors.Join(st.Commit(s.t.Context(), outcomes(from, to)), st.Publish()); err != nil {
		s.t.Fatal(err)
	}
}

// prove shows an older database that the outcomes lead to what it lacks.
func prove(t *testing.T, st *store.Store, lost []audit.Outcome) {
	t.Helper()
	if err := st.Prove(each(lost)); err != nil {
		t.Fatal(err)
	}
}

func each(list []audit.Outcome) iter.Seq2[audit.Outcome, error] {
	return func(yield func(audit.Outcome, error) bool) {
		for _, o := range list {
			if !yield(o, nil) {
				return
			}
		}
	}
}

// verify gives the sentence of a mismatch, or "" where all fits.
func (s *shop) verify() string {
	s.t.Helper()
	r, err := store.OpenReader(s.t.Context(), s.opt.URL, "")
	if err != nil {
		s.t.Fatal(err)
	}
	defer r.Close()
	outside, err := ledger.ReadOutside(s.opt.Outside)
	if err != nil {
		s.t.Fatal(err)
	}
	var kept []store.Kept
	if outside != nil {
		kept = append(kept, store.Kept{Where: "the file outside", Note: outside})
	}
	if _, err := r.Verify(s.t.Context(), s.opt.Key.Public, kept, nil); err != nil {
		return err.Error()
	}
	return ""
}

// sql runs a statement as the superuser, with the guards of the tables switched off where forced.
func (s *shop) sql(forced bool, statement string) error {
	s.t.Helper()
	ctx := context.Background()
	conn, err := pgx.Connect(ctx, s.opt.URL)
	if err != nil {
		s.t.Fatal(err)
	}
	defer conn.Close(ctx)
	if forced {
		statement = "DO $do$ DECLARE t text; BEGIN FOR t IN SELECT DISTINCT event_object_table FROM information_schema.triggers WHERE trigger_schema = 'witnessmark'" +
			" LOOP EXECUTE format('ALTER TABLE witnessmark.%I DISABLE TRIGGER USER', t); END LOOP; END $do$; " + statement
	}
	_, err = conn.Exec(ctx, statement)
	return err
}

// outcomes are the entries from … to of a small story with every kind of record.
func outcomes(from, to uint64) []audit.Outcome {
	var out []audit.Outcome
	for seq := from; seq <= to; seq++ {
		out = append(out, outcome(seq))
	}
	return out
}

func outcome(seq uint64) audit.Outcome {
	due := time.Date(2027, 1, 1, 0, 0, 0, 0, time.FixedZone("", 3600))
	angle, counter := unit.Angle(31_500), int64(seq)
	o := audit.Outcome{Entry: audit.Entry{Seq: seq, At: time.Date(2026, 5, 4, 9, 0, int(seq), 1000, time.UTC)}}
	story := []audit.Event{
		audit.ProcedureAdded{Family: "F", Revision: "1", Title: "T", Text: "text"},
		audit.PersonAdded{Person: "ab12", Name: "Ines Falk"},
		audit.WrenchDeclared{Wrench: "W1", Due: &due, Deviation: -8_000, Permissible: 40_000},
		audit.BuildOpened{Engine: "E-100", Family: "F", Revision: "1", WorkOrder: "WO-1", Person: "ab12"},
		audit.JointStarted{Bench: "B", Build: 4, Joint: "caps", Person: "ab12"},
		audit.CheckAnswered{Bench: "B", Run: 5, Check: "new-bolts", Yes: true, Person: "ab12"},
		audit.FrameRefused{Bench: "B", Refusal: device.Refusal{Wrench: "W1", Reason: device.ReasonTorn, Detail: "half\x00", Raw: []byte{0, 255}}},
		audit.FastenerNamed{Bench: "B", Run: 5, Reading: 9, Fastener: "2", Person: "ab12"},
	}
	switch {
	case seq <= uint64(len(story)):
		o.Entry.Event = story[seq-1]
	case seq == 25:
		o.Entry.Event = audit.BadgeGiven{Badge: "B-7", Person: "ab12", By: "ab12"}
	case seq > 25 && seq < 30:
		scan := audit.LabelScanned{Bench: "B", Scanner: "S", Label: label.Engine, Value: "E-100", Text: "E:E-100", Run: 5, Person: "ab12"}
		switch seq {
		case 27:
			scan.Label, scan.Value, scan.Text = label.Badge, "B-7", "B:B-7"
		case 28:
			scan.Label, scan.Value, scan.Text, scan.Note, o.Refused = "", "", "B+7\x00", "no kind of label", "no kind of label"
		case 29:
			scan.Label, scan.Value, scan.Text = label.Fastener, "1", "F:1"
		}
		o.Entry.Event = scan
	case seq == 23:
		o.Entry.Event = audit.AdapterFitted{Bench: "B", Wrench: "W1", Adapter: "cf-22", WrenchLength: 400_000_000, Extension: 60_000_000, Angle: 30_000, Person: "ab12"}
	case seq%50 == 0:
		o.Entry.Event, o.Refused = audit.JointClosed{Bench: "B", Run: 9, Person: "ab12"}, "no joint"
	default:
		o.Entry.Event = audit.ReadingTaken{Bench: "B", Reading: device.Reading{Wrench: "W1", Torque: 45_200_000, TorqueText: "45.2", Unit: unit.Nm,
			Angle: &angle, Direction: device.Tighten, Counter: &counter, Raw: []byte("#1;45.2\r\n"), Profile: "p 1"}}
		o.Marks = []audit.Mark{{Reading: seq, No: 1, Run: 5, Build: 4, Joint: "caps", Stage: "snug", Fastener: "1", Verdict: audit.Pass,
			Flags: []string{audit.ReHit}, Confidence: 997_000, LocatedBy: audit.ByOrder, Family: "F", Revision: "1", Calibration: 3}}
		if seq == 24 {
			o.Marks[0].Stage, o.Marks[0].Fastener, o.Marks[0].CheckID = "", "", "drag"
		}
	}
	return o
}

func TestStore_CommitReopenVerify(t *testing.T) {
	s := newShop(t)
	st := s.open()
	s.commit(st, 1, 10)
	s.commit(st, 5, 60) // entries that are in already are passed over
	if got := st.Position(); got != 60 {
		t.Errorf("got position %d, want 60", got)
	}
	size, signed := st.Ledger()
	if size != 60+45 || signed.IsZero() {
		t.Errorf("got %d leaves signed %v, want 60 entries and 45 marks, signed", size, signed)
	}
	if err := st.Close(); err != nil {
		t.Fatal(err)
	}
	if got := s.verify(); got != "" {
		t.Fatalf("verify: %s", got)
	}
	st = s.open()
	s.commit(st, 61, 70)
	if got := s.verify(); got != "" {
		t.Errorf("verify after reopening: %s", got)
	}
}

func TestStore_OneOrManyCommitsSameRoot(t *testing.T) {
	root := func(cuts ...uint64) any {
		s := newShop(t)
		st := s.open()
		from := uint64(1)
		for _, to := range cuts {
			s.commit(st, from, to)
			from = to + 1
		}
		r, err := store.OpenReader(t.Context(), s.opt.URL, "s1")
		if err != nil {
			t.Fatal(err)
		}
		defer r.Close()
		v, err := r.Verify(t.Context(), s.opt.Key.Public, nil, nil)
		if err != nil {
			t.Fatal(err)
		}
		return v.Root
	}
	if a, b := root(40), root(1, 2, 9, 13, 40); a != b {
		t.Errorf("got root %v in one commit and %v in five", a, b)
	}
}

func TestStore_GapIsRefused(t *testing.T) {
	s := newShop(t)
	if err := s.open().Commit(t.Context(), outcomes(2, 3)); err == nil || !strings.Contains(err.Error(), "without a gap") {
		t.Errorf("got %v, want entry 2 refused after entry 0", err)
	}
}

func TestStore_RecordsCannotBeChanged(t *testing.T) {
	s := newShop(t)
	s.commit(s.open(), 1, 30)
	for _, statement := range []string{
		"UPDATE witnessmark.reading SET torque = 1", "DELETE FROM witnessmark.mark", "TRUNCATE witnessmark.reading",
		"DELETE FROM witnessmark.ledger_leaf", "UPDATE witnessmark.checkpoint SET size = 1", "TRUNCATE witnessmark.refusal",
		"UPDATE witnessmark.person SET person = 'x'", "UPDATE witnessmark.person SET name = 'x'", "TRUNCATE witnessmark.key_change", "UPDATE witnessmark.loss SET reason = ''", "UPDATE witnessmark.hand_over SET person = 'x'", "DELETE FROM witnessmark.hand_over", "TRUNCATE witnessmark.hand_over", "UPDATE witnessmark.clock_set SET by_ms = 0", "DELETE FROM witnessmark.clock_set", "TRUNCATE witnessmark.clock_set", "DELETE FROM witnessmark.loss", "DELETE FROM witnessmark.person", "UPDATE witnessmark.build SET engine = 'E-2'",
		"UPDATE witnessmark.adapter SET angle = 0", "DELETE FROM witnessmark.adapter", "TRUNCATE witnessmark.adapter",
		"UPDATE witnessmark.badge SET person = 'x'", "UPDATE witnessmark.badge SET badge = 'B-8'", "DELETE FROM witnessmark.badge", "TRUNCATE witnessmark.badge",
		"UPDATE witnessmark.scan SET person = 'x'", "UPDATE witnessmark.scan SET label = 'badge'", "DELETE FROM witnessmark.scan", "TRUNCATE witnessmark.scan",
		"UPDATE witnessmark.bolt_replaced SET fastener = 'x'", "DELETE FROM witnessmark.bolt_replaced", "TRUNCATE witnessmark.bolt_replaced",
		"UPDATE witnessmark.joint_start SET afresh = true", "UPDATE witnessmark.joint_start SET continues = 5",
		"UPDATE witnessmark.scan SET value = '' WHERE label = 'engine'", "UPDATE witnessmark.scan SET text = '' WHERE label = 'engine'",
		"UPDATE witnessmark.scan SET value = 'B-8' WHERE label = 'badge'", "UPDATE witnessmark.scan SET text = 'B:B-8', value = '' WHERE label = ''",
	} {
		for _, role := range []string{"witnessmark_writer", "the owner"} {
			set := ""
			if role != "the owner" {
				set = "SET ROLE " + role + "; "
			}
			var pg *pgconn.PgError
			if err := s.sql(false, set+statement); !errors.As(err, &pg) || pg.Code != "42501" {
				t.Errorf("%s by %s: got %v, want insufficient privilege", statement, role, err)
			}
		}
	}
	for what, statement := range map[string]string{
		"a name":            "UPDATE witnessmark.person SET name = ''",
		"a badge":           "UPDATE witnessmark.badge SET badge = ''",
		"a scan of a badge": "UPDATE witnessmark.scan SET value = '', text = '' WHERE label IN ('badge', '')",
	} {
		if err := s.sql(false, "SET ROLE witnessmark_reader; "+statement); err == nil {
			t.Errorf("%s blanked by a reader: got no error", what)
		}
		if err := s.sql(false, statement); err != nil {
			t.Errorf("%s blanked by the owner: got %v", what, err)
		}
		if got := s.verify(); got != "" {
			t.Errorf("verify after %s was blanked: %s", what, got)
		}
	}
}

func TestVerify_NamesWhatWasChanged(t *testing.T) {
	for rule, c := range map[string]struct{ statement, want string }{
		"a torque":                        {"UPDATE witnessmark.reading SET torque = torque + 1 WHERE seq = 12", "table reading, entry 12, leaf "},
		"a verdict":                       {"UPDATE witnessmark.mark SET verdict = 'low torque' WHERE reading = 12", "table mark, entry 12, leaf "},
		"the check of a reading":          {"UPDATE witnessmark.mark SET check_id = '' WHERE reading = 24", "table mark, entry 24, leaf "},
		"an engine":                       {"UPDATE witnessmark.build SET engine = 'E-101'", "table build, entry 4, leaf 3"},
		"the person of a scan":            {"UPDATE witnessmark.scan SET person = 'x' WHERE seq = 27", "table scan, entry 27, leaf "},
		"the extension of an adapter":     {"UPDATE witnessmark.adapter SET extension = extension + 1", "table adapter, entry 23, leaf "},
		"how far a wrench may deviate":    {"UPDATE witnessmark.wrench SET permissible = 60000", "table wrench, entry 3, leaf "},
		"the person of a badge":           {"UPDATE witnessmark.badge SET person = 'x'", "table badge, entry 25, leaf "},
		"a label that was scanned":        {"UPDATE witnessmark.scan SET value = '2' WHERE seq = 29", "table scan, entry 29, leaf "},
		"a time":                          {"UPDATE witnessmark.reading SET at = at + interval '1 microsecond' WHERE seq = 9", "table reading, entry 9, leaf 8"},
		"a row taken out":                 {"DELETE FROM witnessmark.reading WHERE seq = 12", "table reading, entry 12, leaf "},
		"the last row taken out":          {"DELETE FROM witnessmark.mark WHERE reading = 30", "table mark, entry 30, leaf "},
		"a row put in":                    {"INSERT INTO witnessmark.joint_close SELECT 's1', 99, now(), '', 9999, 'B', 5, ''", "table joint_close, entry 99, leaf 9999: a row without a leaf"},
		"a leaf's hash":                   {"UPDATE witnessmark.ledger_leaf SET hash = decode(repeat('00', 32), 'hex') WHERE index = 7", "leaf 7"},
		"a leaf taken out":                {"DELETE FROM witnessmark.ledger_leaf WHERE index = 7", "leaf 7: the leaf is missing"},
		"row and leaf taken out":          {"DELETE FROM witnessmark.mark WHERE reading = 30; DELETE FROM witnessmark.ledger_leaf WHERE index = (SELECT max(index) FROM witnessmark.ledger_leaf)", "table checkpoint"},
		"a checkpoint's root":             {"UPDATE witnessmark.checkpoint SET root = decode(repeat('00', 32), 'hex')", "table checkpoint"},
		"a checkpoint's signature":        {"UPDATE witnessmark.checkpoint SET note = set_byte(note, length(note) - 10, get_byte(note, length(note) - 10) # 1)", "table checkpoint"},
		"the end of the ledger":           {"UPDATE witnessmark.ledger_head SET size = size - 1", "table ledger_head"},
		"the newest checkpoint taken out": {"DELETE FROM witnessmark.checkpoint", "table checkpoint: the one of size"},
		"the end of the ledger's edge":    {"UPDATE witnessmark.ledger_head SET edge = ''", "table ledger_head: its edge"},
		"the journal position":            {"UPDATE witnessmark.ledger_head SET position = position - 1", "table ledger_head: it says entry 29"},
		"the entry of a leaf":             {"UPDATE witnessmark.ledger_leaf SET seq = 77 WHERE index = 3", "table ledger_leaf, entry 77, leaf 3"},
		"a kind that does not exist":      {"UPDATE witnessmark.ledger_leaf SET kind = 'gossip' WHERE index = 3", `unknown kind "gossip"`},
	} {
		t.Run(rule, func(t *testing.T) {
			s := newShop(t)
			s.commit(s.open(), 1, 30)
			if got := s.verify(); got != "" {
				t.Fatalf("before the change: %s", got)
			}
			if err := s.sql(true, c.statement); err != nil {
				t.Fatal(err)
			}
			if got := s.verify(); !strings.Contains(got, c.want) {
				t.Errorf("got %q, want %q in it", got, c.want)
			}
		})
	}
}

func TestOpen_NewerDatabaseIsRefused(t *testing.T) {
	s := newShop(t)
	s.open().Close()
	if err := s.sql(false, "INSERT INTO witnessmark.schema_version (version_id, is_applied) VALUES (99, true)"); err != nil {
		t.Fatal(err)
	}
	if _, err := store.Open(t.Context(), s.opt); err == nil || !strings.Contains(err.Error(), "use the newer program") {
		t.Errorf("got %v, want the newer program asked for", err)
	}
}

func TestStore_SecondDaemonIsRefused(t *testing.T) {
	s := newShop(t)
	first := s.open()
	if _, err := store.Open(t.Context(), s.opt); !errors.Is(err, store.ErrFenced) {
		t.Errorf("got %v, want ErrFenced while the first holds the lock", err)
	}
	// The first one loses its lock without knowing; a second takes over; the first must not write any more.
	if err := s.sql(false, "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE application_name = 'witnessmark' AND datname = current_database()"); err != nil {
		t.Fatal(err)
	}
	var second *store.Store
	for second == nil { // the lock is free when the terminated server process has ended
		st, err := store.Open(t.Context(), s.opt)
		if err != nil && !errors.Is(err, store.ErrFenced) {
			t.Fatal(err)
		}
		second = st
	}
	defer second.Close()
	if err := first.Commit(t.Context(), outcomes(1, 5)); err == nil {
		t.Fatal("the first daemon wrote after it had lost its lock")
	}
	if err := first.Reload(t.Context()); !errors.Is(err, store.ErrFenced) {
		t.Errorf("got %v, want ErrFenced", err)
	}
	s.commit(second, 1, 5)
	if got := s.verify(); got != "" {
		t.Errorf("verify: %s", got)
	}
}

func TestStore_EpochFencesACommit(t *testing.T) {
	s := newShop(t)
	st := s.open()
	if err := s.sql(true, "UPDATE witnessmark.ledger_head SET epoch = epoch + 1"); err != nil {
		t.Fatal(err)
	}
	if err := st.Commit(t.Context(), outcomes(1, 2)); !errors.Is(err, store.ErrFenced) {
		t.Errorf("got %v, want ErrFenced", err)
	}
}

func TestOpen_DatabaseOlderThanTheCheckpointOutside(t *testing.T) {
	s := newShop(t)
	st := s.open()
	s.commit(st, 1, 10)
	old, err := os.ReadFile(s.opt.Outside)
	if err != nil {
		t.Fatal(err)
	}
	s.commit(st, 11, 12)
	newer, err := os.ReadFile(s.opt.Outside)
	if err != nil {
		t.Fatal(err)
	}
	st.Close()
	t.Run("one step behind is brought up to date", func(t *testing.T) {
		if err := os.WriteFile(s.opt.Outside, old, 0o644); err != nil {
			t.Fatal(err)
		}
		s.open().Close()
		if got, _ := os.ReadFile(s.opt.Outside); string(got) != string(newer) {
			t.Errorf("got\n%s\nwant the newest checkpoint\n%s", got, newer)
		}
	})
	t.Run("a smaller database takes what it has lost, and has the same checkpoint again", func(t *testing.T) {
		other := newShop(t)
		other.opt.Key, other.opt.Outside = s.opt.Key, s.opt.Outside
		st := other.open()
		lacks := st.Lacks()
		if err := st.Commit(t.Context(), outcomes(1, 5)); !errors.Is(err, store.ErrOlder) {
			t.Errorf("before it is proven: got %v, want ErrOlder", err)
		}
		prove(t, st, outcomes(1, 15))
		other.commit(st, 1, 5)
		if now := st.Lacks(); now <= 0 || now >= lacks {
			t.Errorf("got %d leaves lacking of %d, want fewer but not none", now, lacks)
		}
		if got, _ := os.ReadFile(s.opt.Outside); string(got) != string(newer) {
			t.Errorf("got\n%s\nwant the newer checkpoint kept\n%s", got, newer)
		}
		st.Close()
		st = other.open() // as after a crash in between
		prove(t, st, outcomes(6, 15))
		other.commit(st, 6, 15)
		if n := st.Lacks(); n != 0 {
			t.Errorf("got %d leaves lacking, want none", n)
		}
		st.Close()
		if got, _ := os.ReadFile(s.opt.Outside); string(got) == string(newer) || len(got) == 0 {
			t.Errorf("got\n%s\nwant the checkpoint of 15 entries", got)
		}
		if err := os.WriteFile(s.opt.Outside, newer, 0o644); err != nil { // as after a crash before the publishing
			t.Fatal(err)
		}
		other.open().Close()
		if err := os.WriteFile(s.opt.Outside, newer, 0o644); err != nil {
			t.Fatal(err)
		}
	})
	t.Run("it takes nothing else", func(t *testing.T) {
		other := newShop(t)
		other.opt.Key, other.opt.Outside = s.opt.Key, s.opt.Outside
		changed := outcomes(1, 12)
		changed[3].Refused = "told otherwise"
		st := other.open()
		defer st.Close()
		for rule, offered := range map[string][]audit.Outcome{"others": changed, "too few": outcomes(1, 11), "none": nil} {
			if err := st.Prove(each(offered)); !errors.Is(err, store.ErrOlder) {
				t.Errorf("%s: got %v, want ErrOlder", rule, err)
			}
			if err := st.Commit(t.Context(), changed[:2]); !errors.Is(err, store.ErrOlder) {
				t.Errorf("%s, the first of them: got %v, want ErrOlder", rule, err)
			}
		}
		prove(t, st, outcomes(1, 12))
		if err := st.Commit(t.Context(), changed); !errors.Is(err, store.ErrOlder) || st.Position() != 0 {
			t.Errorf("others than those that were proven: got %v at entry %d, want ErrOlder and nothing written", err, st.Position())
		}
		if size, position, err := store.End(t.Context(), other.opt.URL, other.opt.Shop); size != 0 || position != 0 || err != nil {
			t.Errorf("got leaf %d, entry %d, %v, want nothing written", size, position, err)
		}
	})
	t.Run("another ledger of the same size is refused", func(t *testing.T) {
		other := newShop(t)
		other.opt.Key = s.opt.Key
		changed := outcomes(1, 12)
		changed[3].Refused = "told otherwise"
		st := other.open()
		if err := st.Commit(t.Context(), changed); err != nil {
			t.Fatal(err)
		}
		st.Close()
		other.opt.Outside = s.opt.Outside
		if _, err := store.Open(t.Context(), other.opt); err == nil || !strings.Contains(err.Error(), "another root") {
			t.Errorf("got %v, want another root named", err)
		}
	})
	t.Run("a damaged file is refused", func(t *testing.T) {
		if err := os.WriteFile(s.opt.Outside, newer[:len(newer)-9], 0o644); err != nil {
			t.Fatal(err)
		}
		if _, err := store.Open(t.Context(), s.opt); err == nil {
			t.Error("got no error")
		}
	})
}

func TestReader_History(t *testing.T) {
	s := newShop(t)
	s.commit(s.open(), 1, 30)
	r, err := store.OpenReader(t.Context(), s.opt.URL, "s1")
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	h, err := r.History(t.Context(), "E-100")
	if err != nil {
		t.Fatal(err)
	}
	if len(h.Builds) != 1 || h.Builds[0].Technician != "Ines Falk" || h.Builds[0].Procedure != "text" || len(h.Builds[0].Runs) != 1 {
		t.Fatalf("got %+v", h)
	}
	run := h.Builds[0].Runs[0]
	if len(run.Readings) != 16 || len(run.Answers) != 1 || run.Answers[0].Person != "Ines Falk" || run.Closed != nil {
		t.Errorf("got %d readings, %+v", len(run.Readings), run.Answers)
	}
	if len(run.Scans) != 1 || run.Scans[0].Person != "Ines Falk" || run.Scans[0].Value != "1" || run.Scans[0].Index == 0 {
		t.Errorf("got %+v, want the one label of a fastener with its person", run.Scans)
	}
	first := run.Readings[0]
	if first.Seq != 9 || first.Torque != 45_200_000 || *first.Angle != 31_500 || len(first.Marks) != 1 || first.Marks[0].Index != first.Index+1 {
		t.Errorf("got %+v", first)
	}
	for _, rd := range run.Readings {
		if got, want := rd.Marks[0].CheckID, map[uint64]string{24: "drag"}[rd.Seq]; got != want {
			t.Errorf("reading %d: got the check %q, want %q", rd.Seq, got, want)
		}
	}
	if _, err := r.History(t.Context(), "E-101"); err == nil || !strings.Contains(err.Error(), "E-100") {
		t.Errorf("got %v, want the serial like it named", err)
	}
	if _, err := r.History(t.Context(), "'; DROP TABLE witnessmark.build; --"); err == nil {
		t.Error("an engine that is SQL: got no error")
	}
}

// TestSchema_EveryKeyBeginsWithTheShop holds the rule that lets many shops share a database.
func TestSchema_EveryKeyBeginsWithTheShop(t *testing.T) {
	s := newShop(t)
	s.open()
	conn, err := pgx.Connect(t.Context(), s.opt.URL)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.Background())
	rows, err := conn.Query(t.Context(), `SELECT i.indexrelid::regclass::text || ' begins with ' || a.attname
		FROM pg_index i JOIN pg_class c ON c.oid = i.indrelid JOIN pg_namespace n ON n.oid = c.relnamespace
		JOIN pg_attribute a ON a.attrelid = c.oid AND a.attnum = i.indkey[0]
		WHERE n.nspname = 'witnessmark' AND c.relname <> 'schema_version' AND a.attname <> 'shop'
		UNION ALL SELECT table_name || '.' || column_name || ' is numbered by the database' FROM information_schema.columns
		WHERE table_schema = 'witnessmark' AND table_name <> 'schema_version' AND (is_identity = 'YES' OR column_default LIKE 'nextval%')`)
	if err != nil {
		t.Fatal(err)
	}
	found, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil || len(found) != 0 {
		t.Errorf("got %v, %v, want nothing", found, err)
	}
	var tables int
	if err := conn.QueryRow(t.Context(), "SELECT count(*) FROM information_schema.tables WHERE table_schema = 'witnessmark'").Scan(&tables); err != nil || tables < 20 {
		t.Errorf("got %d tables, %v, want 20 and more, or this check looks at nothing", tables, err)
	}
}

func BenchmarkStore_Commit(b *testing.B) {
	for _, n := range []uint64{1, 100, 500} {
		b.Run(fmt.Sprintf("%d readings", n), func(b *testing.B) {
			dir := b.TempDir()
			key, err := ledger.LoadOrCreateKey(filepath.Join(dir, "k"), store.Origin("s1"))
			if err != nil {
				b.Fatal(err)
			}
			st, err := store.Open(b.Context(), store.Options{URL: clustertest.Database(b), Shop: "s1", Key: key,
				Outside: filepath.Join(dir, "c"), Clock: time.Now})
			if err != nil {
				b.Fatal(err)
			}
			defer st.Close()
			next := uint64(1)
			for b.Loop() {
				if err := st.Commit(b.Context(), outcomes(next, next+n-1)); err != nil {
					b.Fatal(err)
				}
				next += n
			}
		})
	}
}
