package daemon

import (
	"errors"
	"os"
	"strings"
	"testing"
	"time"

	"witnessmark/audit"
	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/store"
	"witnessmark/store/journal"
	"witnessmark/store/ledger"
)

func (m *moments) accept(t *testing.T, reason string) (audit.Entry, error) {
	t.Helper()
	o, _, err := options(m.data, m.file, t.Output())
	if err != nil {
		t.Fatal(err)
	}
	return AcceptLoss(t.Context(), o, reason, "Ada Holt")
}

// verified verifies the database of the stopped daemon against the checkpoints given and those on the other disk.
func (m *moments) verified(t *testing.T, more ...store.Kept) (store.Verified, error) {
	t.Helper()
	notes, _, err := ledger.ReadNotes(m.witness)
	if err != nil {
		t.Fatal(err)
	}
	for _, n := range notes {
		more = append(more, store.Kept{Where: "the other disk", Note: n.Note})
	}
	return verifyAtRest(t, m.data, more...)
}

func TestF33_LossIsAccepted(t *testing.T) {
	m := twoMoments(t)
	proven, err := ledger.ParseCheckpoint(string(m.last))
	if err != nil {
		t.Fatal(err)
	}
	t.Run("database and journal are old: it goes on from what remains, and says so", func(t *testing.T) {
		m.lay(t, m.newer, m.old, m.seen, "postgres", "journal.db")
		refusesOld(t, m.data, m.file)
		e, err := m.accept(t, "the disk died")
		if err != nil {
			t.Fatal(err)
		}
		loss := e.Event.(audit.LossAccepted)
		if loss.Size != proven.Size || string(loss.Root) != string(proven.Root[:]) || loss.Remains >= loss.Size {
			t.Errorf("got %+v, want what %+v proves, and less that remains", loss, proven)
		}
		if kept, err := os.ReadFile(Folder(m.data).Lost(loss.Size)); err != nil || string(kept) != string(m.last) {
			t.Errorf("got %s, %v, want the checkpoint kept as evidence", kept, err)
		}
		if _, err := m.accept(t, "once more"); !refused(err) {
			t.Errorf("again: got %v, want it said that nothing is lost", err)
		}
		m.goOn(t, 30, 0) // fewer leaves than were lost, and more
		m.goOn(t, 30, 9)
		v, err := m.verified(t, store.Kept{Where: "an office", Note: m.last})
		if err != nil || v.Leaves <= loss.Size || len(v.Losses) != 1 || v.Losses[0].Seq != e.Seq || v.Losses[0].Person != "Ada Holt" {
			t.Errorf("got %+v, %v, want one loss of entry %d", v, err, e.Seq)
		}
		if len(v.Lost) == 0 || !strings.Contains(strings.Join(v.Lost, "\n"), "an office") || v.Kept == 0 {
			t.Errorf("got %q lost and %d kept, want the checkpoint of the office told as lost, and others met", v.Lost, v.Kept)
		}
		m.refusesChanged(t)
	})
	t.Run("the journal went on otherwise: it is recorded, and says so", func(t *testing.T) {
		m.otherwise(t)
		e, err := m.accept(t, "another journal")
		if err != nil {
			t.Fatal(err)
		}
		m.goOn(t, 30, 1)
		v, err := m.verified(t, store.Kept{Where: "an office", Note: m.last})
		if err != nil || len(v.Losses) != 1 || v.Losses[0].Seq != e.Seq || len(v.Lost) == 0 {
			t.Errorf("got %+v, %v, want one loss of entry %d and the checkpoint told as lost", v, err, e.Seq)
		}
	})
	t.Run("nothing is lost: nothing is recorded", func(t *testing.T) {
		for rule, back := range map[string]string{"all is there": "", "the journal brings it in": "postgres"} {
			m.lay(t, m.newer, m.old, m.seen)
			if back != "" {
				m.lay(t, m.newer, m.old, m.seen, back)
			}
			if _, err := m.accept(t, "for once"); !refused(err) {
				t.Errorf("%s: got %v, want a refusal", rule, err)
			}
		}
	})
	t.Run("the journal alone is old: it is written anew, and nothing is lost", func(t *testing.T) {
		m.lay(t, m.newer, m.old, m.seen, "journal.db")
		var more *beyond
		if _, err := m.accept(t, "for once"); !errors.As(err, &more) {
			t.Errorf("got %v, want the database named that holds more", err)
		}
		m.rebuild(t)
		if _, err := m.accept(t, "for once"); !refused(err) {
			t.Errorf("got %v, want nothing lost", err)
		}
		m.goOn(t, 30, 1)
		if v, err := m.verified(t, store.Kept{Where: "an office", Note: m.last}); err != nil || len(v.Losses)+len(v.Lost) > 0 || v.Leaves <= proven.Size {
			t.Errorf("got %+v, %v, want the record to go on whole", v, err)
		}
		if _, err := m.rebuildOnce(t); !refused(err) {
			t.Errorf("where the journal is whole: got %v, want a refusal", err)
		}
	})
	t.Run("the journal is gone and the database old: it is written anew, and the loss accepted", func(t *testing.T) {
		m.lay(t, m.newer, m.old, m.seen, "postgres")
		if err := os.Remove(Folder(m.data).Journal()); err != nil {
			t.Fatal(err)
		}
		refusesOld(t, m.data, m.file)
		m.rebuild(t)
		refusesOld(t, m.data, m.file)
		e, err := m.accept(t, "the disk died")
		if err != nil {
			t.Fatal(err)
		}
		m.goOn(t, 30, 1)
		if v, err := m.verified(t); err != nil || len(v.Losses) != 1 || v.Losses[0].Seq != e.Seq || len(v.Lost) == 0 {
			t.Errorf("got %+v, %v, want one loss of entry %d", v, err, e.Seq)
		}
	})
	t.Log("FAULT F33 states=6")
}

