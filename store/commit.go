package store

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	"witnessmark/audit"
	"witnessmark/store/ledger"
)

// leaf is a row of the table ledger_leaf.
type leaf struct {
	index int64
	kind  string
	seq   uint64
	hash  []byte
}

// page is what one transaction writes.
type page struct {
	rows   map[string][]row // by kind
	leaves []leaf
	tree   *ledger.Tree
	last   uint64
	keys   []*ledger.Key // that the entries change to
}

// Commit writes outcomes, in the order of their entries, with their leaves, a signed checkpoint and the new position in
// one transaction. Outcomes that are in already are passed over. After any error the caller asks Reload what the
// database holds and offers the rest again.
//
// A crash before the commit leaves the database as it was, and the journal still has the entries. After it the caller
// calls Publish.
func (s *Store) Commit(ctx context.Context, outcomes []audit.Outcome) error {
	outcomes = slices.DeleteFunc(slices.Clone(outcomes), func(o audit.Outcome) bool { return o.Entry.Seq <= s.position })
	if s.ahead != nil {
		if !s.proven {
			return fmt.Errorf("%w: whether the journal leads to what the checkpoint %s proves was not looked at", ErrOlder, s.opt.Outside)
		}
		n := s.lacking(outcomes)
		if err := s.commit(ctx, outcomes[:n]); err != nil {
			return err
		}
		outcomes = outcomes[n:]
	}
	return s.commit(ctx, outcomes)
}

func (s *Store) commit(ctx context.Context, outcomes []audit.Outcome) error {
	if len(outcomes) == 0 {
		return nil
	}
	p, err := s.compose(outcomes)
	if err != nil {
		return err
	}
	if err := s.arrives(p.tree); err != nil {
		return err
	}
	at := s.opt.Clock().UTC().Truncate(time.Microsecond)
	signed, err := s.write(ctx, p, at)
	if err != nil {
		return err
	}
	s.tree, s.position, s.signed = p.tree, p.last, at
	if n := len(p.keys); n > 0 {
		s.key = p.keys[n-1]
	}
	s.unpublished = signed
	s.reached()
	return nil
}

// Publish puts the newest checkpoint outside the database, which takes two syncs of the disk and so comes after the rows
// are told to be in. A crash before it leaves the file some steps behind, which the next Open mends.
func (s *Store) Publish() error {
	if s.unpublished == nil {
		return nil
	}
	if err := s.publish(s.unpublished); err != nil {
		return err
	}
	s.unpublished = nil
	return nil
}

// compose lays out the page: for each outcome the leaf of the entry, then that of each mark.
func (s *Store) compose(outcomes []audit.Outcome) (*page, error) {
	p := &page{rows: map[string][]row{}, tree: s.tree.Clone(), last: s.position}
	for _, o := range outcomes {
		if o.Entry.Seq != p.last+1 {
			return nil, fmt.Errorf("entry %d follows entry %d: entries must be written without a gap", o.Entry.Seq, p.last)
		}
		p.last = o.Entry.Seq
		if err := s.changeKey(p, o); err != nil {
			return nil, err
		}
		c := common{Seq: o.Entry.Seq, At: o.Entry.At, Refused: o.Refused}
		if err := p.add(o.Entry.Event.Kind(), o.Entry.Event, c); err != nil {
			return nil, err
		}
		c.Refused = ""
		for _, m := range o.Marks {
			if err := p.add(m.Kind(), m, c); err != nil {
				return nil, err
			}
		}
	}
	return p, nil
}

func (p *page) add(kind string, record any, c common) error {
	if _, ok := tables[kind]; !ok {
		return fmt.Errorf("no table for records of kind %q", kind)
	}
	c.Index = p.tree.Size()
	r := newRow(kind, record, c)
	b, err := r.leaf()
	if err != nil {
		return err
	}
	h := ledger.Hash(b)
	p.tree.Append(h)
	p.rows[kind] = append(p.rows[kind], r)
	p.leaves = append(p.leaves, leaf{c.Index, kind, c.Seq, h[:]})
	return nil
}

// leaf is the canonical JSON of the row.
func (r *row) leaf() ([]byte, error) {
	return ledger.AppendLeaf(nil, r.kind, r.Seq, r.At, r.Refused, r.record)
}

// write is the transaction. It is begun and committed by hand: an error of the commit must not be hidden by one of a
// rollback after it.
func (s *Store) write(ctx context.Context, p *page, at time.Time) ([]byte, error) {
	root, err := p.tree.Root()
	if err != nil {
		return nil, err
	}
	signed, err := s.sign(ledger.Checkpoint{Origin: Origin(s.opt.Shop), Size: p.tree.Size(), Root: root}, p.keys)
	if err != nil {
		return nil, err
	}
	if err := s.fill(ctx, p, root[:], signed, at); err != nil {
		s.undo(ctx)
		return nil, err
	}
	tag, err := s.conn.Exec(ctx, "commit")
	if err == nil && tag.String() != "COMMIT" { // the server says so where it rolled back instead
		err = pgx.ErrTxCommitRollback
	}
	if err != nil {
		s.undo(ctx)
		return nil, fmt.Errorf("commit entries to %d, which may have happened all the same: %w", p.last, err)
	}
	return signed, nil
}

// undo ends a transaction that failed, or the connection if that cannot be done either: nothing else may go on in it. Reload
// connects anew.
func (s *Store) undo(ctx context.Context) {
	if s.conn.PgConn().TxStatus() == 'I' {
		return
	}
	if _, err := s.conn.Exec(ctx, "rollback"); err != nil {
		_ = s.conn.Close(ctx) // there is an error to return already
	}
}
