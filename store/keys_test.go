package store_test

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"witnessmark/audit"
	"witnessmark/store"
	"witnessmark/store/bundle"
	"witnessmark/store/ledger"
)

// change is the entry that changes the key of the shop.
func (s *shop) change(seq uint64, from string) (audit.Outcome, *ledger.Key) {
	s.t.Helper()
	next, err := s.opt.Key.Next(from)
	if err != nil {
		s.t.Fatal(err)
	}
	return audit.Outcome{Entry: audit.Entry{Seq: seq, At: time.Date(2026, 5, 4, 9, 1, 0, 0, time.UTC),
		Event: audit.KeyChanged{OldKey: from, NewKey: next.Public, Reason: "every year", Person: "ab12"}}}, next
}

// changed is a shop whose key was changed by entry 11, and one more time in one commit with others by 32 and 33.
func changed(t *testing.T) (s *shop, st *store.Store, last *ledger.Key) {
	s = newShop(t)
	st = s.open()
	s.commit(st, 1, 10)
	first, second := s.change(11, s.opt.Key.Public)
	page := append([]audit.Outcome{first}, outcomes(12, 31)...)
	commit := func(page []audit.Outcome) {
		t.Helper()
		if err := st.Commit(t.Context(), page); err != nil {
			t.Fatal(err)
		}
	}
	commit(page)
	third, key := s.change(32, second.Public)
	fourth, last := s.change(33, key.Public)
	commit([]audit.Outcome{third, fourth})
	s.commit(st, 34, 40)
	return s, st, last
}

func TestKeys_EachVouchesForTheNext(t *testing.T) {
	s, st, last := changed(t)
	if got := s.verify(); got != "" {
		t.Fatalf("verify: %s", got)
	}
	st.Close()
	st = s.open() // the key in force is found again
	s.commit(st, 41, 45)
	newest, err := os.ReadFile(s.opt.Outside)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := ledger.Open(newest, last.Verifier); err != nil {
		t.Errorf("the newest checkpoint: got %v, want it signed with the last key", err)
	}
	if _, err := ledger.Open(newest, s.opt.Key.Verifier); err == nil {
		t.Error("the newest checkpoint is signed with the first key still")
	}
	r, err := store.OpenReader(t.Context(), s.opt.URL, "")
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	for name, key := range map[string]string{"first": s.opt.Key.Public, "last": last.Public} {
		v, err := r.Verify(t.Context(), key, nil, nil)
		if err != nil || len(v.Keys) != 4 || v.Keys[0].From != 12 || v.Keys[1].From != 47 || v.Keys[2].From != 49 || v.Keys[3].Key != last.Public {
			t.Errorf("with the %s key: got %+v, %v, want four keys", name, v.Keys, err)
		}
	}
	if _, err := r.Verify(t.Context(), newShop(t).opt.Key.Public, nil, nil); err == nil || !strings.Contains(err.Error(), "none of the keys") {
		t.Errorf("the key of another shop: got %v, want it refused", err)
	}
	c, err := r.Bundle(t.Context(), "WO-1", s.opt.Key.Public, nil, nil)
	if err != nil || c.Key != last.Public {
		t.Fatalf("bundle: got key %s, %v, want the last one", c.Key, err)
	}
	var zip bytes.Buffer
	if err := bundle.Write(&zip, c); err != nil {
		t.Fatal(err)
	}
	if got := faults(t, zip.Bytes(), last.Public); got != "" {
		t.Error(got)
	}
	if got := faults(t, zip.Bytes(), s.opt.Key.Public); !strings.Contains(got, "when the shop had another key") {
		t.Errorf("with the first key: got %q, want it said that the key may have been changed", got)
	}
}

func TestKeys_ChangedWithoutTheOldOne(t *testing.T) {
	for rule, c := range map[string]struct{ statement, want string }{
		"the old signature taken away": {"UPDATE witnessmark.checkpoint SET note = convert_to(regexp_replace(convert_from(note, 'UTF8'), E'\n— [^\n]*\n(— [^\n]*\n)$', E'\n\\1'), 'UTF8') WHERE size = 47",
			"table checkpoint: the one of size 47"},
		"the new key exchanged":        {"UPDATE witnessmark.key_change SET new_key = 'witnessmark/s1+ebbe952d+x' WHERE seq = 11", "read public key"},
		"the entry of a change undone": {"DELETE FROM witnessmark.key_change WHERE seq > 31", "signed with a key that the ledger does not name"},
		"a change that was refused":    {"UPDATE witnessmark.key_change SET refused = 'no' WHERE seq = 11", "table "},
	} {
		t.Run(rule, func(t *testing.T) {
			s, _, _ := changed(t)
			if err := s.sql(true, c.statement); err != nil {
				t.Fatal(err)
			}
			if got := s.verify(); !strings.Contains(got, c.want) {
				t.Errorf("got %q, want %q in it", got, c.want)
			}
		})
	}
}

// A stop at any moment of a change leaves keys of which the ledger says which one signs.
func TestKeys_StoppedInBetween(t *testing.T) {
	s := newShop(t)
	st := s.open()
	s.commit(st, 1, 10)
	_, made := s.change(11, s.opt.Key.Public)
	st.Close()
	st = s.open() // the new key was made, its entry was not recorded
	s.commit(st, 11, 12)
	again, next := s.change(13, s.opt.Key.Public)
	if next.Public != made.Public {
		t.Error("another key was made, want the one that is there")
	}
	if err := st.Commit(t.Context(), []audit.Outcome{again}); err != nil {
		t.Fatal(err)
	}
	st.Close()
	t.Run("the new key is lost", func(t *testing.T) {
		private := s.opt.Key
		path := filepath.Join(filepath.Dir(s.opt.Outside), "ledger.key-2")
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.Remove(path); err != nil {
			t.Fatal(err)
		}
		if _, err := store.Open(t.Context(), s.opt); err == nil || !strings.Contains(err.Error(), "from a backup") {
			t.Errorf("got %v, want the key asked for", err)
		}
		place(t, path, b)
		s.opt.Key = private
	})
	st = s.open()
	s.commit(st, 14, 20)
	if got := s.verify(); got != "" {
		t.Error(got)
	}
	st.Close()
	t.Run("the old private half was taken away", func(t *testing.T) {
		path := filepath.Join(filepath.Dir(s.opt.Outside), "ledger.key")
		if err := os.Remove(path); err != nil {
			t.Fatal(err)
		}
		key, err := ledger.LoadOrCreateKey(path, store.Origin("s1"))
		if err != nil {
			t.Fatal(err)
		}
		s.opt.Key = key
		st := s.open()
		s.commit(st, 21, 24)
		if got := s.verify(); got != "" {
			t.Error(got)
		}
	})
	t.Run("a database written anew needs it", func(t *testing.T) {
		fresh := newShop(t)
		fresh.opt.Key = s.opt.Key
		if err := fresh.open().Commit(t.Context(), outcomes(1, 2)); err == nil || !strings.Contains(err.Error(), "put it back") {
			t.Errorf("got %v, want the private half asked for", err)
		}
	})
}
