// Package store keeps what the shop has done in PostgreSQL: rows that are written once, the ledger that proves them, and
// the journal position, all in one transaction.
package store

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
	"golang.org/x/mod/sumdb/tlog"

	"witnessmark/store/ledger"
)

// Origin is the name under which a shop's ledger is signed.
func Origin(shop string) string { return "witnessmark/" + shop }

// Options says which shop's records go where. All fields are needed.
type Options struct {
	URL     string           // of the database, as pgx reads it
	Shop    string           // the shop's id, the first column of every key
	Key     *ledger.Key      // the first one; those that it was changed for lie beside it
	Outside string           // file of the newest checkpoint, kept outside the database
	Clock   func() time.Time // stamps checkpoints
}

// Store is the one writer of a shop. It is not safe for concurrent use.
type Store struct {
	opt      Options
	conn     *pgx.Conn // also holds the shop's advisory lock
	tree     *ledger.Tree
	position uint64
	epoch    int64
	signed   time.Time
	key      *ledger.Key        // that signs at present
	ahead    *ledger.Checkpoint // a newer state, proved outside, that what is offered must lead to; nil: none
	proven   bool               // what is offered leads there

	unpublished []byte // the newest checkpoint, until Publish; nil: it is outside
}

// Errors that callers branch on.
var (
	// ErrFenced means that another daemon has taken over the shop: this one must not write any more.
	ErrFenced = errors.New("another daemon writes this shop's records now: stop one of the two")
	// ErrOlder means that what a checkpoint outside proves to have been there is lost.
	ErrOlder = errors.New("the record is older than the checkpoint kept outside it")
)

// Open prepares the database, takes the shop's lock, and checks the ledger against the checkpoint kept outside. Where that one
// is newer, an older database was put back (Lacks): Commit then takes what leads to the state that the checkpoint proves, and
// nothing else, once Prove has seen that there is such.
func Open(ctx context.Context, o Options) (*Store, error) {
	if err := Migrate(ctx, o.URL); err != nil {
		return nil, err
	}
	s := &Store{opt: o, epoch: -1}
	if err := s.take(ctx); err != nil {
		return nil, errors.Join(err, s.Close())
	}
	if err := s.meetOutside(ctx); err != nil {
		return nil, errors.Join(err, s.Close())
	}
	return s, nil
}

// Reload looks at the database again after an error: a commit whose answer was lost may have happened. It connects anew
// where the connection is gone.
func (s *Store) Reload(ctx context.Context) error {
	if s.conn.IsClosed() {
		return s.take(ctx)
	}
	return s.load(ctx)
}

// take connects, locks the shop and claims the next epoch.
func (s *Store) take(ctx context.Context) error {
	conn, err := connect(ctx, s.opt.URL, writerRole)
	if err != nil {
		return err
	}
	s.conn = conn
	if err := s.lock(ctx); err != nil {
		return err
	}
	return s.claim(ctx)
}

// lockWithin is how long a session that was closed a moment ago may take to let go of the shop.
const lockWithin = 2 * time.Second

// lock takes the shop's lock, which the session keeps until it ends.
func (s *Store) lock(ctx context.Context) error {
	for last := time.Now().Add(lockWithin); ; {
		var locked bool
		err := s.conn.QueryRow(ctx, "SELECT pg_catalog.pg_try_advisory_lock(pg_catalog.hashtext('witnessmark'), pg_catalog.hashtext($1))", s.opt.Shop).Scan(&locked)
		switch {
		case err != nil:
			return fmt.Errorf("lock the shop: %w", err)
		case locked:
			return nil
		case time.Now().After(last):
			return fmt.Errorf("shop %s is locked: %w", s.opt.Shop, ErrFenced)
		}
		select {
		case <-time.After(50 * time.Millisecond):
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// claim moves the epoch on. A writer that held an earlier epoch finds its next commit refused.
func (s *Store) claim(ctx context.Context) error {
	empty, err := (&ledger.Tree{}).Root()
	if err != nil {
		return err
	}
	_, err = s.conn.Exec(ctx, `INSERT INTO witnessmark.ledger_head (shop, size, root, edge, position, epoch)
		VALUES ($1, 0, $2, '', 0, 0) ON CONFLICT DO NOTHING`, s.opt.Shop, empty[:])
	if err != nil {
		return fmt.Errorf("begin the ledger: %w", err)
	}
	var epoch int64
	err = s.conn.QueryRow(ctx, `UPDATE witnessmark.ledger_head SET epoch = epoch + 1
		WHERE shop = $1 AND ($2 < 0 OR epoch = $2) RETURNING epoch`, s.opt.Shop, s.epoch).Scan(&epoch)
	if errors.Is(err, pgx.ErrNoRows) {
		return ErrFenced
	}
	if err != nil {
		return fmt.Errorf("claim the ledger: %w", err)
	}
	s.epoch = epoch
	return s.load(ctx)
}

// load reads where the ledger ends.
func (s *Store) load(ctx context.Context) error {
	var size, epoch int64
	var position uint64
	var root, edge []byte
	err := s.conn.QueryRow(ctx, `SELECT size, root, edge, position, epoch FROM witnessmark.ledger_head WHERE shop = $1`, s.opt.Shop).
		Scan(&size, &root, &edge, &position, &epoch)
	if err != nil {
		return fmt.Errorf("read the end of the ledger: %w", err)
	}
	if epoch != s.epoch {
		return ErrFenced
	}
	tree, err := ledger.Resume(size, edge)
	if err != nil {
		return err
	}
	if got, err := tree.Root(); err != nil || len(root) != tlog.HashSize || got != tlog.Hash(root) {
		return fmt.Errorf("the end of the ledger at size %d does not fit its root: run witnessmark verify", size)
	}
	if s.key, err = s.signing(ctx, size); err != nil {
		return err
	}
	s.tree, s.position = tree, position
	s.reached() // by a commit whose answer was lost
	return s.loadSigned(ctx)
}

func (s *Store) loadSigned(ctx context.Context) error {
	err := s.conn.QueryRow(ctx, `SELECT at FROM witnessmark.checkpoint WHERE shop = $1 AND size = $2`, s.opt.Shop, s.tree.Size()).Scan(&s.signed)
	if err != nil && !errors.Is(err, pgx.ErrNoRows) {
		return fmt.Errorf("read the newest checkpoint: %w", err)
	}
	return nil
}

// Position is the newest journal entry that is in the database.
func (s *Store) Position() uint64 { return s.position }

// Ledger is the number of leaves, and when the newest checkpoint was signed (zero: never).
func (s *Store) Ledger() (size uint64, signed time.Time) { return uint64(s.tree.Size()), s.signed }

// Checkpoint is the newest state of the ledger that is in the database and signed; Size 0: none is.
func (s *Store) Checkpoint() (ledger.Checkpoint, error) {
	root, err := s.tree.Root()
	return ledger.Checkpoint{Origin: Origin(s.opt.Shop), Size: s.tree.Size(), Root: root}, err
}

// Close gives up the lock and the connection.
func (s *Store) Close() error {
	if s.conn == nil {
		return nil
	}
	ctx, cancel := context.WithTimeout(context.Background(), connectWithin)
	defer cancel()
	return s.conn.Close(ctx)
}
