package daemon

import (
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"witnessmark/store"
)

// copyFolder copies a folder of the private server with owners and rights as they are.
func copyFolder(t *testing.T, from, to string) {
	t.Helper()
	if out, err := exec.CommandContext(t.Context(), "cp", "-a", from, to).CombinedOutput(); err != nil {
		t.Fatalf("cp: %v: %s", err, out)
	}
}

// The folder of the database is replaced by last week's: the daemon says so and records nothing into it, though the bench goes
// on. With the checkpoint moved away, as it asks for, it brings in again what its journal has, and the ledger is the one that
// the checkpoint moved away had signed.
func TestF33_OlderDatabaseAndTheWayOn(t *testing.T) {
	w, port := newWrench(t)
	data := t.TempDir()
	d := start(t, data, shopFile(port))
	onBench(t, client(t, d))
	for range 4 {
		w.pull(t, 30, 40)
	}
	committed(t, d)
	stopDaemon(t, d)
	lastWeek := data + "-last-week"
	copyFolder(t, Folder(data).Postgres(), lastWeek)
	t.Cleanup(func() {
		if err := os.RemoveAll(lastWeek); err != nil {
			t.Error(err)
		}
	})

	d = start(t, data, shopFile(port))
	w.pull(t, 60, 27)
	w.pull(t, 60, 27)
	committed(t, d)
	stopDaemon(t, d)
	if err := os.RemoveAll(Folder(data).Postgres()); err != nil {
		t.Fatal(err)
	}
	copyFolder(t, lastWeek, Folder(data).Postgres())

	d = start(t, data, shopFile(port))
	for deadline := time.Now().Add(time.Minute); !strings.Contains(d.Status().Database, "older than the checkpoint"); {
		if time.Now().After(deadline) {
			t.Fatalf("got the database %q, want it known to be older", d.Status().Database)
		}
		time.Sleep(20 * time.Millisecond)
	}
	w.pull(t, 60, 27) // the bench goes on
	if at := d.Status(); at.Position >= at.Entries {
		t.Errorf("got %+v, want nothing recorded in the older database", at)
	}
	stopDaemon(t, d)
	evidence := Folder(data).Outside() + ".evidence"
	if err := os.Rename(Folder(data).Outside(), evidence); err != nil {
		t.Fatal(err)
	}

	d = start(t, data, shopFile(port))
	committed(t, d)
	url, err := d.base.address(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	r, err := store.OpenReader(t.Context(), url, "")
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	note, err := os.ReadFile(evidence)
	if err != nil {
		t.Fatal(err)
	}
	v, err := r.Verify(t.Context(), d.key.Public, []store.Kept{{Where: "the checkpoint moved away", Note: note}}, nil)
	if err != nil || v.Kept != 1 {
		t.Errorf("got %+v, %v, want the ledger to go on from the checkpoint moved away", v, err)
	}
	if at := d.Status(); at.Position != at.Entries || at.Database != "up" {
		t.Errorf("got %+v, want everything of the journal recorded", at)
	}
	t.Logf("FAULT F33 entries=%d", d.Status().Entries)
}
