package journal_test

import (
	"cmp"
	"errors"
	"path/filepath"
	"reflect"
	"slices"
	"sync"
	"testing"
	"time"

	"witnessmark/audit"
	"witnessmark/store/disktest"
	"witnessmark/store/journal"
)

// reserved is how many readings the reserve must have room for.
const reserved = 4000

// TestF18_Journal fills the disk under a journal: the reserve takes readings for a while, then each is refused, and once
// there is room it goes on without being opened again.
func TestF18_Journal(t *testing.T) {
	make := map[string]func(t *testing.T, folder string) *disktest.Disk{
		"tmpfs": func(t *testing.T, folder string) *disktest.Disk { return disktest.Memory(t, folder, "24m") },
	}
	for _, kind := range disktest.Kinds() {
		make[kind] = func(t *testing.T, folder string) *disktest.Disk { return disktest.Loop(t, kind, folder, 320<<20) }
	}
	for kind, mounted := range make {
		t.Run(kind, func(t *testing.T) { fillUnder(t, mounted(t, t.TempDir())) })
	}
}

func fillUnder(t *testing.T, disk *disktest.Disk) {
	path := filepath.Join(disk.Folder, "j.db")
	f := filling{t: t, j: open(t, path)}
	defer func() { f.j.Close() }()
	if err := f.add(); err != nil {
		t.Fatal(err)
	}
	for round := range 2 {
		disk.Fill()
		before := len(f.wrote)
		for f.j.Short() == nil {
			if err := f.add(); err != nil {
				t.Fatalf("got %v, want it said before that the disk is short of room", err)
			}
		}
		var err error
		for err == nil {
			err = f.add()
		}
		if n := len(f.wrote) - before; n < reserved || !errors.Is(err, journal.ErrNoRoom) {
			t.Errorf("round %d: got %d readings into the reserve and then %v, want %d and ErrNoRoom", round, n, err, reserved)
		}
		for !f.j.Short().Refusing { // a smaller batch may still have found room
			_ = f.add()
		}
		f.whole("full")
		if round == 1 { // an end while the disk is full
			f.j.Close()
			f.j = open(t, path)
			f.whole("opened while full")
		}
		disk.Free()
		if err := f.add(); err != nil {
			t.Fatalf("got %v, want it to go on", err)
		}
		for late := time.Now().Add(time.Minute); f.j.Short() != nil; time.Sleep(10 * time.Millisecond) {
			if time.Now().After(late) {
				t.Fatalf("got %+v, want the reserve back", f.j.Short())
			}
		}
		f.whole("free again")
	}
	f.j.Close()
	f.j = open(t, path)
	f.whole("opened again")
}

// filling is a journal and what it acknowledged.
type filling struct {
	t     *testing.T
	j     *journal.Journal
	wrote []audit.Entry
}

// add appends some readings at once and returns the error of one that was refused. One after the other would show the
// same, but each would wait for a disk.
func (f *filling) add() (err error) {
	var mu sync.Mutex
	var all sync.WaitGroup
	for i := range 250 {
		all.Go(func() {
			e, refused := f.j.Append(f.t.Context(), reading(i))
			mu.Lock()
			defer mu.Unlock()
			if refused != nil {
				err = refused
				return
			}
			f.wrote = append(f.wrote, e)
		})
	}
	all.Wait()
	slices.SortFunc(f.wrote, func(a, b audit.Entry) int { return cmp.Compare(a.Seq, b.Seq) })
	return err
}

// whole makes sure that the journal holds what it acknowledged and nothing else.
func (f *filling) whole(when string) {
	f.t.Helper()
	got, err := f.j.Read(1, len(f.wrote)+1)
	if err != nil || !reflect.DeepEqual(got, f.wrote) || f.j.Last() != uint64(len(f.wrote)) {
		f.t.Fatalf("%s: got %d entries, %v, want the %d that were acknowledged", when, len(got), err, len(f.wrote))
	}
}

// TestJournal_ReadWhileWritten reads the newest entries while more are written, as fast as memory takes them.
func TestJournal_ReadWhileWritten(t *testing.T) {
	j := open(t, filepath.Join(disktest.Memory(t, t.TempDir(), "64m").Folder, "j.db"))
	defer j.Close()
	over := make(chan error, 1)
	go func() {
		for next := uint64(1); next <= 5000; {
			got, err := j.Read(next, 100)
			if err != nil {
				over <- err
				return
			}
			next += uint64(len(got))
		}
		over <- nil
	}()
	for i := range 5000 {
		if _, err := j.Append(t.Context(), reading(i)); err != nil {
			t.Fatal(err)
		}
	}
	if err := <-over; err != nil {
		t.Error(err)
	}
}
