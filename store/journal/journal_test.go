package journal_test

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	bolt "go.etcd.io/bbolt"

	"witnessmark/audit"
	"witnessmark/device"
	"witnessmark/device/unit"
	"witnessmark/store/journal"
)

func clock() func() time.Time {
	var mu sync.Mutex
	n := 0
	return func() time.Time {
		mu.Lock()
		defer mu.Unlock()
		n++
		return time.Date(2026, 4, 1, 8, 0, n, 123_456_789, time.FixedZone("", 7200))
	}
}

func reading(i int) audit.Event {
	a, c := unit.Angle(31_000), int64(i)
	return audit.ReadingTaken{Bench: "B1", Reading: device.Reading{Wrench: "W1", Torque: 45_200_000, TorqueText: "45.2",
		Unit: unit.Nm, Angle: &a, Direction: device.Tighten, Counter: &c, Raw: []byte("45.2;31\r\n")}}
}

func open(t *testing.T, path string) *journal.Journal {
	t.Helper()
	j, err := journal.Open(path, clock())
	if err != nil {
		t.Fatal(err)
	}
	return j
}

func TestJournal_ReopenedReadsTheSame(t *testing.T) {
	path := filepath.Join(t.TempDir(), "j.db")
	j := open(t, path)
	var wrote []audit.Entry
	for i := range 5 {
		e, err := j.Append(t.Context(), reading(i))
		if err != nil {
			t.Fatal(err)
		}
		wrote = append(wrote, e)
	}
	if wrote[0].Seq != 1 || wrote[0].At.Nanosecond() != 123_456_000 || wrote[0].At.Location() != time.UTC {
		t.Errorf("got entry %d at %v, want 1 at whole microseconds UTC", wrote[0].Seq, wrote[0].At)
	}
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	j = open(t, path)
	defer j.Close()
	got, err := j.Read(1, 100)
	if err != nil || !reflect.DeepEqual(got, wrote) {
		t.Errorf("got %+v, %v, want %+v", got, err, wrote)
	}
	if part, _ := j.Read(3, 2); len(part) != 2 || part[0].Seq != 3 {
		t.Errorf("got %+v, want entries 3 and 4", part)
	}
	if e, err := j.Append(t.Context(), reading(9)); err != nil || e.Seq != 6 {
		t.Errorf("got entry %d, %v, want 6", e.Seq, err)
	}
}

func TestJournal_ManyWritersOneOrder(t *testing.T) {
	j := open(t, filepath.Join(t.TempDir(), "j.db"))
	defer j.Close()
	var all sync.WaitGroup
	for w := range 16 {
		all.Go(func() {
			for i := range 10 {
				if _, err := j.Append(t.Context(), reading(w*100+i)); err != nil {
					t.Error(err)
				}
			}
		})
	}
	if err := j.Wait(t.Context(), 100); err != nil {
		t.Fatal(err)
	}
	all.Wait()
	got, err := j.Read(1, 1000)
	if err != nil || len(got) != 160 || j.Last() != 160 {
		t.Fatalf("got %d entries, last %d, %v, want 160", len(got), j.Last(), err)
	}
	per := map[int64]int64{}
	for i, e := range got {
		n := *e.Event.(audit.ReadingTaken).Counter
		if e.Seq != uint64(i)+1 || (per[n/100] != 0 && per[n/100] >= n) {
			t.Fatalf("entry %d: got number %d with counter %d after %d, want each writer's own order", i+1, e.Seq, n, per[n/100])
		}
		per[n/100] = n
	}
}

func TestJournal_SecondOpenerIsRefused(t *testing.T) {
	path := filepath.Join(t.TempDir(), "j.db")
	j := open(t, path)
	defer j.Close()
	if _, err := journal.Open(path, clock()); err == nil || !strings.Contains(err.Error(), "stop the other daemon") {
		t.Errorf("got %v, want a refusal that says what to do", err)
	}
}

func TestJournal_ClosedRefuses(t *testing.T) {
	j := open(t, filepath.Join(t.TempDir(), "j.db"))
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := j.Append(t.Context(), reading(1)); err != journal.ErrClosed {
		t.Errorf("got %v, want ErrClosed", err)
	}
}

func TestJournal_NewFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "j.db")
	// What a crash in the middle of the making leaves.
	if err := os.WriteFile(path+".new", []byte("half"), 0o600); err != nil {
		t.Fatal(err)
	}
	j := open(t, path)
	defer j.Close()
	if st, err := os.Stat(path); err != nil || st.Mode() != 0o600 {
		t.Errorf("got mode %v, %v, want it closed to others", st.Mode(), err)
	}
	if _, err := os.Stat(path + ".new"); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("got %v, want the half-made file gone", err)
	}
	if got, err := j.Read(1, 10); err != nil || len(got) != 0 || j.Last() != 0 {
		t.Errorf("got %v, %v, last %d, want an empty journal", got, err, j.Last())
	}
}

