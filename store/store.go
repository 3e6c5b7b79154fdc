// Package store keeps what happened in PostgreSQL: a row for every entry and every mark, a ledger leaf for each, and a
// signed checkpoint with every commit, so that a later change of any of them shows.
//
//	Commit: rows + leaves + head + checkpoint, one transaction → checkpoint kept outside
//
// One daemon writes for a shop. It holds a session lock in the database, and every commit names the head that it goes on
// from, so that a writer which lost its lock without noticing writes nothing. Both need a direct connection: a pooler that
// hands the session on between transactions must not stand in between.
package store

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"github.com/jackc/pgx/v5"

	"witnessmark/store/ledger"
)

// Options says where and for whom a Store writes.
type Options struct {
	URL         string           // a URL or a keyword=value string of PostgreSQL
	Shop        string           // the shop's id, the start of every key
	Key         *ledger.Key      // signs the checkpoints; its name is their origin
	OutsidePath string           // file that keeps the last signed checkpoint outside the database
	Clock       func() time.Time // the time that stands beside a checkpoint
	LockWait    time.Duration    // how long to wait for another daemon to let go; 0: 5 s
}

// Store writes for one shop. One goroutine calls Commit, Reload and Close; Position and Ledger may be called from any.
type Store struct {
	opt  Options
	conn *pgx.Conn // holds the shop's lock; nil or closed: Reload connects again

	mu     sync.Mutex
	head   head
	signed time.Time
}

// head is where the ledger of a shop stands.
type head struct {
	tree     *ledger.Tree
	position uint64 // the last entry that is in
	epoch    int64  // of the daemon that writes
}

// Open connects, brings the tables to this version, takes the shop's lock, and checks that the database goes on from the
// checkpoint kept outside. It claims the next epoch, so that whoever wrote before can write no more.
func Open(ctx context.Context, o Options) (*Store, error) {
	if o.Shop == "" || o.Key == nil || o.OutsidePath == "" || o.Clock == nil {
		return nil, errors.New("a store needs a shop, a signing key, a place for the checkpoint kept outside, and a clock")
	}
	if o.LockWait == 0 {
		o.LockWait = 5 * time.Second
	}
	if err := migrate(ctx, o.URL); err != nil {
		return nil, err
	}
	s := &Store{opt: o}
	if err := s.connect(ctx); err != nil {
		return nil, err
	}
	if err := s.begin(ctx); err != nil {
		return nil, errors.Join(err, s.Close())
	}
	return s, nil
}

func (s *Store) begin(ctx context.Context) error {
	h, signed, err := s.load(ctx)
	if err != nil {
		return err
	}
	if h.epoch, err = s.claim(ctx, h.epoch); err != nil {
		return err
	}
	s.set(h, signed)
	return nil
}

// claim makes this daemon the one that writes. A crash after it leaves an epoch that nobody uses.
func (s *Store) claim(ctx context.Context, old int64) (int64, error) {
	empty := &ledger.Tree{}
	root, err := empty.Root()
	if err != nil {
		return 0, err
	}
	tag, err := s.conn.Exec(ctx, `INSERT INTO witnessmark.ledger_head AS h (shop, size, root, edge, position, epoch)
		VALUES ($1, 0, $2, $3, 0, 1)
		ON CONFLICT (shop) DO UPDATE SET epoch = h.epoch + 1 WHERE h.epoch = $4`, s.opt.Shop, root[:], empty.Edge(), old)
	if err != nil {
		return 0, fmt.Errorf("claim ledger: %w", err)
	}
	if tag.RowsAffected() != 1 {
		return 0, fmt.Errorf("claim ledger: %w", ErrFenced)
	}
	return old + 1, nil
}

// Reload looks at the database again after an error of Commit: it connects anew where the connection is gone, and takes
// position and ledger from there. After it, entries past Position are to be offered again; whatever became of the commit
// that failed, none is stored twice. It also brings the checkpoint kept outside up to date.
func (s *Store) Reload(ctx context.Context) error {
	if s.conn == nil || s.conn.IsClosed() || s.conn.Ping(ctx) != nil {
		if err := s.connect(ctx); err != nil {
			return err
		}
	}
	h, signed, err := s.load(ctx)
	if err != nil {
		return err
	}
	if h.epoch != s.now().epoch {
		return fmt.Errorf("reload ledger: %w", ErrFenced)
	}
	s.set(h, signed)
	return nil
}

// Position is the last entry that is in the database, as of the last Open, Commit or Reload.
func (s *Store) Position() uint64 { return s.now().position }

// Ledger is the number of leaves, and when they were last signed; the zero time where nothing has been.
func (s *Store) Ledger() (size uint64, signed time.Time) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return uint64(s.head.tree.Size()), s.signed
}

// Close lets go of the lock and the connection.
func (s *Store) Close() error {
	if s.conn == nil {
		return nil
	}
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	return s.conn.Close(ctx)
}

func (s *Store) now() head {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.head
}

func (s *Store) set(h head, signed time.Time) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.head, s.signed = h, signed
}
