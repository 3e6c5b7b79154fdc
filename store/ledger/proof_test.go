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

// The fingerprint of the first public key of RFC 8032, 7.1, by sha256sum of coreutils.
func TestFingerprint(t *testing.T) {
	_, public := noteKey(t, "shop.example", "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
		"d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a")
	want := "21fe31dfa154a261626bf854046fd2271b7bed4b6abe45aa58877ef47f9721b9"
	if got, err := Fingerprint(public); err != nil || strings.ReplaceAll(got, " ", "") != want {
		t.Errorf("got %s, %v, want %s", got, err, want)
	}
	if got, err := Fingerprint(public[:20]); err == nil {
		t.Errorf("half a key: got %s, want an error", got)
	}
}
