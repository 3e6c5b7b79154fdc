package store

import (
	"context"
	"fmt"
	"strings"

	"github.com/jackc/pgx/v5"
)

// cursor reads a long result in pieces beside others on one connection.
type cursor struct {
	ctx      context.Context
	tx       pgx.Tx
	name     string
	query    string
	declared bool
	piece    [][]any // scanned rows not yet handed out
	ended    bool
}

func newCursor(ctx context.Context, tx pgx.Tx, name, query string) *cursor {
	return &cursor{ctx: ctx, tx: tx, name: "walk_" + name, query: query}
}

// next scans the next row; false at the end.
func (c *cursor) next(targets ...any) (bool, error) {
	if len(c.piece) == 0 && !c.ended {
		if err := c.fetch(targets); err != nil {
			return false, err
		}
	}
	if len(c.piece) == 0 {
		return false, nil
	}
	assign(targets, c.piece[0])
	c.piece = c.piece[1:]
	return true, nil
}

func (c *cursor) fetch(like []any) error {
	if !c.declared {
		c.declared = true
		if _, err := c.tx.Exec(c.ctx, "DECLARE "+c.name+" NO SCROLL CURSOR FOR "+c.query); err != nil {
			return fmt.Errorf("read %s: %w", c.name, err)
		}
	}
	rows, err := c.tx.Query(c.ctx, fmt.Sprintf("FETCH %d FROM %s", fetchRows, c.name))
	if err != nil {
		return fmt.Errorf("read %s: %w", c.name, err)
	}
	defer rows.Close()
	for rows.Next() {
		fresh := alike(like)
		if err := rows.Scan(fresh...); err != nil {
			return fmt.Errorf("read %s: %w", c.name, err)
		}
		c.piece = append(c.piece, fresh)
	}
	c.ended = len(c.piece) < fetchRows
	return rows.Err()
}

// source hands out the rows of one table in the order of their leaves.
type source struct {
	kind, table string
	rows        *cursor
}

func newSource(ctx context.Context, tx pgx.Tx, kind, table, shop string) *source {
	r := emptyRow(kind)
	query := "SELECT " + strings.Join(r.columns(), ", ") + " FROM witnessmark." + table + " WHERE shop = " + quote(shop) + " ORDER BY ledger_index"
	return &source{kind, table, newCursor(ctx, tx, table, query)}
}

// take is the next row, nil at the end.
func (s *source) take() (*row, error) {
	r := emptyRow(s.kind)
	ok, err := s.rows.next(r.targets()...)
	if err != nil || !ok {
		return nil, err
	}
	return &r, nil
}

// astray names what is wrong where the next row of a table is not the one that the leaf wants.
func (s *source) astray(r *row, l leaf) error {
	if r == nil || r.Index > l.index {
		return &Mismatch{l.index, s.table, l.seq, "the row of the leaf is missing"}
	}
	return &Mismatch{r.Index, s.table, r.Seq, "a row without a leaf of its own"}
}

// quote writes a text constant for a cursor, whose query takes no parameters.
func quote(s string) string { return "'" + strings.ReplaceAll(s, "'", "''") + "'" }
