package daemon

import (
	"errors"
	"io/fs"
	"os"
	"testing"
	"time"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/cmd/witnessmark/internal/control"
)

// A snapshot whose builds cannot be read again is not written anew by the stop that this leads to, else every start would stand on it.
func TestSnapshot_RottenIsNotPutBack(t *testing.T) {
	_, data, file, build := putBy(t)
	defer func(often time.Duration) { snapshotLook = often }(snapshotLook)
	snapshotLook = time.Hour
	d := start(t, data, file)
	c := client(t, d)
	if _, err := c.OpenBuild(t.Context(), control.NewBuild{Engine: "E-later", Family: "TB-7", WorkOrder: "W-later", Person: "Ada Holt"}); err != nil {
		t.Fatal(err)
	}
	committed(t, d)
	if newer := d.live.seq(); newer <= d.snapshots.at.Load() {
		t.Fatalf("got entry %d, want one after the snapshot at %d", newer, d.snapshots.at.Load())
	}
	change(t, Folder(data).Shelf(), func(b []byte) []byte {
		for i := 8; i < len(b); i++ {
			b[i] ^= 1
		}
		return b
	})
	func() {
		defer func() { _ = recover() }() // the request of a person, whose server does the same
		d.live.look(func(s *bench.Shop) { s.Joints(build) })
	}()
	<-d.Done()
	stopDaemon(t, d)
	if _, err := os.Stat(Folder(data).Snapshot()); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("got %v, want no snapshot there", err)
	}
}

// That the clock was set may be recorded between what a person does and its outcome, and is not taken for that.
func TestDaemon_OutcomeBesideAClockStep(t *testing.T) {
	_, port := newWrench(t)
	d := start(t, t.TempDir(), shopFile(port))
	onBench(t, client(t, d))
	before := d.live.lastAct()
	must(t, d.noteClock(t.Context(), audit.ClockSet{By: 4000}))
	must(t, d.live.await(t.Context(), d.life, d.journal.Last()))
	if got := d.live.lastAct(); got.Entry.Seq != before.Entry.Seq || before.Entry.Seq == 0 {
		t.Errorf("got the outcome of entry %d (%s), want of %d", got.Entry.Seq, got.Entry.Event.Kind(), before.Entry.Seq)
	}
}
