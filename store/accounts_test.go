package store_test

import (
	"context"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"witnessmark/store"
)

func TestAccounts(t *testing.T) {
	s := newShop(t)
	s.open() // prepares the database
	a := store.NewAccounts("s1", func(context.Context) (string, error) { return s.opt.URL, nil })
	t.Cleanup(func() {
		if err := a.Close(); err != nil {
			t.Error(err)
		}
	})
	ctx, now := t.Context(), time.Date(2026, 5, 4, 8, 0, 0, 0, time.UTC)
	if p, err := a.Proofs(ctx, "p1"); err != nil || p != (store.Proofs{}) {
		t.Errorf("got %+v, %v of one who has none", p, err)
	}
	for _, hash := range []string{"one", "two"} {
		if err := a.Prove(ctx, "p1", store.Proofs{Password: hash}); err != nil {
			t.Fatal(err)
		}
		if p, err := a.Proofs(ctx, "p1"); err != nil || p.Password != hash {
			t.Errorf("got %+v, %v, want %s", p, err, hash)
		}
	}
	if err := a.Prove(ctx, "p1", store.Proofs{PIN: "three"}); err != nil { // leaves the password as it is
		t.Fatal(err)
	}
	if p, err := a.Proofs(ctx, "p1"); err != nil || p != (store.Proofs{Password: "two", PIN: "three"}) {
		t.Errorf("got %+v, %v", p, err)
	}
	keep := func(key, person string, expires time.Time) {
		if err := a.Keep(ctx, store.Session{Key: key, Person: person, Data: []byte(key), Expires: expires}, now); err != nil {
			t.Fatal(err)
		}
	}
	there := func(key string, at time.Time, want bool) {
		t.Helper()
		got, found, err := a.Session(ctx, key, at)
		if err != nil || found != want || found && string(got.Data) != key {
			t.Errorf("session %s: got %+v, %v, %v, want it there: %v", key, got, found, err, want)
		}
	}
	keep("k1", "p1", now.Add(time.Hour))
	keep("k2", "p1", now.Add(time.Hour))
	keep("k3", "p2", now.Add(time.Hour))
	there("k1", now, true)
	there("k1", now.Add(time.Hour), false)
	endBackends(t, s.opt.URL) // as a server that restarts does
	there("k1", now, true)
	if err := a.End(ctx, "k1"); err != nil {
		t.Fatal(err)
	}
	there("k1", now, false)
	if err := a.EndAll(ctx, "p1"); err != nil {
		t.Fatal(err)
	}
	there("k2", now, false)
	there("k3", now, true)
	if _, found, err := store.NewAccounts("s2", func(context.Context) (string, error) { return s.opt.URL, nil }).Session(ctx, "k3", now); found || err != nil {
		t.Errorf("got a session of another shop: %v, %v", found, err)
	}
}

// endBackends ends every other connection to the database.
func endBackends(t *testing.T, url string) {
	t.Helper()
	c, err := pgx.Connect(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close(t.Context())
	if _, err := c.Exec(t.Context(), `SELECT pg_terminate_backend(pid) FROM pg_stat_activity
		WHERE datname = current_database() AND pid <> pg_backend_pid()`); err != nil {
		t.Fatal(err)
	}
}
