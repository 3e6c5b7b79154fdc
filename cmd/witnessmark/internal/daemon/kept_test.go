package daemon

import (
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"witnessmark/store"
	"witnessmark/store/cluster"
	"witnessmark/store/ledger"
)

// copyFolder copies a folder, or a file, with owners and rights as they are.
func copyFolder(t *testing.T, from, to string) {
	t.Helper()
	if out, err := exec.CommandContext(t.Context(), "cp", "-a", from, to).CombinedOutput(); err != nil {
		t.Fatalf("cp: %v: %s", err, out)
	}
}

// putBack puts a copy in the place of what is there.
func putBack(t *testing.T, from, to string) {
	t.Helper()
	if err := os.RemoveAll(to); err != nil {
		t.Fatal(err)
	}
	copyFolder(t, from, to)
}

// proved verifies the database of a stopped daemon against a checkpoint that was kept.
func proved(t *testing.T, data string, note []byte) {
	t.Helper()
	found, err := verifyAtRest(t, data, store.Kept{Where: "kept", Note: note})
	if err != nil || found.Kept != 1 {
		t.Errorf("got %+v, %v, want the record to go on from the checkpoint that was kept", found, err)
	}
}

// verifyAtRest verifies the database of a stopped daemon against checkpoints.
func verifyAtRest(t *testing.T, data string, kept ...store.Kept) (store.Verified, error) {
	t.Helper()
	c, err := cluster.Start(t.Context(), Folder(data).Postgres())
	if err != nil {
		t.Fatal(err)
	}
	defer c.Stop(t.Context())
	return verify(t, t.Context(), c.ConnString(), data, kept...)
}

// moments is a shop at two moments, in folders beside that of the daemon.
type moments struct {
	w                         *wrench
	data, old, newer, witness string
	file                      string // configuration
	last, seen                []byte // checkpoint of the newer one in the data folder, and all on the other disk
}

func twoMoments(t *testing.T) *moments {
	t.Helper()
	w, port := newWrench(t)
	dir := t.TempDir()
	m := &moments{w: w, data: filepath.Join(dir, "data"), old: filepath.Join(dir, "old"), newer: filepath.Join(dir, "newer"), witness: filepath.Join(dir, "witness.txt")}
	m.file = shopFile(port) + "witness: " + m.witness + "\n"
	begun := start(t, m.data, m.file)
	onBench(t, client(t, begun))
	w.pull(t, 30, 40)
	committed(t, begun)
	stopDaemon(t, begun)
	putBack(t, m.data, m.old)
	m.goOn(t, 30, 2)
	putBack(t, m.data, m.newer)
	var err error
	if m.last, err = os.ReadFile(Folder(m.newer).Outside()); err != nil {
		t.Fatal(err)
	}
	if m.seen, err = os.ReadFile(m.witness); err != nil || !strings.Contains(string(m.seen), strings.TrimSpace(string(m.last))) {
		t.Fatalf("got %s, %v, want the newest checkpoint on the other disk", m.seen, err)
	}
	return m
}

// goOn starts a daemon, pulls, and stops it when all is in the database.
func (m *moments) goOn(t *testing.T, torque, pulls int64) {
	t.Helper()
	d := start(t, m.data, m.file)
	for range pulls {
		m.w.pull(t, torque, 40)
	}
	committed(t, d)
	stopDaemon(t, d)
}

