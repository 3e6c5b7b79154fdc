package store

import (
	"context"
	"errors"
	"fmt"

	"github.com/jackc/pgx/v5"

	"witnessmark/store/ledger"
)

// publish puts the newest checkpoint outside the database, whole or not at all.
func (s *Store) publish(signed []byte) error {
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
		return fmt.Errorf("%w: it ends at leaf %d, the checkpoint proves %d; was an old backup put back? "+
			"Bring the newer database back; or move the checkpoint file away, keep it as evidence and start again: what the journal has is recorded again, "+
			"and witnessmark verify --checkpoint FILE tells whether the record goes on from it", ErrOlder, s.tree.Size(), c.Size)
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
