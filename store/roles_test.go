package store_test

import (
	"errors"
	"fmt"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"github.com/jackc/pgx/v5"

	"witnessmark/store"
	"witnessmark/store/cluster"
)

// server is a PostgreSQL of its own, on which no daemon has been, and a connection that may do everything.
func server(t *testing.T) (*cluster.Cluster, *pgx.Conn) {
	t.Helper()
	c, err := cluster.Start(t.Context(), filepath.Join(t.TempDir(), "pg"), "fsync=off", "shared_buffers=16MB")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = c.Stop(t.Context()) })
	conn, err := pgx.Connect(t.Context(), c.ConnString())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { conn.Close(t.Context()) })
	return c, conn
}

// owned makes a database and a user who owns it, and gives the address at which that user finds it.
func owned(t *testing.T, c *cluster.Cluster, conn *pgx.Conn, user, may string) string {
	t.Helper()
	for _, sql := range []string{"CREATE ROLE " + user + " LOGIN " + may, "CREATE DATABASE " + user + " OWNER " + user} {
		if _, err := conn.Exec(t.Context(), sql); err != nil {
			t.Fatal(err)
		}
	}
	at, err := pgx.ParseConfig(c.ConnString())
	if err != nil {
		t.Fatal(err)
	}
	return fmt.Sprintf("host=%s port=%d user=%s dbname=%s", at.Host, at.Port, user, user)
}

// Who may make roles is no superuser. From PostgreSQL 16 on, that user is a member of a role that it made and may not take it on.
func TestOpen_ByAUserWhoMakesRoles(t *testing.T) {
	c, conn := server(t)
	s := newShop(t)
	s.opt.URL = owned(t, c, conn, "shop_owner", "CREATEROLE")
	st := s.open()
	s.commit(st, 1, 10)
	if got := s.verify(); got != "" {
		t.Error(got)
	}
	st.Close()
	s.open().Close()
	t.Run("one who may not is told what to do", func(t *testing.T) {
		other := newShop(t)
		other.opt.URL = owned(t, c, conn, "nobody_much", "")
		if _, err := store.Open(t.Context(), other.opt); err == nil || !strings.Contains(err.Error(), "GRANT witnessmark_writer to this user") {
			t.Errorf("got %v, want it said what to grant", err)
		}
		if _, err := conn.Exec(t.Context(), "GRANT witnessmark_writer, witnessmark_reader TO nobody_much"); err != nil {
			t.Fatal(err)
		}
		other.commit(other.open(), 1, 5)
	})
}

// Several daemons begin at once on a new server, each in a database of its own and two in the same one.
func TestOpen_SeveralAtOnceOnANewServer(t *testing.T) {
	c, conn := server(t)
	var begun sync.WaitGroup
	for i := range 6 {
		s := newShop(t)
		s.opt.URL = owned(t, c, conn, fmt.Sprintf("owner_%d", i), "SUPERUSER")
		for _, id := range []string{"s1", "s2"} {
			o := s.opt
			o.Shop = id
			begun.Go(func() {
				st, err := store.Open(t.Context(), o)
				if err == nil {
					err = errors.Join(st.Commit(t.Context(), nil), st.Close())
				}
				if err != nil {
					t.Errorf("database %d, shop %s: %v", i, id, err)
				}
			})
		}
	}
	begun.Wait()
}
