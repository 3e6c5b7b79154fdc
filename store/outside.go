package store

import (
	"bytes"
	"context"
	"fmt"

	"golang.org/x/mod/sumdb/tlog"

	"witnessmark/store/ledger"
)

// settleOutside compares the database with the checkpoint kept outside, and publishes the newer one.
//
// A crash between commit and publishing leaves the outside copy behind; that is the only way in which the two may differ.
// A missing file is written anew: before the first commit there is none.
func (s *Store) settleOutside(ctx context.Context, size int64, root tlog.Hash, signed []byte) error {
	kept, err := ledger.ReadOutside(s.opt.OutsidePath)
	if err != nil {
		return err
	}
	if kept != nil {
		if bytes.Equal(kept, signed) {
			return nil
		}
		if err := s.compareOutside(ctx, kept, size, root); err != nil {
			return err
		}
	}
	if signed == nil {
		return nil
	}
	return ledger.WriteOutside(s.opt.OutsidePath, signed)
}

func (s *Store) compareOutside(ctx context.Context, kept []byte, size int64, root tlog.Hash) error {
	c, err := ledger.Open(kept, s.opt.Key.Verifier)
	if err != nil {
		return outsideMismatch(0, "it is damaged or signed with another key: put "+s.opt.OutsidePath+" back from a backup: "+err.Error())
	}
	if c.Size > size {
		return fmt.Errorf("%w: %d leaves against %d: an older copy was put in its place; restore a newer backup, "+
			"or move %s away if the loss is known and accepted", ErrOlder, size, c.Size, s.opt.OutsidePath)
	}
	then, err := rootAt(ctx, s.conn, s.opt.Shop, c.Size, size, root)
	if err != nil {
		return err
	}
	if then != c.Root {
		return outsideMismatch(c.Size, "the database holds another history than the one that was signed: keep both, and find out who changed it")
	}
	return nil
}

func outsideMismatch(size int64, what string) error {
	return &Mismatch{Index: size, Table: "outside", Key: fmt.Sprintf("size %d", size), What: what}
}

// rootAt is the root that the ledger had at an earlier size, proved by the leaves: the same leaves must lead to today's
// root. It reads every leaf hash, which only a start after a crash has to do.
func rootAt(ctx context.Context, q querier, shop string, then, size int64, root tlog.Hash) (tlog.Hash, error) {
	if then == size {
		return root, nil
	}
	rows, err := q.Query(ctx, `SELECT index, hash FROM witnessmark.ledger_leaf WHERE shop = $1 AND index < $2 ORDER BY index`, shop, size)
	if err != nil {
		return tlog.Hash{}, fmt.Errorf("read leaves: %w", err)
	}
	defer rows.Close()
	tree := &ledger.Tree{}
	earlier, err := tree.Root()
	for err == nil && rows.Next() {
		var index int64
		var hash []byte
		if err = rows.Scan(&index, &hash); err != nil {
			break
		}
		if index != tree.Size() {
			return tlog.Hash{}, &Mismatch{tree.Size(), "ledger_leaf", fmt.Sprintf("index %d", tree.Size()), "the leaf is missing"}
		}
		tree.Append(tlog.Hash(hash))
		if tree.Size() == then {
			earlier, err = tree.Root()
		}
	}
	if err == nil {
		err = rows.Err()
	}
	if err != nil {
		return tlog.Hash{}, fmt.Errorf("read leaves: %w", err)
	}
	if now, err := tree.Root(); err != nil || now != root || tree.Size() != size {
		return tlog.Hash{}, headMismatch(size, "the leaves do not give the root of the head")
	}
	return earlier, nil
}
