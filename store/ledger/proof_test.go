package ledger

import (
	"encoding/binary"
	"strings"
	"testing"

	"golang.org/x/mod/sumdb/tlog"
)

// Every proof of every ledger of up to 70 leaves holds by the checks of package tlog.
func TestProver_EveryProofHolds(t *testing.T) {
	var all, earlier []int64
	var roots []tlog.Hash
	grown := &Tree{}
	for size := int64(1); size <= 70; size++ {
		all, earlier = append(all, size-1), append(earlier, size)
		grown.Append(numbered(size - 1))
		root, err := grown.Root()
		if err != nil {
			t.Fatal(err)
		}
		roots = append(roots, root)
		p, err := NewProver(size, all, earlier)
		if err != nil {
			t.Fatal(err)
		}
		for n := range size {
			p.Add(numbered(n))
		}
		for n := range size {
			if proof, err := p.Inclusion(n); err != nil || tlog.CheckRecord(proof, size, root, n, numbered(n)) != nil {
				t.Fatalf("leaf %d of %d: got %v, %v, want a proof that holds", n, size, proof, err)
			}
			if proof, err := p.Consistency(n + 1); err != nil || tlog.CheckTree(proof, size, root, n+1, roots[n]) != nil {
				t.Fatalf("from size %d to %d: got %v, %v, want a proof that holds", n+1, size, proof, err)
			}
		}
	}
}

func numbered(n int64) tlog.Hash { return Hash(binary.BigEndian.AppendUint64(nil, uint64(n))) }

func TestProver_Refusals(t *testing.T) {
	if _, err := NewProver(5, []int64{5}, nil); err == nil {
		t.Error("a leaf past the end: got no error")
	}
	if _, err := NewProver(5, nil, []int64{6}); err == nil {
		t.Error("a later size: got no error")
	}
	p, err := NewProver(5, []int64{0}, nil)
	if err != nil {
		t.Fatal(err)
	}
	for n := range int64(4) {
		p.Add(numbered(n))
	}
	if _, err := p.Inclusion(0); err == nil || !strings.Contains(err.Error(), "4 leaves, not 5") {
		t.Errorf("before the last leaf: got %v, want the missing leaf told", err)
	}
	p.Add(numbered(4))
	if _, err := p.Inclusion(3); err == nil {
		t.Error("a leaf that was not asked for: got no error")
	}
}