func (m *moments) rebuildOnce(t *testing.T) (uint64, error) {
	t.Helper()
	o, _, err := options(m.data, m.file, t.Output())
	if err != nil {
		t.Fatal(err)
	}
	return RebuildJournal(t.Context(), o)
}

// rebuild writes the journal anew, and looks that all of it up to the old state is as it was.
func (m *moments) rebuild(t *testing.T) {
	t.Helper()
	n, err := m.rebuildOnce(t)
	if err != nil {
		t.Fatal(err)
	}
	all := func(file string) []audit.Entry {
		j, err := journal.Open(file, func() time.Time { return epoch })
		if err != nil {
			t.Fatal(err)
		}
		defer j.Close()
		list, err := j.Read(1, 1000)
		if err != nil {
			t.Fatal(err)
		}
		return list
	}
	made, was := all(Folder(m.data).Journal()), all(Folder(m.newer).Journal())
	if uint64(len(made)) != n || len(made) > len(was) {
		t.Fatalf("got %d entries, want the %d that were told, of %d", len(made), n, len(was))
	}
	for i, e := range made {
		got, _ := audit.Encode(e.Event)
		want, _ := audit.Encode(was[i].Event)
		if e.Seq != was[i].Seq || !e.At.Equal(was[i].At) || !equalButEmpty(got, want) {
			t.Errorf("entry %d: got %v %s, want %v %s", e.Seq, e.At, got, was[i].At, want)
		}
	}
}

// equalButEmpty compares JSON in which an empty list may be null.
func equalButEmpty(a, b []byte) bool {
	plain := func(s []byte) string { return strings.ReplaceAll(string(s), ":null", ":[]") }
	return plain(a) == plain(b)
}

func refused(err error) bool {
	var no *control.Error
	return errors.As(err, &no) && (strings.Contains(err.Error(), "nothing is lost") || strings.Contains(err.Error(), "nothing of it is lost"))
}

// refusesChanged looks that an accepted loss explains no other checkpoint.
func (m *moments) refusesChanged(t *testing.T) {
	t.Helper()
	key, err := ledger.LoadOrCreateKey(Folder(m.data).Key(), store.Origin("north"))
	if err != nil {
		t.Fatal(err)
	}
	proven, err := ledger.ParseCheckpoint(string(m.last))
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []ledger.Checkpoint{{Origin: proven.Origin, Size: 1}, {Origin: proven.Origin, Size: proven.Size}, {Origin: proven.Origin, Size: proven.Size + 1}} {
		signed, err := c.Sign(key.Signer)
		if err != nil {
			t.Fatal(err)
		}
		var changed *store.Mismatch
		if v, err := m.verified(t, store.Kept{Where: "nowhere", Note: signed}); !errors.As(err, &changed) {
			t.Errorf("another root at %d leaves: got %+v, %v, want it told as a change", c.Size, v, err)
		}
	}
}
