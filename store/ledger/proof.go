package ledger

import (
	"fmt"

	"golang.org/x/mod/sumdb/tlog"
)

// Prover makes inclusion and consistency proofs (RFC 6962, 2.1.1 and 2.1.2) from the leaf hashes of a ledger, which it is
// shown once, in their order. It keeps only the hashes that the proofs need, however long the ledger is.
type Prover struct {
	size   int64 // of the ledger that is proved against
	seen   int64
	needed map[int64]tlog.Hash // by the stored hash index of package tlog
	edge   []tlog.Hash
}

// NewProver begins proofs against the ledger of a size: that the leaves are in it, and that it goes on from each of the
// earlier sizes.
func NewProver(size int64, leaves, earlier []int64) (*Prover, error) {
	p := &Prover{size: size, needed: map[int64]tlog.Hash{}}
	ask := tlog.HashReaderFunc(func(indexes []int64) ([]tlog.Hash, error) {
		for _, i := range indexes {
			p.needed[i] = tlog.Hash{}
		}
		return make([]tlog.Hash, len(indexes)), nil // the hashes come later; this pass asks which
	})
	for _, n := range leaves {
		if _, err := tlog.ProveRecord(size, n, ask); err != nil {
			return nil, fmt.Errorf("leaf %d is not in a ledger of %d leaves", n, size)
		}
	}
	for _, n := range earlier {
		if _, err := tlog.ProveTree(size, n, ask); err != nil {
			return nil, fmt.Errorf("a ledger of %d leaves does not go on from one of %d", size, n)
		}
	}
	return p, nil
}

// Add shows the next leaf hash.
func (p *Prover) Add(leaf tlog.Hash) {
	h := leaf
	p.keep(0, p.seen, h)
	level := 0
	for n := p.seen; n&1 == 1; n >>= 1 {
		last := len(p.edge) - 1
		h = tlog.NodeHash(p.edge[last], h)
		p.edge = p.edge[:last]
		level++
		p.keep(level, n>>1, h)
	}
	p.edge = append(p.edge, h)
	p.seen++
}

func (p *Prover) keep(level int, n int64, h tlog.Hash) {
	i := tlog.StoredHashIndex(level, n)
	if _, ok := p.needed[i]; ok {
		p.needed[i] = h
	}
}

// Inclusion is the proof that a leaf is in the ledger.
func (p *Prover) Inclusion(leaf int64) ([]tlog.Hash, error) {
	if err := p.whole(); err != nil {
		return nil, err
	}
	return tlog.ProveRecord(p.size, leaf, tlog.HashReaderFunc(p.read))
}

// Consistency is the proof that the ledger goes on from the one of an earlier size.
func (p *Prover) Consistency(earlier int64) ([]tlog.Hash, error) {
	if err := p.whole(); err != nil {
		return nil, err
	}
	return tlog.ProveTree(p.size, earlier, tlog.HashReaderFunc(p.read))
}

func (p *Prover) whole() error {
	if p.seen != p.size {
		return fmt.Errorf("there are %d leaves, not %d: run witnessmark verify", p.seen, p.size)
	}
	return nil
}

func (p *Prover) read(indexes []int64) ([]tlog.Hash, error) {
	out := make([]tlog.Hash, len(indexes))
	for i, index := range indexes {
		h, ok := p.needed[index]
		if !ok {
			return nil, fmt.Errorf("the proof was not asked for")
		}
		out[i] = h
	}
	return out, nil
}
