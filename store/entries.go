package store

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"witnessmark/audit"
)

// Entries hands out what the rows say of every entry of the journal, from the first to the last one that is in the database. What
// was blanked is blank; Verify tells whether the rows are what was recorded. The event is only good during the call.
func (r *Reader) Entries(ctx context.Context, each func(audit.Entry) error) error {
	return r.snapshot(ctx, func(tx pgx.Tx) error {
		mark, sources := audit.Mark{}.Kind(), map[string]*source{}
		for kind, t := range tables {
			sources[kind] = newSource(ctx, tx, kind, t.name, r.shop)
		}
		leaves := newCursor(ctx, tx, "leaves", "SELECT index, kind, seq, hash FROM witnessmark.ledger_leaf WHERE shop = "+quote(r.shop)+
			" AND kind <> "+quote(mark)+" ORDER BY index", func(l *leaf) []any { return []any{&l.index, &l.kind, &l.seq, &l.hash} })
		for next := uint64(1); ; next++ {
			l, err := leaves.next()
			if err != nil || l == nil {
				return err
			}
			e, err := entryOf(sources[l.kind], l, next)
			if err != nil {
				return err
			}
			if err := each(e); err != nil {
				return err
			}
		}
	})
}

// entryOf takes the row of a leaf, which must be of the entry that is due.
func entryOf(s *source, l *leaf, due uint64) (e audit.Entry, err error) {
	if s == nil {
		return e, fmt.Errorf("unknown kind %q of leaf %d: use the newer program", l.kind, l.index)
	}
	row, err := s.take()
	if err != nil {
		return e, err
	}
	if row == nil || row.Index != l.index || row.Seq != due {
		return e, &Mismatch{l.index, s.table, l.seq, fmt.Sprintf("the row of entry %d is due here", due)}
	}
	ev, is := row.record.Interface().(audit.Event)
	if !is {
		return e, fmt.Errorf("leaf %d is of kind %q, which is no event", l.index, l.kind)
	}
	return audit.Entry{Seq: row.Seq, At: row.At, Event: ev}, nil
}

// Position is the newest entry of the journal that is in the database.
func (r *Reader) Position(ctx context.Context) (position uint64, err error) {
	err = r.conn.QueryRow(ctx, "SELECT position FROM witnessmark.ledger_head WHERE shop = $1", r.shop).Scan(&position)
	if err != nil {
		return 0, fmt.Errorf("read the end of the ledger: %w", err)
	}
	return position, nil
}