func TestJournal_ClockGoesBack(t *testing.T) {
	at := time.Date(2026, 4, 1, 8, 0, 0, 0, time.UTC)
	j, err := journal.Open(filepath.Join(t.TempDir(), "j.db"), func() time.Time { at = at.Add(-time.Hour); return at })
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	for range 3 {
		if _, err := j.Append(t.Context(), reading(1)); err != nil {
			t.Fatal(err)
		}
	}
	got, err := j.Read(1, 10)
	if err != nil || len(got) != 3 || got[2].Seq != 3 || !got[2].At.Equal(at) || !got[2].At.Before(got[1].At) {
		t.Errorf("got %+v, %v, want the order kept and the clock's own word", got, err)
	}
}

// TestJournal_ReturnsWhatItKept appends text that JSON cannot hold: the caller is told what is really there.
func TestJournal_ReturnsWhatItKept(t *testing.T) {
	j := open(t, filepath.Join(t.TempDir(), "j.db"))
	defer j.Close()
	e, err := j.Append(t.Context(), &audit.ReadingTaken{Bench: "B1", Reading: device.Reading{Tag: "bolt \xff"}})
	if err != nil {
		t.Fatal(err)
	}
	if got, err := j.Read(1, 1); err != nil || !reflect.DeepEqual(got, []audit.Entry{e}) {
		t.Errorf("got %+v, %v, want %+v", got, err, e)
	}
}

type unheardOf struct{}

func (unheardOf) Kind() string { return "unheard of" }

func TestJournal_UnreadableEventIsRefused(t *testing.T) {
	j := open(t, filepath.Join(t.TempDir(), "j.db"))
	defer j.Close()
	if _, err := j.Append(t.Context(), unheardOf{}); err == nil || j.Last() != 0 {
		t.Errorf("got %v and %d entries, want a refusal and none", err, j.Last())
	}
	if e, err := j.Append(t.Context(), reading(1)); err != nil || e.Seq != 1 {
		t.Errorf("got entry %d, %v, want the journal to go on with 1", e.Seq, err)
	}
}

func TestJournal_Wait(t *testing.T) {
	t.Run("an entry that is there is not waited for", func(t *testing.T) {
		path, _ := filled(t, 2)
		j := open(t, path)
		defer j.Close()
		if err := j.Wait(t.Context(), 1); err != nil {
			t.Error(err)
		}
	})
	// The waiting starts before what ends it: synctest.Wait returns when the waiting one is blocked.
	for name, tc := range map[string]struct {
		act  func(*journal.Journal, context.CancelFunc)
		want error
	}{
		"a new entry ends it": {func(j *journal.Journal, _ context.CancelFunc) {
			if _, err := j.Append(context.Background(), reading(1)); err != nil {
				t.Error(err)
			}
		}, nil},
		"the context ends it": {func(_ *journal.Journal, cancel context.CancelFunc) { cancel() }, context.Canceled},
		"closing ends it":     {func(j *journal.Journal, _ context.CancelFunc) { j.Close() }, journal.ErrClosed},
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "j.db")
			synctest.Test(t, func(t *testing.T) {
				j := open(t, path)
				defer j.Close()
				ctx, cancel := context.WithCancel(t.Context())
				defer cancel()
				ended := make(chan error, 1)
				go func() { ended <- j.Wait(ctx, 0) }()
				synctest.Wait()
				tc.act(j, cancel)
				if err := <-ended; err != tc.want {
					t.Errorf("got %v, want %v", err, tc.want)
				}
			})
		})
	}
}

// TestJournal_WaitersShareASync holds the first append in its transaction until many others wait: they must all go
// into the one transaction after it.
func TestJournal_WaitersShareASync(t *testing.T) {
	path, _ := filled(t, 0)
	before := transactions(t, path)
	synctest.Test(t, func(t *testing.T) {
		gate := make(chan struct{})
		j, err := journal.Open(path, func() time.Time { <-gate; return time.Now() })
		if err != nil {
			t.Fatal(err)
		}
		for i := range 65 {
			go func() {
				if _, err := j.Append(t.Context(), reading(i)); err != nil {
					t.Error(err)
				}
			}()
		}
		synctest.Wait()
		close(gate)
		if err := j.Wait(t.Context(), 64); err != nil {
			t.Error(err)
		}
		synctest.Wait()
		if err := j.Close(); err != nil {
			t.Error(err)
		}
	})
	if got := transactions(t, path) - before; got != 2 {
		t.Errorf("got %d transactions for 65 appends, want 2", got)
	}
}

// transactions is how many there were in the life of the file.
func transactions(t *testing.T, path string) (n int) {
	t.Helper()
	db, err := bolt.Open(path, 0o600, &bolt.Options{ReadOnly: true})
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if err := db.View(func(tx *bolt.Tx) error { n = tx.ID(); return nil }); err != nil {
		t.Fatal(err)
	}
	return n
}
