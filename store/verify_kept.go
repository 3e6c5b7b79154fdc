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
		if k.Size == v.tree.Size() && root != k.Root {
			return &Mismatch{-1, "checkpoint", 0, fmt.Sprintf("at size %d the database has another root than the checkpoint kept in %s", k.Size, k.where)}
		}
		v.kept = v.kept[1:]
		v.found.Kept++
	}
	return nil
}

// beyond is for after the last leaf: a checkpoint that is left proves that there were more.
func (v *walk) beyond() error {
	if len(v.kept) == 0 {
		return nil
	}
	k := v.kept[len(v.kept)-1]
	return fmt.Errorf("%w: it ends at leaf %d, the checkpoint in %s proves %d; was an old backup put back? Bring the newer database back",
		ErrOlder, v.tree.Size(), k.where, k.Size)
}
