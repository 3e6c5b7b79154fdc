package store

import (
	"bytes"
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	"witnessmark/audit"
	"witnessmark/store/ledger"
)

// Loss is a part of the record that a person accepted to be lost.
type Loss struct {
	Seq    uint64
	At     time.Time
	Person string // name; empty: blanked
	audit.LossAccepted
	index int64
}

// String is a sentence of what was lost, why, and who accepted it.
func (l Loss) String() string {
	who := l.Person
	if who == "" {
		who = "a person whose name was blanked"
	}
	return fmt.Sprintf("a signed checkpoint proves %d leaves with root %x; %d of them remain, with root %x, and what lay behind is lost or no longer as it was, as %s accepted in entry %d on %s: %s",
		l.Size, l.Root, l.Remains, l.RemainsRoot, who, l.Seq, audit.When(l.At), l.Reason)
}

// losses are those of a ledger, the one that leaves least first. Those that a walk has not come to yet are due.
type losses struct{ all, due []Loss }

func readLosses(ctx context.Context, tx pgx.Tx, shop string) (losses, error) {
	k := emptyRow(audit.LossAccepted{}.Kind())
	rows, err := tx.Query(ctx, "SELECT "+qualified("k", k.columns())+`, coalesce(p.name, '') FROM witnessmark.loss k
		LEFT JOIN witnessmark.person p ON p.shop = k.shop AND p.person = k.person AND p.refused = ''
		WHERE k.shop = $1 AND k.refused = '' ORDER BY k.remains, k.ledger_index`, shop)
	if err != nil {
		return losses{}, fmt.Errorf("read accepted losses: %w", err)
	}
	all, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (Loss, error) {
		k, name := emptyRow(k.kind), ""
		err := row.Scan(append(k.targets(), &name)...)
		return Loss{k.Seq, k.At, name, k.record.Interface().(audit.LossAccepted), k.Index}, err
	})
	return losses{all, all}, err
}

// at compares what the entries say remained with the tree, when it has that size.
func (l *losses) at(t *ledger.Tree) error {
	for len(l.due) > 0 && l.due[0].Remains <= t.Size() {
		root, err := t.Root()
		if err != nil {
			return err
		}
		if one := l.due[0]; one.Remains > one.index || !bytes.Equal(one.RemainsRoot, root[:]) {
			return one.mismatch()
		}
		l.due = l.due[1:]
	}
	return nil
}

// end is for after the last leaf.
func (l *losses) end() error {
	if len(l.due) == 0 {
		return nil
	}
	return l.due[0].mismatch()
}

func (l Loss) mismatch() error {
	return &Mismatch{l.index, tables[l.Kind()].name, l.Seq, fmt.Sprintf("it says that %d leaves remained, and those are not the ones that are there", l.Remains)}
}

// explain is true of a state of the ledger that is not in it since it was lost: it lies behind what remained, and not behind what
// was proven.
func (l *losses) explain(size int64, root []byte) bool {
	return slices.ContainsFunc(l.all, func(one Loss) bool {
		return one.Remains < size && size < one.Size || size == one.Size && bytes.Equal(root, one.Root)
	})
}
