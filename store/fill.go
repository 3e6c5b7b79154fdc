package store

import (
	"context"
	"errors"
	"fmt"
	"iter"

	"github.com/jackc/pgx/v5"

	"witnessmark/audit"
)

// fillBatch is how many entries go into one transaction of Fill.
const fillBatch = 20_000

// ErrFilled means that the shop has records already.
var ErrFilled = errors.New("this shop has records already: made-up ones never go in among them, name another shop or database")

// Fill writes a made-up history into an empty shop, to measure on. It is committed as a real one is, with leaves and
// signed checkpoints; without leaves the rows stand alone, the ledger stays empty, and Verify says that rows have no leaf.
// A crash leaves whole batches. done is told the newest entry after each.
func Fill(ctx context.Context, o Options, leaves bool, outcomes iter.Seq[audit.Outcome], done func(seq uint64)) (err error) {
	s, err := Open(ctx, o)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, s.Close()) }()
	var there bool
	if err := s.conn.QueryRow(ctx, `SELECT EXISTS (SELECT FROM witnessmark.procedure WHERE shop = $1)`, o.Shop).Scan(&there); err != nil {
		return fmt.Errorf("look for records: %w", err)
	}
	if there || s.position != 0 {
		return ErrFilled
	}
	write, index := s.Commit, int64(0)
	if !leaves {
		write = func(ctx context.Context, batch []audit.Outcome) error { return s.bare(ctx, batch, &index) }
	}
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	for batch := range batches(ctx, outcomes) {
		if err := write(ctx, batch); err != nil {
			return err
		}
		done(batch[len(batch)-1].Entry.Seq)
	}
	return context.Cause(ctx)
}

// batches draws ahead while the database writes.
func batches(ctx context.Context, outcomes iter.Seq[audit.Outcome]) <-chan []audit.Outcome {
	out := make(chan []audit.Outcome, 2)
	go func() {
		defer close(out)
		var batch []audit.Outcome
		for o := range outcomes {
			if batch = append(batch, o); len(batch) < fillBatch {
				continue
			}
			select {
			case out <- batch:
				batch = make([]audit.Outcome, 0, fillBatch)
			case <-ctx.Done():
				return
			}
		}
		select {
		case out <- batch:
		case <-ctx.Done():
		}
	}()
	return out
}

// bare writes the rows of outcomes without leaves.
func (s *Store) bare(ctx context.Context, outcomes []audit.Outcome, index *int64) error {
	rows := map[string][]row{}
	add := func(kind string, record any, c common) {
		c.Index = *index
		*index++
		rows[kind] = append(rows[kind], newRow(kind, record, c))
	}
	for _, o := range outcomes {
		c := common{Seq: o.Entry.Seq, At: o.Entry.At, Refused: o.Refused}
		add(o.Entry.Event.Kind(), o.Entry.Event, c)
		for _, m := range o.Marks {
			add(m.Kind(), m, c)
		}
	}
	return pgx.BeginFunc(ctx, s.conn, func(pgx.Tx) error {
		for kind, list := range rows {
			if err := s.copyRows(ctx, tables[kind].name, list); err != nil {
				return err
			}
		}
		return nil
	})
}
