package store

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"witnessmark/audit"
)

// blank empties the name and the badges of a person, which are in no leaf, and takes the account and the tokens away, in
// the transaction that records why. A crash leaves both or neither.
func (s *Store) blank(ctx context.Context, tx pgx.Tx, r row) error {
	if r.Refused != "" {
		return nil
	}
	person := r.record.Interface().(audit.PersonForgotten).Person
	for _, sql := range []string{
		`SELECT witnessmark.forget($1, $2)`,
		`DELETE FROM witnessmark.session WHERE shop = $1 AND person = $2`,
		`DELETE FROM witnessmark.account WHERE shop = $1 AND person = $2`,
		`DELETE FROM witnessmark.token WHERE shop = $1 AND person = $2`,
	} {
		if _, err := tx.Exec(ctx, sql, s.opt.Shop, person); err != nil {
			return fmt.Errorf("blank a name: %w", err)
		}
	}
	return nil
}
