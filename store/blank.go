package store

import (
	"context"
	"fmt"

	"witnessmark/audit"
)

// blank empties the name and the badges of a person, which are in no leaf, and takes the account and the tokens away, in
// the transaction that records why. A crash leaves both or neither.
func (s *Store) blank(ctx context.Context, r row) error {
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
		if _, err := s.conn.Exec(ctx, sql, s.opt.Shop, person); err != nil {
			return fmt.Errorf("blank a name: %w", err)
		}
	}
	return nil
}
