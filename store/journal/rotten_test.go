//go:build !race

// Under -race the compiler checks bbolt's own pointers too, and ends the process where they meet a rotten page.

package journal_test

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"witnessmark/audit"
	"witnessmark/store/journal"
)

// outcome is what became of a damaged journal. There is no other: an entry is never read other than it was written, and none
// is missing without a word.
type outcome string

const (
	refused outcome = "refused when it was opened"
	found   outcome = "refused when it was read"
	cut     outcome = "cut back and said so"
	whole   outcome = "whole: the byte belongs to nothing"
)

// damaged opens a journal of these bytes and holds what it reads against what was written.
type damaged struct {
	t     *testing.T
	path  string
	wrote []audit.Entry
	seen  map[outcome]int
	wrong int
}

func (d *damaged) is(what string, at int, text []byte) {
	d.t.Helper()
	if err := os.Remove(d.path); err != nil && !errors.Is(err, os.ErrNotExist) { // ext4 syncs a file that is written over
		d.t.Fatal(err)
	}
	if err := os.WriteFile(d.path, text, 0o600); err != nil {
		d.t.Fatal(err)
	}
	got, err := d.outcome()
	if err != nil {
		d.wrong++
		d.t.Errorf("byte %d %s: %v", at, what, err)
	}
	d.seen[got]++
	if err := os.Remove(d.path + ".damaged"); err != nil && !errors.Is(err, os.ErrNotExist) {
		d.t.Fatal(err)
	}
}

func (d *damaged) outcome() (out outcome, wrong error) {
	j, err := journal.Open(d.path, clock())
	if err != nil {
		if !strings.Contains(err.Error(), d.path) || strings.Contains(err.Error(), "another process") {
			return refused, err
		}
		return refused, nil
	}
	defer func() { wrong = errors.Join(wrong, j.Close()) }()
	got, err := j.Read(1, len(d.wrote)+1)
	switch {
	case err != nil && strings.Contains(err.Error(), d.path):
		return found, nil
	case err == nil && reflect.DeepEqual(got, d.wrote):
		return whole, nil
	case err == nil && len(got) == len(d.wrote)-1 && reflect.DeepEqual(got, d.wrote[:len(got)]) && j.CutBack() != "":
		page, err := os.ReadFile(j.CutBack())
		if err == nil && len(page) != os.Getpagesize() {
			err = errors.New("the damaged page was not set aside")
		}
		return cut, err
	}
	return found, errors.Join(err, errors.New("what was read is neither what was written nor an error"))
}

// step is from one byte that is tried to the next: each where all faults are tried, else some of every structure.
func step() int {
	if os.Getenv("WITNESSMARK_FAULT_TRIES") != "" {
		return 1
	}
	return 7
}

// TestF16_CutShort truncates a journal at every byte.
func TestF16_CutShort(t *testing.T) {
	d, good := newDamaged(t)
	for at := 0; at < len(good); at += step() {
		d.is("and all after it gone", at, good[:at])
	}
	d.tell(refused, whole)
}

// TestF16_EveryByte turns over a bit in every byte of a journal.
func TestF16_EveryByte(t *testing.T) {
	d, good := newDamaged(t)
	for at := 0; at < len(good); at += step() {
		good[at] ^= 1 << (at % 8)
		d.is("turned", at, good)
		good[at] ^= 1 << (at % 8)
	}
	d.tell(refused, found, cut, whole)
}

func newDamaged(t *testing.T) (*damaged, []byte) {
	t.Helper()
	path, wrote := filled(t, 5)
	good, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return &damaged{t: t, path: filepath.Join(t.TempDir(), "j.db"), wrote: wrote, seen: map[outcome]int{}}, good
}

// tell says how often what came of it, and that all of that is to be expected and nothing else.
func (d *damaged) tell(expected ...outcome) {
	d.t.Helper()
	tries := 0
	for _, one := range expected {
		if d.seen[one] == 0 {
			d.t.Errorf("got none %s, want some", one)
		}
		tries += d.seen[one]
	}
	if len(d.seen) != len(expected) {
		d.t.Errorf("got %v, want %v", d.seen, expected)
	}
	d.t.Logf("FAULT F16 tries=%d refused=%d cut-back=%d whole=%d wrong=%d", tries, d.seen[refused]+d.seen[found], d.seen[cut], d.seen[whole], d.wrong)
}

// TestJournal_WritesAfterRot appends to a journal with a rotten head of a page or first elements: a page that is bad may be met
// by the writer first, which must come back with an answer.
func TestJournal_WritesAfterRot(t *testing.T) {
	path, _ := filled(t, 5)
	good, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	page, answered := os.Getpagesize(), 0
	for start := 0; start < len(good); start += page {
		for at := start; at < start+96; at += 5 {
			bad := bytes.Clone(good)
			bad[at] ^= 1 << (at % 8)
			if err := os.WriteFile(path, bad, 0o600); err != nil {
				t.Fatal(err)
			}
			j, err := journal.Open(path, clock())
			if err != nil {
				continue
			}
			if e, err := j.Append(t.Context(), reading(9)); err == nil && e.Seq != j.Last() {
				t.Errorf("byte %d: got entry %d, want %d", at, e.Seq, j.Last())
			}
			answered++
			if err := j.Close(); err != nil {
				t.Errorf("byte %d: %v", at, err)
			}
		}
	}
	if answered == 0 {
		t.Error("got every journal refused, want some written to")
	}
}
