package journal_test

import (
	"bytes"
	"encoding/binary"
	"os"
	"path/filepath"
	"strings"
	"testing"

	bolt "go.etcd.io/bbolt"

	"witnessmark/audit"
	"witnessmark/store/journal"
)

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
		if got, err := j.Read(1, 1); err == nil || !strings.Contains(err.Error(), path+": entry 1: ") {
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

// TestJournal_LostTailIsNoticed takes away the last entry, as a rotten page of bbolt can.
func TestJournal_LostTailIsNoticed(t *testing.T) {
	path, _ := filled(t, 3)
	edit(t, path, func(b *bolt.Bucket) error { return b.Delete(binary.BigEndian.AppendUint64(nil, 3)) })
	j, err := journal.Open(path, clock())
	if err == nil {
		j.Close()
	}
	if err == nil || !strings.Contains(err.Error(), "the last entry should be 3 and is 2") {
		t.Errorf("got %v, want a refusal that names both", err)
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
	if _, err := j.Read(1, 10); err == nil || !strings.Contains(err.Error(), "entry 2 is missing") {
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

// filled makes a journal of n entries and returns its path and entries.
func filled(t *testing.T, n int) (string, []audit.Entry) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "j.db")
	j := open(t, path)
	var wrote []audit.Entry
	for i := range n {
		e, err := j.Append(t.Context(), reading(i))
		if err != nil {
			t.Fatal(err)
		}
		wrote = append(wrote, e)
	}
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	return path, wrote
}

func TestJournal_WrongFileIsRefused(t *testing.T) {
	bolted := func(change func(*bolt.Tx) error) func(*testing.T, string) {
		return func(t *testing.T, path string) {
			db, err := bolt.Open(path, 0o600, nil)
			if err != nil {
				t.Fatal(err)
			}
			if err := db.Update(change); err != nil {
				t.Fatal(err)
			}
			db.Close()
		}
	}
	text := func(text []byte) func(*testing.T, string) {
		return func(t *testing.T, path string) {
			if err := os.WriteFile(path, text, 0o600); err != nil {
				t.Fatal(err)
			}
		}
	}
	for _, tc := range []struct {
		name string
		make func(*testing.T, string)
		want string
	}{
		{"an empty file has lost its entries", text(nil), "which a journal never is: keep it under another name"},
		{"a text is no journal", text(bytes.Repeat([]byte("torque "), 5000)), "damaged or no journal"},
		{"another program's file is no journal", bolted(func(tx *bolt.Tx) error {
			_, err := tx.CreateBucket([]byte("letters"))
			return err
		}), "give the path of one"},
		{"a newer format wants a newer version", func(t *testing.T, path string) {
			open(t, path).Close()
			bolted(func(tx *bolt.Tx) error {
				return tx.Bucket([]byte("about")).Put([]byte("format"), []byte("witnessmark/journal/2"))
			})(t, path)
		}, "use the version that wrote it"},
		{"a file cut short is damaged", func(t *testing.T, path string) {
			open(t, path).Close()
			if err := os.Truncate(path, int64(3*os.Getpagesize())); err != nil {
				t.Fatal(err)
			}
		}, "witnessmark ledger rebuild-journal"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "j.db")
			tc.make(t, path)
			before, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			j, err := journal.Open(path, clock())
			if err == nil {
				j.Close()
			}
			if err == nil || !strings.Contains(err.Error(), tc.want) || !strings.Contains(err.Error(), path) {
				t.Errorf("got %v, want the file named and %q", err, tc.want)
			}
			if after, _ := os.ReadFile(path); !bytes.Equal(before, after) {
				t.Error("got the file changed, want it left as it was")
			}
		})
	}
}
