package ledger

import (
	"errors"
	"fmt"
	"math/bits"

	"golang.org/x/mod/sumdb/tlog"
)

// Tree is the right edge of an RFC 6962 tree: the roots of its complete subtrees, the largest first. That is all that is
// needed to go on and to know the root.
type Tree struct {
	size int64
	edge []tlog.Hash
}

// Resume is the tree of a given size with a saved edge.
func Resume(size int64, edge []byte) (*Tree, error) {
	n := bits.OnesCount64(uint64(size))
	if size < 0 || len(edge) != n*tlog.HashSize {
		return nil, fmt.Errorf("resume ledger at size %d: the saved edge has %d bytes, not %d", size, len(edge), n*tlog.HashSize)
	}
	t := &Tree{size: size}
	for i := range n {
		t.edge = append(t.edge, tlog.Hash(edge[i*tlog.HashSize:]))
	}
	return t, nil
}

// Size is the number of leaves.
func (t *Tree) Size() int64 { return t.size }

// Edge is the saved form for Resume.
func (t *Tree) Edge() []byte {
	out := make([]byte, 0, len(t.edge)*tlog.HashSize)
	for _, h := range t.edge {
		out = append(out, h[:]...)
	}
	return out
}

// Clone is a tree that grows apart from t.
func (t *Tree) Clone() *Tree { return &Tree{size: t.size, edge: append([]tlog.Hash(nil), t.edge...)} }

// Append adds a leaf by its hash. Complete neighbours of the same height are joined.
func (t *Tree) Append(leaf tlog.Hash) {
	h := leaf
	for n := t.size; n&1 == 1; n >>= 1 {
		last := len(t.edge) - 1
		h = tlog.NodeHash(t.edge[last], h)
		t.edge = t.edge[:last]
	}
	t.edge = append(t.edge, h)
	t.size++
}

// Root is the tree hash. The empty tree has the hash of nothing (RFC 6962, 2.1).
func (t *Tree) Root() (tlog.Hash, error) {
	if t.size == 0 {
		return tlog.TreeHash(0, nil)
	}
	if len(t.edge) != bits.OnesCount64(uint64(t.size)) {
		return tlog.Hash{}, errors.New("the edge of the ledger does not fit its size")
	}
	h := t.edge[len(t.edge)-1]
	for i := len(t.edge) - 2; i >= 0; i-- {
		h = tlog.NodeHash(t.edge[i], h)
	}
	return h, nil
}
