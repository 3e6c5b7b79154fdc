package store_test

import (
	"context"
	"errors"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"witnessmark/store"
)

// The story of all tests here: entries 1 to 5 are in, 6 to 10 meet a fault at their COMMIT, and in the end 1 to 12 are in
// once each.

func TestStore_CommitWithLostAnswer(t *testing.T) {
	s, st, p := throughProxy(t)
	p.arm(func(l *line, commit []byte) {
		l.deafen()
		l.say(t, commit)
		<-l.answered // it is committed now, and nobody was told
		l.close()
	})
	wantNoAnswer(t, st)
	s.awaitFreeLock()
	reload(t, st)
	if got := st.Position(); got != 10 {
		t.Errorf("after Reload: got position %d, want 10, as the entries are stored", got)
	}
	s.wantWhole(st)
}

func TestStore_SessionEndedAtCommit(t *testing.T) {
	s, st, p := throughProxy(t)
	p.arm(func(l *line, commit []byte) {
		s.endSession()
		// The server has hung up or is about to: whether COMMIT still leaves the socket does not matter.
		_, _ = l.server.Write(commit)
	})
	wantNoAnswer(t, st)
	s.awaitFreeLock()
	reload(t, st)
	if got := st.Position(); got != 5 {
		t.Errorf("after Reload: got position %d, want 5, as the entries were rolled back", got)
	}
	s.wantWhole(st)
}

// The writer gives up waiting while its COMMIT is still on the way. The old session holds the shop's lock until its fate is
// known; a Reload that did not heed it would read a position that is about to change.
func TestStore_CommitStillOnTheWay(t *testing.T) {
	s, st, p := throughProxy(t)
	held := make(chan func(), 1)
	p.arm(func(l *line, commit []byte) {
		l.deafen()
		l.client.Close()
		held <- func() {
			l.say(t, commit)
			<-l.answered
			l.close()
		}
	})
	wantNoAnswer(t, st)
	arrive := <-held

	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	if err := st.Reload(ctx); !errors.Is(err, store.ErrFenced) {
		t.Errorf("Reload while the old session lives: got %v, want ErrFenced", err)
	}
	arrive()
	s.awaitFreeLock()
	reload(t, st)
	if got := st.Position(); got != 10 {
		t.Errorf("after Reload: got position %d, want 10, as COMMIT has arrived", got)
	}
	s.wantWhole(st)
}

// throughProxy has a store with entries 1 to 5 in it, whose connection goes through a proxy; s itself goes around it.
func throughProxy(t *testing.T) (*shop, *store.Store, *proxy) {
	t.Helper()
	s := newShop(t)
	p := newProxy(t, s.opt.URL)
	around := *s
	around.opt.URL = p.url(s.opt.URL)
	st := around.open()
	s.commit(st, 1, 5)
	return s, st, p
}

func wantNoAnswer(t *testing.T, st *store.Store) {
	t.Helper()
	if err := st.Commit(t.Context(), outcomes(6, 10)); err == nil {
		t.Fatal("Commit without an answer: got no error")
	}
	if got := st.Position(); got != 5 {
		t.Errorf("before Reload: got position %d, want 5, as nothing is known", got)
	}
}

func reload(t *testing.T, st *store.Store) {
	t.Helper()
	if err := st.Reload(t.Context()); err != nil {
		t.Fatalf("Reload: %v", err)
	}
}

// wantWhole offers entries again that may be in already, with two new ones.
func (s *shop) wantWhole(st *store.Store) {
	s.t.Helper()
	s.commit(st, 6, 12)
	if got := s.verify(); got != "" {
		s.t.Errorf("verify: %s", got)
	}
	// Entries 9 to 12 are readings with a mark each.
	if size, _ := st.Ledger(); st.Position() != 12 || size != 16 {
		s.t.Errorf("got position %d with %d leaves, want 12 with 16", st.Position(), size)
	}
	if got := s.count("reading"); got != 4 {
		s.t.Errorf("got %d readings, want 4", got)
	}
	if got := s.count("ledger_leaf"); got != 16 {
		s.t.Errorf("got %d leaves in the table, want 16", got)
	}
}

func (s *shop) count(table string) (n int) {
	s.t.Helper()
	conn := s.connect()
	defer conn.Close(context.Background())
	if err := conn.QueryRow(s.t.Context(), "SELECT count(*) FROM witnessmark."+pgx.Identifier{table}.Sanitize()).Scan(&n); err != nil {
		s.t.Fatal(err)
	}
	return n
}

// awaitFreeLock returns when the session that held the shop's lock has ended: it waits in line for the same lock.
func (s *shop) awaitFreeLock() {
	s.t.Helper()
	ctx, cancel := context.WithTimeout(s.t.Context(), time.Minute)
	defer cancel()
	conn := s.connect()
	defer conn.Close(context.Background())
	const key = "(hashtext('witnessmark'), hashtext('s1'))"
	for _, f := range []string{"pg_advisory_lock", "pg_advisory_unlock"} {
		if _, err := conn.Exec(ctx, "SELECT "+f+key); err != nil {
			s.t.Fatalf("wait for the shop's lock: %v", err)
		}
	}
}

// endSession has the server end the session of the store, which is the one that holds the shop's lock, and returns when it has
// ended. Those that brought the schema up to date have the same name and may still be about to go.
func (s *shop) endSession() {
	conn, err := pgx.Connect(context.Background(), s.opt.URL)
	if err != nil {
		s.t.Error(err)
		return
	}
	defer conn.Close(context.Background())
	var ended int
	err = conn.QueryRow(context.Background(), `SELECT count(*) FILTER (WHERE pg_terminate_backend(l.pid, 60000)) FROM pg_locks l
		JOIN pg_database d ON d.oid = l.database AND d.datname = current_database()
		WHERE l.locktype = 'advisory' AND l.granted AND l.objsubid = 2 -- a key of two numbers, which stand there without a sign
		AND l.classid::bigint = hashtext('witnessmark')::bigint & 4294967295 AND l.objid::bigint = hashtext('s1')::bigint & 4294967295`).Scan(&ended)
	if err != nil || ended != 1 {
		s.t.Errorf("end the session: got %d ended, %v, want 1", ended, err)
	}
}

func (s *shop) connect() *pgx.Conn {
	s.t.Helper()
	conn, err := pgx.Connect(s.t.Context(), s.opt.URL)
	if err != nil {
		s.t.Fatal(err)
	}
	return conn
}
