package store

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"witnessmark/audit"
	"witnessmark/store/ledger"
)

// Commit writes outcomes in one transaction, all or none: a row and a leaf for each entry and then for each of its marks,
// the new head, and a checkpoint signed over it. Outcomes up to Position are skipped; the others must follow it without a
// gap. After an error call Reload, then offer again what is past Position.
//
// A crash before COMMIT leaves nothing. One after it leaves the checkpoint kept outside one behind; the next Open or
// Reload publishes it.
func (s *Store) Commit(ctx context.Context, outcomes []audit.Outcome) error {
	h := s.now()
	b, err := s.draw(h, outcomes)
	if err != nil || len(b.leaves) == 0 {
		return err
	}
	if err := s.write(ctx, h, b); err != nil {
		return fmt.Errorf("commit entries %d to %d: %w", h.position+1, b.position, err)
	}
	s.set(head{b.tree, b.position, h.epoch}, b.at)
	return ledger.WriteOutside(s.opt.OutsidePath, b.note)
}

// batch is what one commit adds.
type batch struct {
	shop     string
	tree     *ledger.Tree
	position uint64
	rows     map[*table][][]any
	leaves   [][]any
	at       time.Time
	root     []byte
	note     []byte
}

var (
	leafTable   = pgx.Identifier{"witnessmark", "ledger_leaf"}
	leafColumns = []string{"shop", "index", "kind", "seq", "no", "hash"}
)

// draw works out everything that a commit writes, before the database is asked.
func (s *Store) draw(h head, outcomes []audit.Outcome) (*batch, error) {
	b := &batch{shop: s.opt.Shop, tree: h.tree.Clone(), position: h.position, rows: map[*table][][]any{}}
	for _, o := range outcomes {
		if o.Entry.Seq <= h.position {
			continue
		}
		if o.Entry.Seq != b.position+1 {
			return nil, fmt.Errorf("entry %d cannot follow entry %d: entries are written without a gap", o.Entry.Seq, b.position)
		}
		if err := b.outcome(o); err != nil {
			return nil, err
		}
		b.position = o.Entry.Seq
	}
	if len(b.leaves) == 0 {
		return b, nil
	}
	return b, b.sign(s.opt.Key, tidyTime(s.opt.Clock()))
}

func (b *batch) outcome(o audit.Outcome) error {
	at := tidyTime(o.Entry.At)
	t, ok := byKind[o.Entry.Event.Kind()]
	if !ok || t == markTable {
		return fmt.Errorf("entry %d: no table for an event of kind %q", o.Entry.Seq, o.Entry.Event.Kind())
	}
	lead := []any{b.shop, o.Entry.Seq, at, b.tree.Size(), o.Refused}
	if err := b.record(t, o.Entry, at, o.Refused, o.Entry.Event, lead, o.Entry.Seq, 0); err != nil {
		return err
	}
	for _, m := range o.Marks {
		lead := []any{b.shop, o.Entry.Seq, at, b.tree.Size()}
		if err := b.record(markTable, o.Entry, at, "", m, lead, m.Reading, m.No); err != nil {
			return err
		}
	}
	return nil
}

// record adds a row and its leaf.
func (b *batch) record(t *table, e audit.Entry, at time.Time, refused string, record any, lead []any, seq uint64, no int) error {
	record = t.tidy(record)
	leaf, err := ledger.Leaf(t.kind, e.Seq, at, refused, record)
	if err != nil {
		return fmt.Errorf("entry %d: %w", e.Seq, err)
	}
	hash := ledger.Hash(leaf)
	b.rows[t] = append(b.rows[t], append(lead, t.values(record)...))
	b.leaves = append(b.leaves, []any{b.shop, b.tree.Size(), t.kind, seq, no, hash[:]})
	b.tree.Append(hash)
	return nil
}

func (b *batch) sign(key *ledger.Key, at time.Time) error {
	root, err := b.tree.Root()
	if err != nil {
		return err
	}
	b.at, b.root = at, root[:]
	b.note, err = ledger.Checkpoint{Origin: key.Signer.Name(), Size: b.tree.Size(), Root: root}.Sign(key.Signer)
	return err
}

// write is the transaction. Begin and COMMIT are by hand: a wrapper would cover the error of a COMMIT whose answer was
// lost with that of the rollback after it.
func (s *Store) write(ctx context.Context, h head, b *batch) error {
	if s.conn == nil || s.conn.IsClosed() {
		return errGone
	}
	tx, err := s.conn.Begin(ctx)
	if err != nil {
		return fmt.Errorf("begin: %w", err)
	}
	if err := b.fill(ctx, tx, h); err != nil {
		return errors.Join(err, rollback(ctx, tx))
	}
	if err := tx.Commit(ctx); err != nil {
		if code(err) == "" && !errors.Is(err, pgx.ErrTxCommitRollback) {
			err = fmt.Errorf("%w: %w", ErrUnknownFate, err)
		}
		return err
	}
	return nil
}

// rollback of a connection that broke has nothing to say beyond the error that broke it.
func rollback(ctx context.Context, tx pgx.Tx) error {
	if err := tx.Rollback(ctx); err != nil && !tx.Conn().IsClosed() {
		return fmt.Errorf("roll back: %w", err)
	}
	return nil
}

// fill moves the head first: the row lock makes a writer that was fenced off stop here, before it has written anything.
func (b *batch) fill(ctx context.Context, tx pgx.Tx, h head) error {
	tag, err := tx.Exec(ctx, `UPDATE witnessmark.ledger_head SET size = $1, root = $2, edge = $3, position = $4
		WHERE shop = $5 AND size = $6 AND position = $7 AND epoch = $8`,
		b.tree.Size(), b.root, b.tree.Edge(), b.position, b.shop, h.tree.Size(), h.position, h.epoch)
	if err != nil {
		return fmt.Errorf("move head: %w", err)
	}
	if tag.RowsAffected() != 1 {
		return ErrFenced
	}
	small := &pgx.Batch{}
	for _, t := range tables {
		if err := put(ctx, tx, small, t.identifier(), t.columns(), b.rows[t]); err != nil {
			return err
		}
	}
	if err := put(ctx, tx, small, leafTable, leafColumns, b.leaves); err != nil {
		return err
	}
	small.Queue(`INSERT INTO witnessmark.checkpoint (shop, size, root, at, note) VALUES ($1, $2, $3, $4, $5)`,
		b.shop, b.tree.Size(), b.root, b.at, b.note)
	if err := tx.SendBatch(ctx, small).Close(); err != nil {
		return fmt.Errorf("insert rows: %w", err)
	}
	return nil
}

// copyFrom is the number of rows from which a COPY, which costs a round trip of its own, beats single inserts.
const copyFrom = 16

// put copies many rows now and queues few.
func put(ctx context.Context, tx pgx.Tx, small *pgx.Batch, into pgx.Identifier, columns []string, rows [][]any) error {
	if len(rows) >= copyFrom {
		n, err := tx.CopyFrom(ctx, into, columns, pgx.CopyFromRows(rows))
		if err != nil {
			return fmt.Errorf("copy into %s: %w", into[1], err)
		}
		if n != int64(len(rows)) {
			return fmt.Errorf("copy into %s: %d rows of %d arrived", into[1], n, len(rows))
		}
		return nil
	}
	for _, r := range rows {
		small.Queue(insertStatement(into, columns), r...)
	}
	return nil
}
