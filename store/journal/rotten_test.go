//go:build !race

// Under -race the compiler checks bbolt's own pointers too, and ends the process where they meet a rotten page.

package journal_test

import (
	"bytes"
	"os"
	"reflect"
	"strings"
	"testing"

	"witnessmark/store/journal"
)

// TestJournal_RottenFile turns over bits all over the file. Whatever comes of it, an entry is never read other than it
// was written, and the process does not end. A rotten head page may cost the last batch, see Read.
func TestJournal_RottenFile(t *testing.T) {
	path, wrote := filled(t, 5)
	good, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	refused, found, whole := 0, 0, 0
	rot := func(at int, bit byte) {
		bad := bytes.Clone(good)
		bad[at] ^= bit
		if err := os.WriteFile(path, bad, 0o600); err != nil {
			t.Fatal(err)
		}
		j, err := journal.Open(path, clock())
		if err != nil {
			if strings.Contains(err.Error(), "another process") {
				t.Errorf("byte %d: got %v, want the lock of the file before let go", at, err)
			}
			refused++
			return
		}
		defer func() {
			if err := j.Close(); err != nil {
				t.Errorf("byte %d: %v", at, err)
			}
		}()
		got, err := j.Read(1, 10)
		if err != nil {
			found++
		} else if len(got) < len(wrote)-1 || !reflect.DeepEqual(got, wrote[:len(got)]) {
			t.Errorf("byte %d: got %+v, want what was written or an error", at, got)
		} else {
			whole++
		}
		// A page that was bad may be met by the writer first; it must come back with an answer.
		if e, err := j.Append(t.Context(), reading(9)); err == nil && e.Seq != j.Last() {
			t.Errorf("byte %d: got entry %d, want %d", at, e.Seq, j.Last())
		}
	}
	page := os.Getpagesize()
	for start := 0; start < len(good) && start < 16*page; start += page {
		for i := range 96 { // the page's head and the first elements
			rot(start+i, 1<<(i%8))
		}
	}
	if refused == 0 || found == 0 || whole == 0 {
		t.Errorf("got %d files refused, %d read with an error, %d read whole: want some of each", refused, found, whole)
	}
}