// lay puts parts of one state over another, and the checkpoints on the other disk as they are given.
func (m *moments) lay(t *testing.T, base, from string, seen []byte, parts ...string) {
	t.Helper()
	putBack(t, base, m.data)
	for _, part := range parts {
		if from == "" {
			if err := os.RemoveAll(filepath.Join(m.data, part)); err != nil {
				t.Fatal(err)
			}
			continue
		}
		putBack(t, filepath.Join(from, part), filepath.Join(m.data, part))
	}
	if err := os.RemoveAll(m.witness); err != nil {
		t.Fatal(err)
	}
	if seen != nil {
		if err := os.WriteFile(m.witness, seen, 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// TestF33_OldStatePutBack puts parts of an earlier state back.
func TestF33_OldStatePutBack(t *testing.T) {
	m := twoMoments(t)
	w, data, old, newer, file, seen, last := m.w, m.data, m.old, m.newer, m.file, m.seen, m.last
	states := []struct {
		rule    string
		base    string   // the state that is there
		back    []string // what of the other one is put over it
		witness bool     // the file on the other disk is there
		from    string   // state of what is put over
		refused bool
	}{
		{"the database alone: the journal brings in again what it lacks", newer, []string{"postgres"}, true, old, false},
		{"the database is gone: the journal brings in all", newer, []string{"postgres"}, true, "", false},
		{"database and checkpoint: the one on the other disk is met again", newer, []string{"postgres", "checkpoint"}, true, old, false},
		{"database and journal: the checkpoint proves more", newer, []string{"postgres", "journal.db"}, false, old, true},
		{"all of the folder: the checkpoint on the other disk proves more", old, nil, true, "", true},
		{"the journal alone: the database holds more", newer, []string{"journal.db"}, false, old, true},
		{"all of the folder, and the person has moved the file away: it goes on from there", old, nil, false, "", false},
	}
	for _, tc := range states {
		t.Run(tc.rule, func(t *testing.T) {
			kept := seen
			if !tc.witness {
				kept = nil
			}
			m.lay(t, tc.base, tc.from, kept, tc.back...)
			if tc.refused {
				refusesOld(t, data, file)
				return
			}
			m.goOn(t, 30, 1)
			if tc.base == newer {
				proved(t, data, last)
			}
		})
	}
	t.Run("database and journal, and the journal went on otherwise: none of it is written", func(t *testing.T) {
		m.otherwise(t)
		d := start(t, data, file)
		said := awaitTrouble(t, d)
		if !errors.Is(said, store.ErrOlder) || !strings.Contains(said.Error(), "another state than the checkpoint") {
			t.Errorf("got %v, want it said that these entries are others", said)
		}
		w.pull(t, 31, 40) // the bench goes on
		if at := d.Status(); at.Position >= at.Entries {
			t.Errorf("got %+v, want nothing written", at)
		}
		stopDaemon(t, d)
		if now, err := ledger.ReadOutside(Folder(data).Outside()); err != nil || string(now) != string(last) {
			t.Errorf("got the checkpoint %s, %v, want it as it was", now, err)
		}
	})
	t.Logf("FAULT F33 states=%d", len(states)+1)
}

// otherwise is the old database with a journal that went on from there in another way than the checkpoint proves.
func (m *moments) otherwise(t *testing.T) {
	t.Helper()
	m.lay(t, m.old, "", nil)
	m.goOn(t, 31, 3)
	journal := filepath.Join(t.TempDir(), "journal.db")
	putBack(t, Folder(m.data).Journal(), journal)
	m.lay(t, m.newer, m.old, nil, "postgres")
	putBack(t, journal, Folder(m.data).Journal())
}

// awaitTrouble waits until the writer has looked at the database and says why it does not write.
func awaitTrouble(t *testing.T, d *Daemon) error {
	t.Helper()
	for {
		at, moved := d.writer.look()
		if at.trouble != nil && !errors.Is(at.trouble, errNotYet) {
			return at.trouble
		}
		select {
		case <-moved:
		case <-time.After(time.Minute):
			t.Fatalf("got %+v, want trouble", at)
		}
	}
}

// refusesOld starts a daemon that must say what is wrong and journal nothing.
func refusesOld(t *testing.T, data, file string) {
	t.Helper()
	before, err := ledger.ReadOutside(Folder(data).Outside())
	if err != nil {
		t.Fatal(err)
	}
	err = startError(t, data, file)
	if err == nil {
		t.Fatal("got it started")
	}
	if !errors.Is(err, store.ErrOlder) && !strings.Contains(err.Error(), "the journal ends at") || strings.Count(err.Error(), "\n") > 0 {
		t.Errorf("got %v, want one sentence of what was lost", err)
	}
	if after, err := ledger.ReadOutside(Folder(data).Outside()); string(after) != string(before) {
		t.Errorf("got the checkpoint changed, %v", err)
	}
}
