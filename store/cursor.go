package store

import (
	"context"
	"fmt"
	"strings"

	"github.com/jackc/pgx/v5"
)

// cursor reads a long result in pieces beside others on one connection. The places of a piece are used again for the next.
type cursor[T any] struct {
	ctx     context.Context
	tx      pgx.Tx
	name    string
	query   string
	fresh   func() T       // nil: the zero value
	into    func(*T) []any // where the columns are scanned to
	piece   []T
	targets [][]any // of piece
	given   int     // the next place that was not handed out
	filled  int     // places that hold a row
	begun   bool
	ended   bool
}

func newCursor[T any](ctx context.Context, tx pgx.Tx, name, query string, into func(*T) []any) *cursor[T] {
	return &cursor[T]{ctx: ctx, tx: tx, name: "walk_" + name, query: query, into: into}
}

// next is the next row, nil at the end. It holds until the next one is asked for.
func (c *cursor[T]) next() (*T, error) {
	if c.given == c.filled && !c.ended {
		if err := c.fetch(); err != nil {
			return nil, err
		}
	}
	if c.given == c.filled {
		return nil, nil
	}
	c.given++
	return &c.piece[c.given-1], nil
}

func (c *cursor[T]) fetch() error {
	if !c.begun {
		c.begun = true
		c.piece, c.targets = make([]T, fetchRows), make([][]any, fetchRows)
		if _, err := c.tx.Exec(c.ctx, "DECLARE "+c.name+" NO SCROLL CURSOR FOR "+c.query); err != nil {
			return fmt.Errorf("read %s: %w", c.name, err)
		}
	}
	rows, err := c.tx.Query(c.ctx, fmt.Sprintf("FETCH %d FROM %s", fetchRows, c.name))
	if err != nil {
		return fmt.Errorf("read %s: %w", c.name, err)
	}
	defer rows.Close()
	c.given, c.filled = 0, 0
	for rows.Next() {
		if err := rows.Scan(c.place(c.filled)...); err != nil {
			return fmt.Errorf("read %s: %w", c.name, err)
		}
		c.filled++
	}
	c.ended = c.filled < fetchRows
	return rows.Err()
}

// place is where the columns of a row of the piece go.
func (c *cursor[T]) place(i int) []any {
	if c.targets[i] == nil {
		if c.fresh != nil {
			c.piece[i] = c.fresh()
		}
		c.targets[i] = c.into(&c.piece[i])
	}
	return c.targets[i]
}

// source hands out the rows of one table in the order of their leaves.
type source struct {
	kind, table string
	rows        *cursor[row]
}

func newSource(ctx context.Context, tx pgx.Tx, kind, table, shop string) *source {
	r := emptyRow(kind)
	query := "SELECT " + strings.Join(r.columns(), ", ") + " FROM witnessmark." + table + " WHERE shop = " + quote(shop) + " ORDER BY ledger_index"
	c := newCursor(ctx, tx, table, query, (*row).targets)
	c.fresh = func() row { return emptyRow(kind) }
	return &source{kind, table, c}
}

// take is the next row, nil at the end. It holds until the next one is asked for.
func (s *source) take() (*row, error) { return s.rows.next() }

// astray names what is wrong where the next row of a table is not the one that the leaf wants.
func (s *source) astray(r *row, l *leaf) error {
	if r == nil || r.Index > l.index {
		return &Mismatch{l.index, s.table, l.seq, "the row of the leaf is missing"}
	}
	return &Mismatch{r.Index, s.table, r.Seq, "a row without a leaf of its own"}
}

// quote writes a text constant for a cursor, whose query takes no parameters.
func quote(s string) string { return "'" + strings.ReplaceAll(s, "'", "''") + "'" }
