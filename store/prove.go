package store

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"reflect"
	"slices"

	"github.com/jackc/pgx/v5"
	"golang.org/x/mod/sumdb/tlog"

	"witnessmark/store/bundle"
	"witnessmark/store/ledger"
)

// prove adds the checkpoint, the leaves and their proofs.
func (g *gather) prove(ctx context.Context, c *bundle.Content, known string) error {
	size, err := g.checkpoint(ctx, c)
	if err != nil {
		return err
	}
	if c.Key, err = keyAt(ctx, g.tx, g.shop, size, known); err != nil {
		return err
	}
	if err := g.leaves(c); err != nil {
		return err
	}
	if last := c.Leaves[len(c.Leaves)-1].Index; last >= size {
		return fmt.Errorf("the checkpoint of %d leaves is from before the last entry of build %d, leaf %d: have a newer one signed", size, c.Build, last)
	}
	states := g.states()
	p, err := ledger.NewProver(size, slices.Sorted(maps.Keys(g.found)), slices.Sorted(maps.Keys(states)))
	if err != nil {
		return err
	}
	next := c.Leaves
	err = hashes(ctx, g.tx, g.shop, size, func(i int64, h tlog.Hash) error {
		if done := i + 1; g.progress != nil && (done%pieceOf == 0 || done == size) {
			g.progress(done, size)
		}
		if len(next) > 0 && next[0].Index == i {
			if ledger.Hash(next[0].Bytes) != h {
				return &Mismatch{i, tables[g.found[i].kind].name, g.found[i].Seq, "the row does not give the leaf's hash"}
			}
			next = next[1:]
		}
		p.Add(h)
		return nil
	})
	if err != nil {
		return err
	}
	return fill(c, p, states)
}

// checkpoint is the size of the checkpoint to prove against: the one given, else the newest.
func (g *gather) checkpoint(ctx context.Context, c *bundle.Content) (size int64, err error) {
	if c.Note != nil {
		at, err := ledger.ParseCheckpoint(string(c.Note))
		return at.Size, err
	}
	err = g.tx.QueryRow(ctx, "SELECT size, note FROM witnessmark.checkpoint WHERE shop = $1 ORDER BY size DESC LIMIT 1", g.shop).Scan(&size, &c.Note)
	if err != nil {
		return 0, fmt.Errorf("read the newest checkpoint: %w", err)
	}
	return size, nil
}

func (g *gather) leaves(c *bundle.Content) error {
	for _, i := range slices.Sorted(maps.Keys(g.found)) {
		r := g.found[i]
		b, err := r.leaf()
		if err != nil {
			return err
		}
		c.Leaves = append(c.Leaves, bundle.Leaf{Index: i, Bytes: b})
	}
	return nil
}

// states are the roots of the earlier ledgers that entries name, by size.
func (g *gather) states() map[int64]tlog.Hash {
	out := map[int64]tlog.Hash{}
	for _, r := range g.found {
		var size int64
		var root []byte
		each(r.record, func(column string, f reflect.Value) {
			switch column {
			case "size":
				size = f.Int()
			case "root":
				root = f.Bytes()
			}
		})
		if size > 0 && len(root) == tlog.HashSize && r.Refused == "" {
			out[size] = tlog.Hash(root)
		}
	}
	return out
}

func fill(c *bundle.Content, p *ledger.Prover, states map[int64]tlog.Hash) (err error) {
	for i := range c.Leaves {
		if c.Leaves[i].Proof, err = p.Inclusion(c.Leaves[i].Index); err != nil {
			return err
		}
	}
	for _, size := range slices.Sorted(maps.Keys(states)) {
		e := bundle.Earlier{Size: size, Root: states[size]}
		if e.Proof, err = p.Consistency(size); err != nil {
			return err
		}
		c.Earlier = append(c.Earlier, e)
	}
	return nil
}

// Proof is the request to a witness to sign the checkpoint of size to (0: the newest), with the proof that the ledger goes on
// from the size from (0: from nothing).
func (r *Reader) Proof(ctx context.Context, from, to int64) (q ledger.Request, err error) {
	q.Old = from
	err = r.snapshot(ctx, func(tx pgx.Tx) error {
		size := int64(0)
		err := tx.QueryRow(ctx, `SELECT size, note FROM witnessmark.checkpoint WHERE shop = $1 AND size >= $2 AND ($2 = 0 OR size = $2)
			ORDER BY size DESC LIMIT 1`, r.shop, to).Scan(&size, &q.Note)
		switch {
		case errors.Is(err, pgx.ErrNoRows):
			return fmt.Errorf("there is no checkpoint of %d leaves: leave the second size out for the newest one", to)
		case err != nil:
			return fmt.Errorf("read checkpoint: %w", err)
		case from == 0:
			return nil
		}
		p, err := ledger.NewProver(size, nil, []int64{from})
		if err != nil {
			return err
		}
		if err := hashes(ctx, tx, r.shop, size, func(_ int64, h tlog.Hash) error { p.Add(h); return nil }); err != nil {
			return err
		}
		q.Proof, err = p.Consistency(from)
		return err
	})
	return q, err
}

// pieceOf is how many leaf hashes are taken from the database at a time.
const pieceOf = 8192

// hashes hands out the hashes of the first leaves, as many as size says, in their order.
func hashes(ctx context.Context, tx pgx.Tx, shop string, size int64, each func(int64, tlog.Hash) error) error {
	for from := int64(0); from < size; from += pieceOf {
		to := min(from+pieceOf, size)
		var piece []byte
		err := tx.QueryRow(ctx, `SELECT coalesce(string_agg(hash, ''::bytea ORDER BY index), '') FROM witnessmark.ledger_leaf
			WHERE shop = $1 AND index >= $2 AND index < $3`, shop, from, to).Scan(&piece)
		if err != nil {
			return fmt.Errorf("read leaves: %w", err)
		}
		if int64(len(piece)) != (to-from)*tlog.HashSize {
			return &Mismatch{-1, "ledger_leaf", 0, fmt.Sprintf("a leaf between %d and %d is missing or has no whole hash", from, to)}
		}
		for i := from; i < to; i++ {
			if err := each(i, tlog.Hash(piece[(i-from)*tlog.HashSize:])); err != nil {
				return err
			}
		}
	}
	return nil
}
