package store

import (
	"bytes"
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"witnessmark/audit"
	"witnessmark/store/ledger"
)

// releases are the signatures under builds that a walk has not met yet. Each names the ledger that its person saw.
type releases struct {
	rows *cursor[signature]
	next *signature
	lost func(what string, size int64, root []byte) bool // takes a ledger that is not there
}

// signature is what a release says of the ledger.
type signature struct {
	seq         uint64
	index, size int64
	root        []byte
}

func readReleases(ctx context.Context, tx pgx.Tx, shop string, lost func(string, int64, []byte) bool) (releases, error) {
	r := releases{lost: lost, rows: newCursor(ctx, tx, "releases",
		"SELECT seq, ledger_index, size, root FROM witnessmark.build_release WHERE refused = '' AND shop = "+quote(shop)+" ORDER BY size, ledger_index",
		func(s *signature) []any { return []any{&s.seq, &s.index, &s.size, &s.root} })}
	return r, r.step()
}

func (r *releases) step() (err error) {
	r.next, err = r.rows.next()
	return err
}

// at compares the releases that name a ledger of the size that the tree has just reached.
func (r *releases) at(t *ledger.Tree) error {
	for r.next != nil && r.next.size <= t.Size() {
		root, err := t.Root()
		if err != nil {
			return err
		}
		there := r.next.size == t.Size() && r.next.size <= r.next.index && bytes.Equal(root[:], r.next.root)
		if !there && !r.gone() {
			return r.next.mismatch("the ledger that it signs is not the one that was there")
		}
		if err := r.step(); err != nil {
			return err
		}
	}
	return nil
}

// end is for after the last leaf.
func (r *releases) end() error {
	for r.next != nil {
		if !r.gone() {
			return r.next.mismatch(fmt.Sprintf("it signs a ledger of %d leaves, which there are not", r.next.size))
		}
		if err := r.step(); err != nil {
			return err
		}
	}
	return nil
}

// gone is true where the ledger that the next one signs was lost.
func (r *releases) gone() bool {
	return r.lost(fmt.Sprintf("the release of entry %d", r.next.seq), r.next.size, r.next.root)
}

func (s *signature) mismatch(what string) error {
	return &Mismatch{s.index, tables[audit.BuildReleased{}.Kind()].name, s.seq, what}
}
