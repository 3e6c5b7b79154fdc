package daemon

import (
	"errors"
	"os"
	"strings"
	"testing"

	"witnessmark/audit"
	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/store"
	"witnessmark/store/cluster"
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

// verified checks the database of a stopped daemon against the checkpoints given and those on the other disk.
func (m *moments) verified(t *testing.T, more ...store.Kept) (store.Verified, error) {
	t.Helper()
	c, err := cluster.Start(t.Context(), Folder(m.data).Postgres())
	if err != nil {
		t.Fatal(err)
	}
	defer c.Stop(t.Context())
	r, err := store.OpenReader(t.Context(), c.ConnString(), "north")
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	notes, _, err := ledger.ReadNotes(m.witness)
	if err != nil {
		t.Fatal(err)
	}
	for _, n := range notes {
		more = append(more, store.Kept{Where: "the other disk", Note: n.Note})
	}
	key, err := os.ReadFile(Folder(m.data).Key() + ".pub")
	if err != nil {
		t.Fatal(err)
	}
	return r.Verify(t.Context(), strings.TrimSpace(string(key)), more, nil)
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
	t.Run("the database holds more than the journal", func(t *testing.T) {
		m.lay(t, m.newer, m.old, m.seen, "journal.db")
		var more *beyond
		if _, err := m.accept(t, "for once"); !errors.As(err, &more) {
			t.Errorf("got %v, want the database named that holds more", err)
		}
	})
	t.Log("FAULT F33 states=5")
}

func refused(err error) bool {
	var no *control.Error
	return errors.As(err, &no) && strings.Contains(err.Error(), "nothing is lost")
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
