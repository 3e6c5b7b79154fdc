package store

import (
	"context"
	"errors"
	"fmt"

	"github.com/jackc/pgx/v5"
)

// Reader looks at a shop's records without the right to write. It works beside a running daemon.
// It is not safe for concurrent use.
type Reader struct {
	conn *pgx.Conn
	shop string
}

// OpenReader connects to a database that a daemon has prepared. Where shop is empty and the database holds one shop,
// it is that one.
func OpenReader(ctx context.Context, url, shop string) (*Reader, error) {
	conn, err := connect(ctx, url, readerRole)
	if err != nil {
		return nil, err
	}
	r := &Reader{conn, shop}
	err = r.readable(ctx)
	if err == nil && shop == "" {
		err = r.onlyShop(ctx)
	}
	if err != nil {
		return nil, errors.Join(err, r.Close())
	}
	return r, nil
}

// ErrOlderSchema is a database that an older version of this program has prepared.
var ErrOlderSchema = errors.New("the records in this database are laid out by an older version: start the daemon of this version on it once, " +
	"which brings them up to date, or read them with the older program")

// readable refuses a database that lacks a table or a column which this version reads.
func (r *Reader) readable(ctx context.Context) error {
	rows, err := r.conn.Query(ctx, `SELECT c.relname || '.' || a.attname FROM pg_catalog.pg_attribute a
		JOIN pg_catalog.pg_class c ON c.oid = a.attrelid AND c.relkind IN ('r', 'p')
		JOIN pg_catalog.pg_namespace n ON n.oid = c.relnamespace AND n.nspname = 'witnessmark'
		WHERE a.attnum > 0 AND NOT a.attisdropped`)
	if err != nil {
		return fmt.Errorf("look at the layout of the records: %w", err)
	}
	there, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		return fmt.Errorf("look at the layout of the records: %w", err)
	}
	has := map[string]bool{}
	for _, column := range there {
		has[column] = true
	}
	for kind, t := range tables {
		e := emptyRow(kind)
		for _, column := range e.columns() {
			if !has[t.name+"."+column] {
				return ErrOlderSchema
			}
		}
	}
	return nil
}

func (r *Reader) onlyShop(ctx context.Context) error {
	rows, err := r.conn.Query(ctx, "SELECT shop FROM witnessmark.ledger_head ORDER BY shop")
	if err != nil {
		return fmt.Errorf("list shops: %w", err)
	}
	shops, err := pgx.CollectRows(rows, pgx.RowTo[string])
	switch {
	case err != nil:
		return fmt.Errorf("list shops: %w", err)
	case len(shops) == 0:
		return errors.New("this database holds no records yet: start the daemon first")
	case len(shops) > 1:
		return fmt.Errorf("this database holds the shops %v: say which one", shops)
	}
	r.shop = shops[0]
	return nil
}

// Shop is the shop whose records are read.
func (r *Reader) Shop() string { return r.shop }

// Close ends the connection.
func (r *Reader) Close() error {
	ctx, cancel := context.WithTimeout(context.Background(), connectWithin)
	defer cancel()
	return r.conn.Close(ctx)
}

// Gone is true once the connection is lost.
func (r *Reader) Gone() bool { return r.conn.IsClosed() }
