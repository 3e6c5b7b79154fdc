package store

import (
	"bytes"
	"context"
	"errors"
	"fmt"

	"github.com/jackc/pgx/v5"
	"golang.org/x/mod/sumdb/tlog"

	"witnessmark/audit"
	"witnessmark/store/ledger"
)

// Mismatch is the first thing found that does not fit.
type Mismatch struct {
	Index int64  // leaf, -1: none
	Table string // where the row stands
	Seq   uint64 // journal entry, 0: none
	What  string
}

// Error is a sentence that names the place.
func (m *Mismatch) Error() string {
	where := "table " + m.Table
	if m.Seq != 0 {
		where += fmt.Sprintf(", entry %d", m.Seq)
	}
	if m.Index >= 0 {
		where += fmt.Sprintf(", leaf %d", m.Index)
	}
	return fmt.Sprintf("the record was changed: %s: %s", where, m.What)
}

// Verified tells what Verify has gone through.
type Verified struct {
	Leaves      int64
	Checkpoints int
	Keys        []KeySpan // that signed, in their order
	Kept        int       // checkpoints kept outside from which the ledger goes on
	Losses      []Loss    // accepted: breaks in the record
	Lost        []string  // what names a ledger that is not there, and that an accepted loss explains
	Root        tlog.Hash
}

// fetchRows is how many rows are taken from a table at a time.
const fetchRows = 2000

// Verify makes every leaf anew from its row and compares its hash, recomputes the root at every checkpoint, checks every
// signature, the head, and that the ledger goes on from every checkpoint kept outside. key is the verifier's text of a key of
// the shop; where the key was changed, any of them will do. The first thing that does not fit is a *Mismatch. All is read
// from one snapshot. progress is called now and then, and may be nil.
func (r *Reader) Verify(ctx context.Context, key string, kept []Kept, progress func(done, all int64)) (Verified, error) {
	v := &walk{shop: r.shop, progress: progress, sources: map[string]*source{}, tree: &ledger.Tree{}}
	err := r.snapshot(ctx, func(tx pgx.Tx) error { v.tx = tx; return v.all(ctx, key, kept) })
	return v.found, err
}

// walk is one verification.
type walk struct {
	tx       pgx.Tx
	shop     string
	keys     keyChain
	progress func(done, all int64)
	sources  map[string]*source
	points   *cursor[point]
	next     *point // the checkpoint that is due, nil: none
	tree     *ledger.Tree
	size     int64
	found    Verified
	kept     []keptPoint // outside, those not reached yet, the smallest first
	entry    uint64      // the newest whose leaf was seen
	signed   int64       // size of the newest checkpoint seen
	releases releases
	losses   losses
	bytes    []byte // of the leaf at hand, behind one byte for its hash
}

func (v *walk) all(ctx context.Context, key string, kept []Kept) error {
	if err := v.begin(ctx, key, kept); err != nil {
		return err
	}
	leaves := newCursor(ctx, v.tx, "leaves", "SELECT index, kind, seq, hash FROM witnessmark.ledger_leaf WHERE shop = "+quote(v.shop)+" ORDER BY index",
		func(l *leaf) []any { return []any{&l.index, &l.kind, &l.seq, &l.hash} })
	for {
		l, err := leaves.next()
		if err != nil {
			return err
		}
		if l == nil {
			return v.end(ctx)
		}
		if err := v.leaf(l); err != nil {
			return err
		}
		if err := v.grown(); err != nil {
			return err
		}
	}
}

// begin reads the keys and the head, and opens what is read beside the leaves.
func (v *walk) begin(ctx context.Context, key string, kept []Kept) (err error) {
	if v.keys, err = readKeys(ctx, v.tx, v.shop, key); err != nil {
		return err
	}
	if v.kept, err = openKept(kept, v.keys.verifiers); err != nil {
		return err
	}
	err = v.tx.QueryRow(ctx, "SELECT size FROM witnessmark.ledger_head WHERE shop = $1", v.shop).Scan(&v.size)
	if errors.Is(err, pgx.ErrNoRows) {
		return fmt.Errorf("this database holds no ledger of the shop %s: look whether that is the right shop, and the right database", v.shop)
	}
	if err != nil {
		return fmt.Errorf("read the end of the ledger: %w", err)
	}
	for kind, t := range tables {
		v.sources[kind] = newSource(ctx, v.tx, kind, t.name, v.shop)
	}
	return v.told(ctx)
}

// told opens what says of the ledger how it was at some size: checkpoints, releases and accepted losses, which may speak of an
// empty one.
func (v *walk) told(ctx context.Context) (err error) {
	v.points = newCursor(ctx, v.tx, "points", "SELECT size, root, note FROM witnessmark.checkpoint WHERE shop = "+quote(v.shop)+" ORDER BY size",
		func(p *point) []any { return []any{&p.size, &p.root, &p.note} })
	if err := v.point(); err != nil {
		return err
	}
	if v.losses, err = readLosses(ctx, v.tx, v.shop); err != nil {
		return err
	}
	v.found.Losses = v.losses.all
	if v.releases, err = readReleases(ctx, v.tx, v.shop, v.explained); err != nil {
		return err
	}
	return v.losses.at(v.tree)
}

