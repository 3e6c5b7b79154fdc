package store_test

import (
	"context"
	"errors"
	"os"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"

	"witnessmark/store"
	"witnessmark/store/cluster/clustertest"
)

// against verifies a shop with checkpoints that were kept elsewhere.
func (s *shop) against(kept ...store.Kept) (store.Verified, error) {
	s.t.Helper()
	r, err := store.OpenReader(s.t.Context(), s.opt.URL, "")
	if err != nil {
		s.t.Fatal(err)
	}
	defer r.Close()
	return r.Verify(s.t.Context(), s.opt.Key.Public, kept, nil)
}

func (s *shop) outside(where string) store.Kept {
	s.t.Helper()
	b, err := os.ReadFile(s.opt.Outside)
	if err != nil {
		s.t.Fatal(err)
	}
	return store.Kept{Where: where, Note: b}
}

func TestVerify_GoesOnFromEveryCheckpointKept(t *testing.T) {
	s := newShop(t)
	st := s.open()
	var kept []store.Kept
	for _, to := range []uint64{5, 20, 30} {
		s.commit(st, st.Position()+1, to)
		kept = append([]store.Kept{s.outside("office")}, kept...) // in any order
	}
	if v, err := s.against(kept...); err != nil || v.Kept != 3 {
		t.Errorf("got %d, %v, want all three met", v.Kept, err)
	}
	t.Run("another past, signed with the shop's own key", func(t *testing.T) {
		other := newShop(t)
		other.opt.Key = s.opt.Key
		past := outcomes(1, 20)
		past[3].Refused = "told otherwise"
		st := other.open()
		if err := st.Commit(t.Context(), past); err != nil {
			t.Fatal(err)
		}
		other.commit(st, 21, 30)
		if got := other.verify(); got != "" {
			t.Fatalf("without the witness: got %s, want nothing to be seen", got)
		}
		_, err := other.against(kept...)
		var mismatch *store.Mismatch
		if !errors.As(err, &mismatch) || !strings.Contains(err.Error(), "another root than the checkpoint kept in office") {
			t.Errorf("got %v, want the witness named", err)
		}
	})
	t.Run("a checkpoint of another shop, or a damaged one", func(t *testing.T) {
		other := newShop(t)
		other.commit(other.open(), 1, 5)
		damaged := s.outside("office")
		damaged.Note = append([]byte("x"), damaged.Note...)
		for _, k := range []store.Kept{other.outside("office"), damaged} {
			if _, err := s.against(k); err == nil || !strings.Contains(err.Error(), "kept in office is damaged, of another shop") {
				t.Errorf("got %v, want the place named", err)
			}
		}
	})
}

// The database of last week is whole in itself: only what was kept outside it shows that there was more.
func TestVerify_DatabaseOfLastWeek(t *testing.T) {
	s := newShop(t)
	st := s.open()
	s.commit(st, 1, 20)
	st.Close()
	old := *s
	old.opt.URL = backup(t, s.opt.URL)
	st = s.open()
	s.commit(st, 21, 30)
	st.Close()
	newest := s.outside("the data folder")
	if _, err := old.against(); err != nil {
		t.Fatalf("by itself: got %v, want nothing to be seen", err)
	}
	if _, err := old.against(newest); !errors.Is(err, store.ErrOlder) || !strings.Contains(err.Error(), "Bring the newer database back") {
		t.Errorf("got %v, want it said that the database is older", err)
	}
	st = old.open()
	defer st.Close()
	others := outcomes(21, 30)
	others[4].Refused = "told otherwise"
	if err := errors.Join(st.Prove(each(others)), st.Commit(t.Context(), others)); !errors.Is(err, store.ErrOlder) || st.Position() != 20 {
		t.Errorf("entries that are not those that were lost: got %v at entry %d, want a refusal and nothing written", err, st.Position())
	}
	prove(t, st, outcomes(21, 30))
	old.commit(st, 21, 30)
	if _, err := old.against(newest); err != nil {
		t.Errorf("the entries that were lost: got %v, want the record to go on from the checkpoint again", err)
	}
}

// backup copies a database that nobody uses, and gives the address of the copy.
func backup(t *testing.T, url string) string {
	t.Helper()
	c, err := pgx.ParseConfig(url)
	if err != nil {
		t.Fatal(err)
	}
	do := func(sql string) {
		t.Helper()
		conn, err := pgx.Connect(context.Background(), clustertest.Database(t))
		if err != nil {
			t.Fatal(err)
		}
		defer conn.Close(context.Background())
		if _, err := conn.Exec(context.Background(), sql); err != nil {
			t.Fatal(err)
		}
	}
	name := c.Database + "_last_week"
	do("CREATE DATABASE " + name + " TEMPLATE " + c.Database)
	t.Cleanup(func() {
		conn, err := pgx.Connect(context.Background(), url)
		if err != nil {
			t.Fatal(err)
		}
		defer conn.Close(context.Background())
		if _, err := conn.Exec(context.Background(), "DROP DATABASE "+name+" WITH (FORCE)"); err != nil {
			t.Error(err)
		}
	})
	return strings.Replace(url, c.Database, name, 1)
}
