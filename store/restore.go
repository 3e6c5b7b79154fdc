package store

import (
	"context"
	"errors"
	"fmt"

	"github.com/jackc/pgx/v5"
)

// PrepareRestore makes a database ready for a dump of the schema: it must hold no records, and gets the roles that the dump
// gives rights to. A crash leaves the roles, which do no harm.
func PrepareRestore(ctx context.Context, url string) (err error) {
	c, err := configure(url)
	if err != nil {
		return err
	}
	conn, err := pgx.ConnectConfig(ctx, c)
	if err != nil {
		return unreached(err)
	}
	defer func() { err = errors.Join(err, conn.Close(context.WithoutCancel(ctx))) }()
	var there bool
	if err := conn.QueryRow(ctx, "SELECT to_regnamespace('witnessmark') IS NOT NULL").Scan(&there); err != nil {
		return fmt.Errorf("look what the database holds: %w", err)
	}
	if there {
		return errors.New("the database holds records already: name an empty one, or remove what an earlier restore left by DROP SCHEMA witnessmark CASCADE")
	}
	return makeRoles(ctx, func(ctx context.Context, sql string) error { _, err := conn.Exec(ctx, sql); return err })
}
