package journal_test

import (
	"bufio"
	"context"
	"encoding/binary"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	bolt "go.etcd.io/bbolt"
	"go.uber.org/goleak"

	"witnessmark/audit"
	"witnessmark/device"
	"witnessmark/device/unit"
	"witnessmark/store/journal"
)

func TestMain(m *testing.M) {
	if path := os.Getenv("JOURNAL_CHILD"); path != "" {
		appendForEver(path)
	}
	goleak.VerifyTestMain(m)
}

// appendForEver is the child of TestJournal_Killed: it prints every acknowledged number.
func appendForEver(path string) {
	j, err := journal.Open(path, time.Now)
	if err != nil {
		panic(err)
	}
	for i := range 100_000 {
		e, err := j.Append(context.Background(), reading(i))
		if err != nil {
			panic(err)
		}
		fmt.Println(e.Seq)
	}
}

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

// TestJournal_EveryFlippedByteIsFound turns over a bit in every byte of an entry's value.
func TestJournal_EveryFlippedByteIsFound(t *testing.T) {
	path := filepath.Join(t.TempDir(), "j.db")
	j := open(t, path)
	if _, err := j.Append(t.Context(), reading(1)); err != nil {
		t.Fatal(err)
	}
	j.Close()
	key := binary.BigEndian.AppendUint64(nil, 1)
	var good []byte
	edit(t, path, func(b *bolt.Bucket) error { good = append(good, b.Get(key)...); return nil })
	for i := range good {
		bad := append([]byte(nil), good...)
		bad[i] ^= 1 << (i % 8)
		edit(t, path, func(b *bolt.Bucket) error { return b.Put(key, bad) })
		j := open(t, path)
		if got, err := j.Read(1, 1); err == nil || !strings.Contains(err.Error(), "entry 1 of") {
			t.Errorf("byte %d: got %+v, %v, want the damaged entry named", i, got, err)
		}
		j.Close()
	}
	edit(t, path, func(b *bolt.Bucket) error { return b.Put(key, good[:7]) })
	j = open(t, path)
	defer j.Close()
	if _, err := j.Read(1, 1); err == nil {
		t.Error("a cut value: got no error")
	}
}

func TestJournal_MissingEntryIsNamed(t *testing.T) {
	path := filepath.Join(t.TempDir(), "j.db")
	j := open(t, path)
	for i := range 3 {
		if _, err := j.Append(t.Context(), reading(i)); err != nil {
			t.Fatal(err)
		}
	}
	j.Close()
	edit(t, path, func(b *bolt.Bucket) error { return b.Delete(binary.BigEndian.AppendUint64(nil, 2)) })
	j = open(t, path)
	defer j.Close()
	if _, err := j.Read(1, 10); err == nil || !strings.Contains(err.Error(), "entry 2 of") {
		t.Errorf("got %v, want entry 2 named as missing", err)
	}
}

func edit(t *testing.T, path string, change func(*bolt.Bucket) error) {
	t.Helper()
	db, err := bolt.Open(path, 0o600, &bolt.Options{NoSync: true})
	if err != nil {
		t.Fatal(err)
	}
	if err := db.Update(func(tx *bolt.Tx) error { return change(tx.Bucket([]byte("entries"))) }); err != nil {
		t.Fatal(err)
	}
	db.Close()
}

// TestJournal_Killed kills a writing process with SIGKILL: whatever it had acknowledged must be there.
func TestJournal_Killed(t *testing.T) {
	path := filepath.Join(t.TempDir(), "j.db")
	acked := uint64(0)
	for range 3 {
		child := exec.Command(os.Args[0])
		child.Env = append(os.Environ(), "JOURNAL_CHILD="+path)
		out, err := child.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := child.Start(); err != nil {
			t.Fatal(err)
		}
		sc := bufio.NewScanner(out)
		for n := 0; n < 20 && sc.Scan(); n++ {
			acked, _ = strconv.ParseUint(sc.Text(), 10, 64)
		}
		child.Process.Kill()
		for sc.Scan() {
			acked, _ = strconv.ParseUint(sc.Text(), 10, 64)
		}
		child.Wait()
		j := open(t, path)
		got, err := j.Read(1, 1<<30)
		if err != nil || uint64(len(got)) < acked || acked == 0 {
			t.Fatalf("got %d entries, %v, want at least the %d acknowledged", len(got), err, acked)
		}
		j.Close()
	}
}

// BenchmarkJournal_Append gives the time of an append beside that of one write and sync to a plain file.
func BenchmarkJournal_Append(b *testing.B) {
	b.Run("plain write and sync", func(b *testing.B) {
		f, err := os.Create(filepath.Join(b.TempDir(), "plain"))
		if err != nil {
			b.Fatal(err)
		}
		defer f.Close()
		for b.Loop() {
			f.Write(make([]byte, 300))
			f.Sync()
		}
	})
	for _, writers := range []int{1, 64} {
		b.Run(fmt.Sprintf("%d writers", writers), func(b *testing.B) {
			j, err := journal.Open(filepath.Join(b.TempDir(), "j.db"), time.Now)
			if err != nil {
				b.Fatal(err)
			}
			defer j.Close()
			b.SetParallelism(writers / 2)
			b.RunParallel(func(pb *testing.PB) {
				for pb.Next() {
					if _, err := j.Append(context.Background(), reading(1)); err != nil {
						b.Error(err)
					}
				}
			})
		})
	}
}
