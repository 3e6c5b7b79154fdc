package store_test

import (
	"fmt"
	"path/filepath"
	"strings"
	"testing"
	"time"

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

// Another daemon of the same server makes a role, or becomes a member of one, and has not committed it yet: this one comes
// second.
func TestOpen_WhileAnotherMakesTheRoles(t *testing.T) {
	c, conn := server(t)
	statements := []string{"CREATE ROLE witnessmark_writer NOLOGIN ADMIN owner_0"}
	if conn.PgConn().ParameterStatus("server_version") < "16" { // later two who grant do not meet each other
		statements = append(statements, "GRANT witnessmark_reader TO owner_1")
	}
	for i, statement := range statements {
		s := newShop(t)
		s.opt.URL = owned(t, c, conn, fmt.Sprintf("owner_%d", i), "CREATEROLE")
		tx, err := conn.Begin(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if _, err := tx.Exec(t.Context(), statement); err != nil {
			t.Fatal(err)
		}
		opened := make(chan error, 1)
		go func() {
			st, err := store.Open(t.Context(), s.opt)
			if err == nil {
				err = st.Close()
			}
			opened <- err
		}()
		awaitBlocked(t, c)
		if err := tx.Commit(t.Context()); err != nil {
			t.Fatal(err)
		}
		if err := <-opened; err != nil {
			t.Errorf("%s at the same moment: %v", statement, err)
		}
	}
}

// awaitBlocked waits until somebody on the server waits for a lock.
func awaitBlocked(t *testing.T, c *cluster.Cluster) {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), c.ConnString())
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(t.Context())
	for late := time.Now().Add(time.Minute); ; time.Sleep(5 * time.Millisecond) {
		var waiting bool
		if err := conn.QueryRow(t.Context(), "SELECT EXISTS (SELECT FROM pg_locks WHERE NOT granted)").Scan(&waiting); err != nil {
			t.Fatal(err)
		}
		if waiting {
			return
		}
		if time.Now().After(late) {
			t.Fatal("nobody waits: nothing is tried")
		}
	}
}
