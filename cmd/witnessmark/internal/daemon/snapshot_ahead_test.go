package daemon

import (
	"encoding/json"
	"os"
	"testing"
	"time"

	"witnessmark/audit/bench"
	"witnessmark/cmd/witnessmark/internal/whole"
)

// A link may know a reading before the live follower does, so a snapshot may remember one that came after all else that is in it.
// A start from it is not told of that reading again, and remembers what a start from the first entry remembers.
func TestSnapshot_RemembersLaterReadings(t *testing.T) {
	w, port := newWrench(t)
	data, file := t.TempDir(), shopFile(port)
	d := start(t, data, file)
	over, pulled := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(pulled)
		for {
			select {
			case <-over:
				return
			default:
				w.pull(t, 30+w.count%7, 40)
			}
		}
	}()
	head, parts := takenAhead(t, d)
	close(over)
	<-pulled
	committed(t, d)
	stopDaemon(t, d)
	must(t, whole.Keep(Folder(data).Snapshot(), parts...))

	defer func(often time.Duration) { snapshotLook = often }(snapshotLook)
	snapshotLook = time.Hour
	d = start(t, data, file)
	if at := d.snapshots.at.Load(); at != head.Seq {
		t.Fatalf("got a start from the snapshot at %d, want from the one at %d", at, head.Seq)
	}
	fromIt, last := recalled(t, d), d.journal.Last()
	w.count--
	w.pull(t, 30+w.count%7, 40) // the line that came last
	committed(t, d)
	if d.journal.Last() != last {
		t.Errorf("got %d new entries, want none: the reading came before the start", d.journal.Last()-last)
	}
	stopDaemon(t, d)

	must(t, os.Remove(Folder(data).Snapshot()))
	d = start(t, data, file)
	defer stopDaemon(t, d)
	if fromFirst := recalled(t, d); fromIt != fromFirst {
		t.Errorf("got %s from the snapshot, want what the journal gives: %s", fromIt, fromFirst)
	}
}

// A snapshot that knows a reading of another journal, or one that the journal lost, is of no use.
func TestSnapshot_LaterReadingIsLost(t *testing.T) {
	_, data, file, _ := putBy(t)
	head, _ := snapshotOf(t, data)
	change(t, Folder(data).Snapshot(), swap(`"last":`, `"last":1`)) // many more entries than there are
	d := start(t, data, file)
	d.live.look(func(s *bench.Shop) {
		if s.Seq() < head.Seq {
			t.Errorf("got entry %d, want all of the journal worked out, to %d at the least", s.Seq(), head.Seq)
		}
	})
	last := d.journal.Last()
	stopDaemon(t, d)
	if later, _ := snapshotOf(t, data); later.Last != last {
		t.Errorf("got a snapshot that knows entry %d, want one of the stop, at %d", later.Last, last)
	}
}

// takenAhead takes snapshots until one remembers a reading that came after all else that is in it.
func takenAhead(t *testing.T, d *Daemon) (head heading, parts [][]byte) {
	t.Helper()
	for range 20_000 {
		_, parts, err := d.snapshots.take()
		if err != nil {
			t.Fatal(err)
		}
		if err := json.Unmarshal(parts[0], &head); err != nil {
			t.Fatal(err)
		}
		if head.Last > head.Seq {
			return head, parts
		}
	}
	t.Fatal("got no snapshot that remembers a later reading: the test has tried too little")
	return head, nil
}

// recalled is all that is remembered of the wrenches.
func recalled(t *testing.T, d *Daemon) string {
	t.Helper()
	text, err := json.Marshal(d.memories)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}
