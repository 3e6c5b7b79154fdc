package store

import (
	"fmt"
	"slices"

	"golang.org/x/mod/sumdb/note"

	"witnessmark/store/ledger"
)

// Kept is a signed checkpoint that was kept outside the database.
type Kept struct {
	Where string // for people, e.g. the name of its file
	Note  []byte
}

// keptPoint is one that was read.
type keptPoint struct {
	where string
	ledger.Checkpoint
}

func openKept(kept []Kept, keys []note.Verifier) ([]keptPoint, error) {
	var out []keptPoint
	for _, k := range kept {
		c, err := ledger.Open(k.Note, keys...)
		if err != nil {
			return nil, fmt.Errorf("the checkpoint kept in %s is damaged, of another shop, or signed with a key that the ledger does not name: %w", k.Where, err)
		}
		out = append(out, keptPoint{k.Where, c})
	}
	slices.SortStableFunc(out, func(a, b keptPoint) int { return int(a.Size - b.Size) })
	return out, nil
}

// atKept compares the checkpoints kept outside whose size the tree has just reached.
func (v *walk) atKept() error {
	for len(v.kept) > 0 && v.kept[0].Size <= v.tree.Size() {
		root, err := v.tree.Root()
		if err != nil {
			return err
		}
		k := v.kept[0]
		v.kept = v.kept[1:]
		switch {
		case k.Size != v.tree.Size() || root == k.Root:
			v.found.Kept++
		case !v.explained("the checkpoint in "+k.where, k.Size, k.Root[:]):
			return &Mismatch{-1, "checkpoint", 0, fmt.Sprintf("at size %d the database has another root than the checkpoint kept in %s", k.Size, k.where)}
		}
	}
	return nil
}

// explained notes what names a ledger that is not there; false where no accepted loss tells why.
func (v *walk) explained(what string, size int64, root []byte) bool {
	if !v.losses.explain(size, root) {
		return false
	}
	v.found.Lost = append(v.found.Lost, fmt.Sprintf("%s names a ledger of %d leaves", what, size))
	return true
}

// beyond is for after the last leaf: a checkpoint that is left proves that there were more.
func (v *walk) beyond() error {
	left := slices.DeleteFunc(v.kept, func(k keptPoint) bool { return v.explained("the checkpoint in "+k.where, k.Size, k.Root[:]) })
	if len(left) == 0 {
		return nil
	}
	k := left[len(left)-1]
	return fmt.Errorf("%w: it ends at leaf %d, the checkpoint in %s proves %d; was an old backup put back? Bring the newer database back",
		ErrOlder, v.tree.Size(), k.where, k.Size)
}
