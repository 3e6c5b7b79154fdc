package store

import (
	"context"
	"errors"
	"fmt"
	"iter"

	"github.com/jackc/pgx/v5"

	"witnessmark/audit"
	"witnessmark/store/ledger"
)

// publish puts the newest checkpoint outside the database, whole or not at all, unless a newer one lies there.
func (s *Store) publish(signed []byte) error {
	if s.ahead != nil {
		return nil
	}
	if err := ledger.WriteOutside(s.opt.Outside, signed); err != nil {
		return fmt.Errorf("write the checkpoint outside the database: %w", err)
	}
	return nil
}

// meetOutside compares the database with the checkpoint outside, and brings the latter up to date.
func (s *Store) meetOutside(ctx context.Context) error {
	signed, err := ledger.ReadOutside(s.opt.Outside)
	if signed != nil { // else a new shop, or one whose data folder was lost: nothing is known outside
		err = s.compare(ctx, signed)
	}
	if err != nil {
		return fmt.Errorf("compare the database with the checkpoint %s: %w", s.opt.Outside, err)
	}
	if s.ahead != nil {
		return nil // the checkpoint outside stays until the database has come there again
	}
	newest, err := s.noteAt(ctx, s.tree.Size())
	if err != nil || newest == nil {
		return err
	}
	return s.publish(newest) // the same bytes, where the last daemon was stopped between commit and publishing
}

func (s *Store) compare(ctx context.Context, signed []byte) error {
	keys, err := s.verifiers()
	if err != nil {
		return err
	}
	c, err := ledger.Open(signed, keys...)
	if err != nil {
		return err
	}
	if c.Size > s.tree.Size() {
		s.ahead = &c
		return nil
	}
	if c.Size == 0 {
		return nil
	}
	kept, err := s.noteAt(ctx, c.Size)
	if err != nil {
		return err
	}
	if kept == nil {
		return fmt.Errorf("the database has no checkpoint of size %d: it is another ledger, or was changed: run witnessmark verify", c.Size)
	}
	there, err := ledger.Open(kept, keys...)
	if err != nil {
		return fmt.Errorf("the checkpoint of size %d in the database: %w", c.Size, err)
	}
	if there.Root != c.Root {
		return fmt.Errorf("at size %d the database has another root than the checkpoint: it was changed: run witnessmark verify", c.Size)
	}
	return nil
}

// noteAt is the signed checkpoint of a size, nil where there is none.
func (s *Store) noteAt(ctx context.Context, size int64) ([]byte, error) {
	var n []byte
	err := s.conn.QueryRow(ctx, `SELECT note FROM witnessmark.checkpoint WHERE shop = $1 AND size = $2`, s.opt.Shop, size).Scan(&n)
	if errors.Is(err, pgx.ErrNoRows) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("read checkpoint: %w", err)
	}
	return n, nil
}

// Lacks is how many leaves the database is short of the checkpoint outside: more than none when an older one was put back.
func (s *Store) Lacks() int64 {
	if s.ahead == nil {
		return 0
	}
	return s.ahead.Size - s.tree.Size()
}

// reached forgets the checkpoint outside that was ahead once the database has come there.
func (s *Store) reached() {
	if s.ahead != nil && s.ahead.Size <= s.tree.Size() {
		s.ahead, s.proven = nil, false
	}
}

// lacking is how many of the outcomes lead up to the checkpoint outside that is ahead: they are a page of their own, so that the
// database has the very same checkpoint again.
func (s *Store) lacking(outcomes []audit.Outcome) int {
	size := s.tree.Size()
	for i, o := range outcomes {
		if size >= s.ahead.Size {
			return i
		}
		size += LeavesOf(o)
	}
	return len(outcomes)
}

// LeavesOf is how many leaves an outcome adds to the ledger.
func LeavesOf(o audit.Outcome) int64 { return 1 + int64(len(o.Marks)) }

// Prove goes through what the journal holds behind Position, without writing anything, until it has come to the state that the
// checkpoint outside proves. Before that Commit refuses: else entries that are not those that were lost would be signed.
func (s *Store) Prove(outcomes iter.Seq2[audit.Outcome, error]) error {
	if s.ahead == nil {
		return nil
	}
	trial := *s // its tree moves on, ours stays
	for o, err := range outcomes {
		if err != nil {
			return err
		}
		p, err := trial.compose([]audit.Outcome{o})
		if err != nil {
			return err
		}
		trial.tree, trial.position = p.tree, p.last
		if p.tree.Size() >= s.ahead.Size {
			err := s.arrives(p.tree)
			s.proven = err == nil
			return err
		}
	}
	return s.older(trial.tree, fmt.Sprintf("the journal leads to leaf %d and the checkpoint %s proves %d: bring the newer database or journal back, or have an administrator accept the loss with witnessmark ledger accept-loss",
		trial.tree.Size(), s.opt.Outside, s.ahead.Size))
}

// Older is an ErrOlder of which it is known what is lost.
type Older struct {
	Proven, Remains ledger.Checkpoint // outside, and what database and journal hold of it
	what            string
}

// Error is a sentence.
func (o *Older) Error() string { return fmt.Sprintf("%v: %s", ErrOlder, o.what) }

// Unwrap makes it an ErrOlder.
func (o *Older) Unwrap() error { return ErrOlder }

func (s *Store) older(remains *ledger.Tree, what string) error {
	root, err := remains.Root()
	if err != nil {
		return err
	}
	return &Older{*s.ahead, ledger.Checkpoint{Origin: s.ahead.Origin, Size: remains.Size(), Root: root}, what}
}

// arrives refuses a tree that leads past the checkpoint outside, or to another state of that size.
func (s *Store) arrives(tree *ledger.Tree) error {
	if s.ahead == nil || tree.Size() < s.ahead.Size {
		return nil
	}
	root, err := tree.Root()
	if err != nil {
		return err
	}
	if tree.Size() != s.ahead.Size || root != s.ahead.Root {
		return s.older(s.tree, fmt.Sprintf("at leaf %d the journal leads to another state than the checkpoint %s proves, so its entries are not those that were lost: "+
			"bring the newer database or journal back, the version of this program that wrote them, or have an administrator accept the loss with witnessmark ledger accept-loss", s.ahead.Size, s.opt.Outside))
	}
	return nil
}

// End is where the record of a shop ends in a database: its leaves and the entry of the last one. A database in which there is
// none yet ends at 0.
func End(ctx context.Context, url, shop string) (size int64, position uint64, err error) {
	c, err := configure(url)
	if err != nil {
		return 0, 0, err
	}
	conn, err := pgx.ConnectConfig(ctx, c)
	if err != nil {
		return 0, 0, unreached(err)
	}
	defer func() { err = errors.Join(err, conn.Close(context.WithoutCancel(ctx))) }()
	var there bool
	if err := conn.QueryRow(ctx, "SELECT to_regclass('witnessmark.ledger_head') IS NOT NULL").Scan(&there); err != nil || !there {
		return 0, 0, err
	}
	err = conn.QueryRow(ctx, "SELECT size, position FROM witnessmark.ledger_head WHERE shop = $1", shop).Scan(&size, &position)
	if errors.Is(err, pgx.ErrNoRows) {
		err = nil
	}
	return size, position, err
}
