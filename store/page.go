package store

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"witnessmark/audit"
)

// statement is one of SQL, with what stands for its parameters.
type statement struct {
	sql  string
	args []any
}

// move moves the end of the ledger, if it still is where this store left it.
func (s *Store) move(p *page, root []byte) statement {
	return statement{`UPDATE witnessmark.ledger_head SET size = $2, root = $3, edge = $4, position = $5
		WHERE shop = $1 AND size = $6 AND position = $7 AND epoch = $8`,
		[]any{s.opt.Shop, p.tree.Size(), root, p.tree.Edge(), p.last, s.tree.Size(), s.position, s.epoch}}
}

func (s *Store) checkpoint(p *page, root, signed []byte, at time.Time) statement {
	return statement{`INSERT INTO witnessmark.checkpoint (shop, size, root, at, note) VALUES ($1, $2, $3, $4, $5)`,
		[]any{s.opt.Shop, p.tree.Size(), root, at, signed}}
}

// fewLeaves is up to how many leaves a page goes to the server as single rows in one round trip. A COPY for each table
// takes two of them, and its statement is planned anew each time, but it takes less for each row.
const fewLeaves = 40

// fill begins the transaction and writes all of it.
func (s *Store) fill(ctx context.Context, p *page, root, signed []byte, at time.Time) error {
	write := s.copyPage
	if len(p.leaves) <= fewLeaves {
		write = s.insertPage
	}
	if err := write(ctx, p, s.move(p, root), s.checkpoint(p, root, signed, at)); err != nil {
		return err
	}
	for _, r := range p.rows[audit.PersonForgotten{}.Kind()] {
		if err := s.blank(ctx, r); err != nil {
			return err
		}
	}
	return nil
}

// insertPage writes a page of few rows, all in one round trip.
func (s *Store) insertPage(ctx context.Context, p *page, move, checkpoint statement) error {
	b := &pgx.Batch{}
	b.Queue("begin")
	b.Queue(move.sql, move.args...).Exec(moved)
	for kind, rows := range p.rows { // the order of the tables does not show in what is written
		for i := range rows {
			columns := rows[i].columns()
			b.Queue(insertInto(tables[kind].name, columns), append([]any{s.opt.Shop}, rows[i].targets()...)...)
		}
	}
	for _, l := range p.leaves {
		b.Queue(insertInto("ledger_leaf", leafColumns), s.opt.Shop, l.index, l.kind, l.seq, l.hash)
	}
	b.Queue(checkpoint.sql, checkpoint.args...)
	if err := s.conn.SendBatch(ctx, b).Close(); err != nil {
		return fmt.Errorf("write entries to %d: %w", p.last, err)
	}
	return nil
}

// moved refuses a page whose place somebody else has taken.
func moved(tag pgconn.CommandTag) error {
	if tag.RowsAffected() != 1 {
		return ErrFenced
	}
	return nil
}

// leafColumns are those of ledger_leaf but for shop.
var leafColumns = []string{"index", "kind", "seq", "hash"}

func insertInto(table string, columns []string) string {
	var names, places strings.Builder
	for i, c := range columns {
		fmt.Fprintf(&names, ", %q", c)
		fmt.Fprintf(&places, ", $%d", i+2)
	}
	return "INSERT INTO witnessmark." + table + " (shop" + names.String() + ") VALUES ($1" + places.String() + ")"
}

// copyPage writes a page of many rows.
func (s *Store) copyPage(ctx context.Context, p *page, move, checkpoint statement) error {
	if _, err := s.conn.Exec(ctx, "begin"); err != nil {
		return fmt.Errorf("begin writing: %w", err)
	}
	tag, err := s.conn.Exec(ctx, move.sql, move.args...)
	if err != nil {
		return fmt.Errorf("move the end of the ledger: %w", err)
	}
	if err := moved(tag); err != nil {
		return err
	}
	for kind, rows := range p.rows { // as in insertPage
		if err := s.copyRows(ctx, tables[kind].name, rows); err != nil {
			return err
		}
	}
	_, err = s.conn.CopyFrom(ctx, pgx.Identifier{"witnessmark", "ledger_leaf"}, append([]string{"shop"}, leafColumns...),
		pgx.CopyFromSlice(len(p.leaves), func(i int) ([]any, error) {
			l := p.leaves[i]
			return []any{s.opt.Shop, l.index, l.kind, l.seq, l.hash}, nil
		}))
	if err != nil {
		return fmt.Errorf("write leaves: %w", err)
	}
	if _, err := s.conn.Exec(ctx, checkpoint.sql, checkpoint.args...); err != nil {
		return fmt.Errorf("write checkpoint: %w", err)
	}
	return nil
}

func (s *Store) copyRows(ctx context.Context, table string, rows []row) error {
	_, err := s.conn.CopyFrom(ctx, pgx.Identifier{"witnessmark", table}, append([]string{"shop"}, rows[0].columns()...),
		pgx.CopyFromSlice(len(rows), func(i int) ([]any, error) {
			return append([]any{s.opt.Shop}, rows[i].targets()...), nil
		}))
	if err != nil {
		return fmt.Errorf("write %s: %w", table, err)
	}
	return nil
}
