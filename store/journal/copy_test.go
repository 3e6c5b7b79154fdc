package journal_test

import (
	"bytes"
	"context"
	"errors"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"sync"
	"testing"

	"witnessmark/store/journal"
)

func copied(t *testing.T, j *journal.Journal) []byte {
	t.Helper()
	var out bytes.Buffer
	last, err := j.Copy(t.Context(), &out)
	if err != nil || last > j.Last() {
		t.Fatalf("got %d entries, %v", last, err)
	}
	return out.Bytes()
}

func TestCopy_RebuiltReadsTheSame(t *testing.T) {
	for _, n := range []int{0, 1, 256, 700} { // around the pieces that are read at once
		path, wrote := filled(t, n)
		j := open(t, path)
		text := copied(t, j)
		j.Close()
		path = filepath.Join(t.TempDir(), "again.db")
		if last, err := journal.Rebuild(path, bytes.NewReader(text)); err != nil || last != uint64(n) {
			t.Fatalf("got %d entries, %v, want %d", last, err, n)
		}
		j = open(t, path)
		if got, err := j.Read(1, n+1); err != nil || !reflect.DeepEqual(got, wrote) {
			t.Errorf("got %d entries, %v, want the same %d", len(got), err, n)
		}
		if e, err := j.Append(t.Context(), reading(1)); err != nil || e.Seq != uint64(n)+1 {
			t.Errorf("got entry %d, %v, want it to go on with %d", e.Seq, err, n+1)
		}
		j.Close()
	}
}

// TestCopy_WhileOthersAppend has appends go on while the reader of the copy takes its time: none of them waits for it.
func TestCopy_WhileOthersAppend(t *testing.T) {
	path, _ := filled(t, 600)
	j := open(t, path)
	defer j.Close()
	var out bytes.Buffer
	slow := writerFunc(func(p []byte) (int, error) {
		for i := range 20 {
			if _, err := j.Append(t.Context(), reading(i)); err != nil {
				t.Error(err)
			}
		}
		return out.Write(p)
	})
	last, err := j.Copy(t.Context(), slow)
	if err != nil || last != 600 || j.Last() == 600 {
		t.Fatalf("got %d of %d entries, %v, want the 600 of the beginning", last, j.Last(), err)
	}
	n := 0
	if _, err := journal.ReadCopy(&out, func(uint64, []byte) error { n++; return nil }); err != nil || n != 600 {
		t.Errorf("got %d entries, %v, want 600", n, err)
	}
}

type writerFunc func([]byte) (int, error)

func (f writerFunc) Write(p []byte) (int, error) { return f(p) }

func TestRebuild_DamagedIsRefused(t *testing.T) {
	path, _ := filled(t, 3)
	j := open(t, path)
	defer j.Close()
	text := copied(t, j)
	refused := func(what string, text []byte) {
		if _, err := journal.ReadCopy(bytes.NewReader(text), func(uint64, []byte) error { return nil }); err == nil {
			t.Errorf("%s: got it taken", what)
		}
	}
	for at := range text {
		refused("cut short", text[:at])
	}
	for at := bytes.IndexByte(text, '\n') + 1; at < len(text); at++ {
		b := bytes.Clone(text)
		b[at] ^= 4
		refused("a byte changed", b)
	}
	refused("goes on", append(bytes.Clone(text), 'x'))
	refused("another format", bytes.Replace(text, []byte("journal/1"), []byte("journal/2"), 1))
	fresh := filepath.Join(t.TempDir(), "j.db")
	if _, err := journal.Rebuild(fresh, bytes.NewReader(text[:len(text)-1])); err == nil {
		t.Error("got a journal of a copy that is cut short")
	}
	if left, _ := os.ReadDir(filepath.Dir(fresh)); len(left) > 0 {
		t.Errorf("got %v left behind", left)
	}
	if _, err := journal.Rebuild(path, bytes.NewReader(text)); err == nil || !strings.Contains(err.Error(), "is there already") {
		t.Errorf("got %v, want a journal that is there kept", err)
	}
}

func TestCopy_Ends(t *testing.T) {
	path, _ := filled(t, 600)
	j := open(t, path)
	ctx, cancel := context.WithCancel(t.Context())
	stop := sync.OnceFunc(cancel)
	_, err := j.Copy(ctx, writerFunc(func(p []byte) (int, error) { stop(); return len(p), nil }))
	if !errors.Is(err, context.Canceled) {
		t.Errorf("got %v, want it to end with its context", err)
	}
	j.Close()
	if _, err := j.Copy(t.Context(), &bytes.Buffer{}); !errors.Is(err, journal.ErrClosed) {
		t.Errorf("got %v, want ErrClosed", err)
	}
}
