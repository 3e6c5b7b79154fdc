package store_test

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5/pgconn"

	"witnessmark/audit"
	"witnessmark/store"
)

func TestStore_TokensAreRecorded(t *testing.T) {
	s := newShop(t)
	st := s.open()
	s.commit(st, 1, 2)
	until := time.Date(2026, 8, 1, 9, 0, 0, 0, time.FixedZone("", 7200))
	for i, ev := range []audit.TokenGiven{{Token: "cell-4", Person: "ab12", By: "ab12", Expires: &until}, {Token: "cell-4", By: "ab12"}} {
		o := audit.Outcome{Entry: audit.Entry{Seq: uint64(3 + i), At: time.Date(2026, 5, 4, 9, 0, 9, 0, time.UTC), Event: ev}}
		if err := st.Commit(t.Context(), []audit.Outcome{o}); err != nil {
			t.Fatal(err)
		}
	}
	if got := s.verify(); got != "" {
		t.Errorf("verify: %s", got)
	}
	for _, statement := range []string{"UPDATE witnessmark.token_given SET person = 'x'", "DELETE FROM witnessmark.token_given", "TRUNCATE witnessmark.token_given"} {
		var pg *pgconn.PgError
		if err := s.sql(false, statement); !errors.As(err, &pg) || pg.Code != "42501" {
			t.Errorf("%s: got %v, want insufficient privilege", statement, err)
		}
	}
	if err := s.sql(true, "UPDATE witnessmark.token_given SET expires = expires + interval '1 day' WHERE seq = 3"); err != nil {
		t.Fatal(err)
	}
	if got := s.verify(); !strings.Contains(got, "table token_given, entry 3") {
		t.Errorf("got %q, want the token that was made longer", got)
	}
}

func TestAccounts_Tokens(t *testing.T) {
	a, _ := newAccounts(t)
	ctx, until := t.Context(), time.Date(2026, 8, 1, 9, 0, 0, 0, time.UTC)
	first, next := store.Token{Key: "k1", Name: "cell-4", Person: "p1", Expires: until}, store.Token{Key: "k2", Name: "cell-4", Person: "p2", Expires: until}
	there := func(want store.Token, yes bool) {
		t.Helper()
		got, found, err := a.Token(ctx, want.Key)
		got.Expires = got.Expires.UTC()
		if err != nil || found != yes || yes && got != want {
			t.Errorf("got %+v, %v, %v, want %+v: %v", got, found, err, want, yes)
		}
	}
	there(first, false)
	for _, one := range []store.Token{first, next} {
		if err := a.KeepToken(ctx, one); err != nil {
			t.Fatal(err)
		}
		there(one, true)
	}
	there(first, false) // one of a name
	if err := a.DropToken(ctx, "cell-4"); err != nil {
		t.Fatal(err)
	}
	there(next, false)
}

func TestAccounts_Enrolments(t *testing.T) {
	a, other := newAccounts(t)
	ctx, now := t.Context(), time.Date(2026, 5, 4, 8, 0, 0, 0, time.UTC)
	for _, e := range []store.Enrolment{{Key: "k2", Bench: "2", Person: "p1", Since: now, Expires: now.Add(time.Hour)},
		{Key: "k1", Bench: "1", Person: "p1", Since: now, Expires: now.Add(2 * time.Hour)}} {
		for range 2 { // as after a connection that broke
			if err := a.Enrol(ctx, e); err != nil {
				t.Fatal(err)
			}
		}
	}
	keys := func(at time.Time, want string) {
		t.Helper()
		all, err := a.Enrolments(ctx, at)
		var got []string
		for _, e := range all {
			got = append(got, e.Key)
		}
		if err != nil || strings.Join(got, " ") != want {
			t.Errorf("got %v, %v, want %s", got, err, want)
		}
	}
	keys(now, "k1 k2")
	keys(now.Add(time.Hour), "k1")
	if all, err := other.Enrolments(ctx, now); err != nil || len(all) != 0 {
		t.Errorf("got %v, %v of another shop", all, err)
	}
	if err := a.Dismiss(ctx, "k1"); err != nil {
		t.Fatal(err)
	}
	keys(now, "k2")
}

// newAccounts are those of the shop s1, and those of another shop in the same database.
func newAccounts(t *testing.T) (of, other *store.Accounts) {
	t.Helper()
	s := newShop(t)
	s.open() // prepares the database
	at := func(context.Context) (string, error) { return s.opt.URL, nil }
	of, other = store.NewAccounts("s1", at), store.NewAccounts("s2", at)
	t.Cleanup(func() {
		if err := errors.Join(of.Close(), other.Close()); err != nil {
			t.Error(err)
		}
	})
	return of, other
}
