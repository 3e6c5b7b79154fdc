package store_test

import (
	"bytes"
	"context"
	"errors"
	"testing"
	"time"

	"github.com/jackc/pgx/v5/pgconn"

	"witnessmark/store"
)

// A table stays locked: the server ends the wait, with SQLSTATE 55P03 (lock_not_available, appendix A of the PostgreSQL
// documentation), and not the caller, who gives it all the time of the test.
func TestStore_WaitsForNoLockForEver(t *testing.T) {
	defer store.Impatient(time.Second)()
	s := newShop(t)
	st := s.open()
	s.commit(st, 1, 5)
	other := s.connect()
	defer other.Close(context.Background())
	for _, sql := range []string{"BEGIN", "LOCK TABLE witnessmark.reading IN ACCESS EXCLUSIVE MODE"} {
		if _, err := other.Exec(t.Context(), sql); err != nil {
			t.Fatal(err)
		}
	}
	var pg *pgconn.PgError
	if err := st.Commit(t.Context(), outcomes(6, 10)); !errors.As(err, &pg) || pg.Code != "55P03" {
		t.Errorf("got %v, want the wait for the lock ended by the server", err)
	}
	if _, err := other.Exec(t.Context(), "COMMIT"); err != nil {
		t.Fatal(err)
	}
	reload(t, st)
	s.wantWhole(st)
}

// The COMMIT never arrives and the connection stays: the server ends the session, and the next daemon gets the lock.
func TestStore_SilentTransactionIsEnded(t *testing.T) {
	defer store.Impatient(time.Second)()
	s, st, p := throughProxy(t)
	held := make(chan *line, 1)
	p.arm(func(l *line, _ []byte) { l.deafen(); held <- l })
	short, cancel := context.WithCancel(t.Context())
	failed := make(chan error, 1)
	go func() { failed <- st.Commit(short, outcomes(6, 10)) }()
	l := <-held
	s.awaitFreeLock() // nobody has closed anything: the server has let go by itself
	l.close()
	cancel()
	if err := <-failed; err == nil {
		t.Error("got a commit that never arrived")
	}
	reload(t, st)
	if got := st.Position(); got != 5 {
		t.Errorf("got position %d, want 5, as the entries were rolled back", got)
	}
	s.wantWhole(st)
}

// The COMMIT is lost, nothing comes back and nobody hangs up, as where a cable was pulled: the writer goes when its own time is
// over, and finds out by a connection of its own what became of the entries.
func TestStore_SilentServerIsLeft(t *testing.T) {
	defer store.Impatient(time.Second)()
	s, st, p := throughProxy(t)
	short, cancel := context.WithCancelCause(t.Context())
	over := errors.New("its time is over")
	p.arm(func(l *line, _ []byte) { l.deafen(); cancel(over) })
	if err := st.Commit(short, outcomes(6, 10)); err == nil || !errors.Is(context.Cause(short), over) {
		t.Fatalf("got %v, want the commit given up when its time was over", err)
	}
	s.awaitFreeLock()
	reload(t, st)
	if got := st.Position(); got != 5 {
		t.Errorf("got position %d, want 5, as the COMMIT never arrived", got)
	}
	s.wantWhole(st)
}

// The server falls silent at the last question of a verification: whoever gives it up has no answer to wait for.
func TestVerify_SilentServerIsLeft(t *testing.T) {
	s, _, p := throughProxy(t)
	r, err := store.OpenReader(t.Context(), p.url(s.opt.URL), "s1")
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	ctx, giveUp := context.WithCancel(t.Context())
	defer giveUp()
	last := []byte("edge, position FROM witnessmark.ledger_head")
	p.armAt(func(said []byte) bool { return bytes.Contains(said, last) }, func(l *line, _ []byte) { l.deafen(); giveUp() })
	if _, err := r.Verify(ctx, s.opt.Key.Public, nil, nil); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v, want the verification given up", err)
	}
}
