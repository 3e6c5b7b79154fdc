package daemon

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
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
	rot(t, data)
	ask(t, d, build)
	<-d.Done()
	stopDaemon(t, d)
	if _, err := os.Stat(Folder(data).Snapshot()); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("got %v, want no snapshot there", err)
	}
}

// Builds that cannot be read again end the daemon with a sentence, whoever meets them first, and the next start makes them anew.
func TestSnapshot_ShelfRots(t *testing.T) {
	_, data, file, build := putBy(t)
	defer func(often time.Duration) { snapshotLook = often }(snapshotLook)
	snapshotLook = time.Hour
	for name, meet := range map[string]func(t *testing.T, d *Daemon, build uint64){
		"who asks":                    ask,
		"the live follower":           touch,
		"a writer that is far behind": writtenLate,
	} {
		t.Run(name, func(t *testing.T) {
			to := filepath.Join(t.TempDir(), "data")
			copyFolder(t, data, to)
			rot(t, to)
			d := start(t, to, file)
			meet(t, d, build)
			select {
			case <-d.Done():
			case <-time.After(time.Minute):
			}
			if err := d.Err(); err == nil || !strings.Contains(err.Error(), "start again, which makes them anew from the journal") {
				t.Errorf("got %v, want a sentence that says to start again", err)
			}
			stopDaemon(t, d)
			d = start(t, to, file)
			defer stopDaemon(t, d)
			if at := d.snapshots.at.Load(); at != 0 {
				t.Fatalf("got a start from a snapshot at entry %d, want none: its shelf is rotten", at)
			}
			d.live.look(func(s *bench.Shop) {
				if j := s.Joints(build); len(j) != 1 || !j[0].Complete {
					t.Errorf("got %+v, want the joint complete", j)
				}
			})
		})
	}
}

// rot turns bits of all that lies on a shelf.
func rot(t *testing.T, data string) {
	t.Helper()
	change(t, Folder(data).Shelf(), func(b []byte) []byte {
		for i := 8; i < len(b); i++ {
			b[i] ^= 1
		}
		return b
	})
}

// ask is the request of a person, whose server recovers as this does.
func ask(_ *testing.T, d *Daemon, build uint64) {
	defer func() { _ = recover() }()
	d.live.look(func(s *bench.Shop) { s.Joints(build) })
}

// touch journals what has a build taken from the shelf and does nothing to it.
func touch(t *testing.T, d *Daemon, build uint64) {
	if _, err := d.journal.Append(t.Context(), audit.JointStarted{Bench: "1", Build: build, Joint: "none", Person: "p1"}); err != nil {
		t.Fatal(err)
	}
}

// writtenLate has a writer work out in its own shop what the live follower holds no more.
func writtenLate(t *testing.T, d *Daemon, build uint64) {
	w, _ := writerOn(d.journal, &rows{})
	w.taken = d.journal.Last()
	if w.shop = d.snapshots.shopAt(w.taken); w.shop.Seq() == 0 {
		t.Fatal("got an empty shop for the writer, want the one of the snapshot")
	}
	touch(t, d, build)
	if err := w.take(t.Context()); !errors.Is(err, errShelf) || w.shop != nil {
		t.Errorf("got %v and the shop kept: %t, want an error of the shelf, and the shop let go", err, w.shop != nil)
	}
}

func TestShelfLost_OtherPanicGoesOn(t *testing.T) {
	defer func() {
		if v := recover(); v != "other" {
			t.Errorf("got %v, want the panic that it was", v)
		}
	}()
	var err error
	defer shelfLost(&err)
	panic("other")
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
