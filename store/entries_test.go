package store_test

import (
	"errors"
	"strings"
	"testing"

	"witnessmark/audit"
	"witnessmark/store"
)

func TestReader_Entries(t *testing.T) {
	s := newShop(t)
	s.commit(s.open(), 1, 40)
	r, err := store.OpenReader(t.Context(), s.opt.URL, "s1")
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	if n, err := r.Position(t.Context()); n != 40 || err != nil {
		t.Errorf("got position %d, %v, want 40", n, err)
	}
	next := uint64(0)
	err = r.Entries(t.Context(), func(e audit.Entry) error {
		next++
		was := outcome(next).Entry
		got, err := audit.Encode(e.Event)
		if err != nil {
			return err
		}
		want, err := audit.Encode(was.Event)
		if err != nil {
			return err
		}
		if e.Seq != next || !e.At.Equal(was.At) || e.Event.Kind() != was.Event.Kind() || plain(got) != plain(want) {
			t.Errorf("entry %d: got %v %s, want %v %s", e.Seq, e.At, got, was.At, want)
		}
		return nil
	})
	if err != nil || next != 40 {
		t.Errorf("got %d entries, %v, want 40", next, err)
	}
	if err := s.sql(true, "DELETE FROM witnessmark.reading WHERE seq = 12"); err != nil {
		t.Fatal(err)
	}
	var gone *store.Mismatch
	if err := r.Entries(t.Context(), func(audit.Entry) error { return nil }); !errors.As(err, &gone) || gone.Seq != 12 {
		t.Errorf("a row is gone: got %v, want entry 12 named", err)
	}
}

// plain is JSON without what the database cannot keep: the zone of a time, nil beside empty, and NUL.
func plain(b []byte) string {
	return strings.NewReplacer(":null", ":[]", "\\u0000", "␀", "2027-01-01T00:00:00+01:00", "2026-12-31T23:00:00Z").Replace(string(b))
}
