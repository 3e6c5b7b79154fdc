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
	if shop == "" {
		err = r.onlyShop(ctx)
	}
	if err != nil {
		return nil, errors.Join(err, r.Close())
	}
	return r, nil
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
