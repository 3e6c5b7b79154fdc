package daemon

import (
	"os"
	"testing"
	"time"

	"witnessmark/store/disktest"
)

// The disk of the database is full, that of the journal is not: as an outage, every pull is acknowledged and the bench says
// that the database is away; with room again everything is recorded by itself.
func TestF32_TheDatabaseIsOutOfSpace(t *testing.T) {
	w, port := newWrench(t)
	data := t.TempDir()
	d := start(t, data, shopFile(port))
	onBench(t, client(t, d))
	committed(t, d)
	stopDaemon(t, d)
	folder := Folder(data).Postgres()
	kept := data + "-kept"
	t.Cleanup(func() {
		if err := os.RemoveAll(kept); err != nil {
			t.Error(err)
		}
	})
	copyFolder(t, folder, kept)
	if err := os.RemoveAll(folder); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(folder, 0o700); err != nil {
		t.Fatal(err)
	}
	disk := disktest.Memory(t, folder, "256m")
	copyFolder(t, kept+"/.", folder) // with the rights of the folder itself
	d = start(t, data, shopFile(port))
	committed(t, d)

	disk.Fill()
	for late := time.Now().Add(time.Minute); d.Status().Database == "up"; {
		if time.Now().After(late) {
			t.Fatalf("got %+v, want the database in trouble", d.Status())
		}
		w.pull(t, 30, 40)
	}
	away := w.count
	for range 100 {
		w.pull(t, 30, 40)
	}
	if at := d.Status(); at.Position >= at.Entries {
		t.Errorf("got %+v, want readings that wait", at)
	}
	disk.Free()
	onceInOrder(t, d, w)
	t.Logf("FAULT F32 readings=%d", w.count-away)
	stopDaemon(t, d)
}