// grown compares with the tree whatever says how it was at the size that it has just reached.
func (v *walk) grown() error {
	for v.next != nil && v.next.size == v.tree.Size() {
		if err := v.check(v.next); err != nil {
			return err
		}
		if err := v.point(); err != nil {
			return err
		}
	}
	if err := v.atKept(); err != nil {
		return err
	}
	if err := v.releases.at(v.tree); err != nil {
		return err
	}
	return v.losses.at(v.tree)
}

// leaf checks a leaf against its row.
func (v *walk) leaf(l *leaf) error {
	if l.index != v.tree.Size() {
		return &Mismatch{v.tree.Size(), "ledger_leaf", 0, fmt.Sprintf("the leaf is missing, the next one is %d", l.index)}
	}
	s, ok := v.sources[l.kind]
	if !ok {
		return &Mismatch{l.index, "ledger_leaf", l.seq, fmt.Sprintf("unknown kind %q", l.kind)}
	}
	r, err := s.take()
	if err != nil {
		return err
	}
	if r == nil || r.Index != l.index {
		return s.astray(r, l)
	}
	if r.Seq != l.seq {
		return &Mismatch{l.index, "ledger_leaf", l.seq, fmt.Sprintf("its row is of entry %d", r.Seq)}
	}
	if l.kind != (audit.Mark{}).Kind() {
		v.entry++
	}
	if r.Seq != v.entry {
		return &Mismatch{l.index, s.table, r.Seq, fmt.Sprintf("entry %d is due here: entries are recorded without a gap", v.entry)}
	}
	if v.bytes, err = ledger.AppendLeaf(append(v.bytes[:0], 0), r.kind, r.Seq, r.At, r.Refused, r.record); err != nil {
		return err
	}
	h := ledger.HashBehind(v.bytes)
	if !bytes.Equal(h[:], l.hash) {
		return &Mismatch{l.index, s.table, r.Seq, "the row does not give the leaf's hash"}
	}
	v.tree.Append(h)
	if ev, is := r.record.Addr().Interface().(*audit.KeyChanged); is && r.Refused == "" {
		if !v.keys.change(ev) {
			return &Mismatch{l.index, s.table, r.Seq, "it changes from another key than the one that signed before it"}
		}
	}
	if v.progress != nil && v.tree.Size()%fetchRows == 0 {
		v.progress(v.tree.Size(), v.size)
	}
	return nil
}

// end checks what must hold after the last leaf.
func (v *walk) end(ctx context.Context) error {
	if v.next != nil {
		return &Mismatch{-1, "checkpoint", 0, fmt.Sprintf("a checkpoint of size %d, but the ledger has %d leaves", v.next.size, v.tree.Size())}
	}
	root, err := v.tree.Root()
	if err != nil {
		return err
	}
	v.found.Leaves, v.found.Root, v.found.Keys = v.tree.Size(), root, v.keys.spans
	for _, s := range v.sources {
		if r, err := s.take(); err != nil || r != nil {
			if err != nil {
				return err
			}
			return &Mismatch{r.Index, s.table, r.Seq, "a row without a leaf"}
		}
	}
	if err := errors.Join(v.releases.end(), v.losses.end()); err != nil {
		return err
	}
	// Every commit signs: without this check, whoever takes the checkpoints away could write what he likes.
	if v.signed != v.tree.Size() {
		return &Mismatch{-1, "checkpoint", 0, fmt.Sprintf("the one of size %d, which signs the newest leaf, is missing", v.tree.Size())}
	}
	if err := v.head(ctx, root); err != nil {
		return err
	}
	return v.beyond()
}

// head checks the row that says where the ledger ends.
func (v *walk) head(ctx context.Context, root tlog.Hash) error {
	var size int64
	var position uint64
	var saved, edge []byte
	err := v.tx.QueryRow(ctx, "SELECT size, root, edge, position FROM witnessmark.ledger_head WHERE shop = $1", v.shop).
		Scan(&size, &saved, &edge, &position)
	if err != nil {
		return fmt.Errorf("read the end of the ledger: %w", err)
	}
	switch {
	case size != v.tree.Size() || !bytes.Equal(saved, root[:]):
		return &Mismatch{-1, "ledger_head", 0, fmt.Sprintf("it says %d leaves, there are %d, or its root is another", size, v.tree.Size())}
	case !bytes.Equal(edge, v.tree.Edge()):
		return &Mismatch{-1, "ledger_head", 0, "its edge does not fit the leaves"}
	case position != v.entry:
		return &Mismatch{-1, "ledger_head", 0, fmt.Sprintf("it says entry %d is the newest, that is entry %d", position, v.entry)}
	}
	return nil
}
