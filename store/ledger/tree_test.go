package ledger

import (
	"encoding/base64"
	"encoding/hex"
	"slices"
	"testing"

	"golang.org/x/mod/sumdb/tlog"
	"pgregory.net/rapid"
)

// The Certificate Transparency reference vectors, as published in the tests of Go module
// github.com/transparency-dev/merkle v0.0.2 (rfc6962/rfc6962_test.go, testonly/constants.go, testonly/reference_test.go).
var (
	referenceLeaves = []string{"", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f"}
	leafHashes      = []string{
		"6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
		"96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7",
		"0298d122906dcfc10892cb53a73992fc5b9f493ea4c9badb27b791b4127a7fe7",
		"07506a85fd9dd2f120eb694f86011e5bb4662e5c415a62917033d4a9624487e7",
		"bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b",
		"4271a26be0d8a84f0bd54c8c302e7cb3a3b5d1fa6780a40bcce2873477dab658",
		"b08693ec2e721597130641e8211e7eedccb4c26413963eee6c1e2ed16ffb1a5f",
		"46f6ffadd3d06a09ff3c5860d2755c8b9819db7df44251788c7d8e3180de8eb1",
	}
	roots = map[int64]string{
		0: "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
		1: "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
		2: "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
		3: "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
		4: "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
		5: "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
		8: "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
	}
	inner = map[string]string{
		"2,3": "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
		"4,5": "0ebc5d3437fbe2db158b9f126a1d118e308181031d0a949f8dededebc558ef6a",
		"6,7": "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0",
		"4-7": "6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4",
	}
)

func referenceHashes(t *testing.T) []tlog.Hash {
	t.Helper()
	var out []tlog.Hash
	for _, d := range referenceLeaves {
		data, err := hex.DecodeString(d)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, Hash(data))
	}
	return out
}

func TestHash_ReferenceLeaves(t *testing.T) {
	for i, h := range referenceHashes(t) {
		if got := hex.EncodeToString(h[:]); got != leafHashes[i] {
			t.Errorf("leaf %d: got %s, want %s", i, got, leafHashes[i])
		}
	}
	for data, want := range map[string]string{
		"L123456":     "395aa064aa4c29f7010acfe3f25db9485bbd4b91897b6ad7ad547639252b4d56",
		"hello world": "4eccf34608d31bac5c7becf6006df59005d828181056d092084e341e6bb005bd",
	} {
		h := Hash([]byte(data))
		if got := hex.EncodeToString(h[:]); got != want {
			t.Errorf("%s: got %s, want %s", data, got, want)
		}
	}
}

func TestTree_ReferenceRoots(t *testing.T) {
	tree, hashes, checked := &Tree{}, referenceHashes(t), 0
	for n := int64(0); ; n++ {
		if want, known := roots[n]; known {
			if got := hexRoot(t, tree); got != want {
				t.Errorf("size %d: got %s, want %s", n, got, want)
			}
			checked++
		}
		if n == int64(len(hashes)) {
			break
		}
		tree.Append(hashes[n])
	}
	if checked != len(roots) {
		t.Errorf("got %d roots checked, want %d", checked, len(roots))
	}
}

// The inner nodes are roots of trees of their own.
func TestTree_ReferenceInnerNodes(t *testing.T) {
	hashes := referenceHashes(t)
	for name, span := range map[string][2]int{"2,3": {2, 4}, "4,5": {4, 6}, "6,7": {6, 8}, "4-7": {4, 8}} {
		tree := &Tree{}
		for _, h := range hashes[span[0]:span[1]] {
			tree.Append(h)
		}
		if got := hexRoot(t, tree); got != inner[name] {
			t.Errorf("node %s: got %s, want %s", name, got, inner[name])
		}
	}
}

// The published proofs hold for the roots of our tree: leaf, size and the nodes by name.
func TestTree_ReferenceInclusionProofs(t *testing.T) {
	h := func(text string) tlog.Hash { return parseHash(t, text) }
	leaf := func(i int) tlog.Hash { return h(leafHashes[i]) }
	for _, c := range []struct {
		leaf, size int64
		proof      tlog.RecordProof
	}{
		{0, 1, nil},
		{0, 2, tlog.RecordProof{leaf(1)}},
		{1, 2, tlog.RecordProof{leaf(0)}},
		{2, 3, tlog.RecordProof{h(roots[2])}},
		{0, 8, tlog.RecordProof{leaf(1), h(inner["2,3"]), h(inner["4-7"])}},
		{5, 8, tlog.RecordProof{leaf(4), h(inner["6,7"]), h(roots[4])}},
		{1, 5, tlog.RecordProof{leaf(0), h(inner["2,3"]), leaf(4)}},
	} {
		if err := tlog.CheckRecord(c.proof, c.size, rootAt(t, c.size), c.leaf, leaf(int(c.leaf))); err != nil {
			t.Errorf("leaf %d in size %d: got %v, want the proof to hold", c.leaf, c.size, err)
		}
		if got, err := prover(t, c.size, []int64{c.leaf}, nil).Inclusion(c.leaf); err != nil || !slices.Equal(got, c.proof) {
			t.Errorf("leaf %d in size %d: got %v, %v, want the published proof %v", c.leaf, c.size, got, err, c.proof)
		}
	}
}

func TestTree_ReferenceConsistencyProofs(t *testing.T) {
	h := func(text string) tlog.Hash { return parseHash(t, text) }
	for _, c := range []struct {
		old, size int64
		proof     tlog.TreeProof
	}{
		{1, 1, nil},
		{1, 8, tlog.TreeProof{h(leafHashes[1]), h(inner["2,3"]), h(inner["4-7"])}},
		{6, 8, tlog.TreeProof{h(inner["4,5"]), h(inner["6,7"]), h(roots[4])}},
		{2, 5, tlog.TreeProof{h(inner["2,3"]), h(leafHashes[4])}},
	} {
		if err := tlog.CheckTree(c.proof, c.size, rootAt(t, c.size), c.old, rootAt(t, c.old)); err != nil {
			t.Errorf("size %d to %d: got %v, want the proof to hold", c.old, c.size, err)
		}
		if got, err := prover(t, c.size, nil, []int64{c.old}).Consistency(c.old); err != nil || !slices.Equal(got, c.proof) {
			t.Errorf("size %d to %d: got %v, %v, want the published proof %v", c.old, c.size, got, err, c.proof)
		}
	}
}

// prover has been shown the reference leaves up to a size.
func prover(t *testing.T, size int64, leaves, earlier []int64) *Prover {
	t.Helper()
	p, err := NewProver(size, leaves, earlier)
	if err != nil {
		t.Fatal(err)
	}
	for _, h := range referenceHashes(t)[:size] {
		p.Add(h)
	}
	return p
}

// Example of golang.org/x/mod/sumdb/tlog note_test.go: the same leaf hash in base64.
func TestHash_GoTreeNote(t *testing.T) {
	h := Hash([]byte("hello world"))
	const text = "go.sum database tree\n123456789012\nTszzRgjTG6xce+z2AG31kAXYKBgQVtCSCE40HmuwBb0=\n"
	if got := string(tlog.FormatTree(tlog.Tree{N: 123456789012, Hash: h})); got != text {
		t.Errorf("got %q, want %q", got, text)
	}
	c, err := ParseCheckpoint(text)
	if err != nil || c.Size != 123456789012 || base64.StdEncoding.EncodeToString(c.Root[:]) != base64.StdEncoding.EncodeToString(h[:]) {
		t.Errorf("got %+v, %v, want size 123456789012 and the hash of the text", c, err)
	}
}

// A tree agrees with the stored-hash algorithm of tlog, whether it grew in one go or was saved on the way.
func TestTree_ResumedAtAnySize(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		data := rapid.SliceOfN(rapid.SliceOfN(rapid.Byte(), 0, 4), 0, 70).Draw(t, "leaves")
		cut := rapid.IntRange(0, len(data)).Draw(t, "cut")
		var stored hashStore
		tree := &Tree{}
		for i, d := range data {
			if i == cut {
				again, err := Resume(tree.Size(), tree.Edge())
				if err != nil {
					t.Fatal(err)
				}
				tree = again
			}
			hashes, err := tlog.StoredHashes(int64(i), d, &stored)
			if err != nil {
				t.Fatal(err)
			}
			stored = append(stored, hashes...)
			tree.Append(Hash(d))
		}
		want, err := tlog.TreeHash(int64(len(data)), &stored)
		if err != nil {
			t.Fatal(err)
		}
		if got, err := tree.Root(); err != nil || got != want {
			t.Errorf("size %d: got %v, %v, want %v", len(data), got, err, want)
		}
	})
}

func TestTree_CloneGrowsApart(t *testing.T) {
	tree := &Tree{}
	for _, h := range referenceHashes(t)[:3] {
		tree.Append(h)
	}
	clone := tree.Clone()
	clone.Append(referenceHashes(t)[3])
	if got := hexRoot(t, tree); got != roots[3] {
		t.Errorf("the first tree: got %s, want %s", got, roots[3])
	}
	if got := hexRoot(t, clone); got != roots[4] {
		t.Errorf("the clone: got %s, want %s", got, roots[4])
	}
}

func TestResume_WrongEdge(t *testing.T) {
	for size, edge := range map[int64]int{-1: 64 * 32, 1: 0, 3: 32, 4: 64, 0: 32, 2: 31} {
		if _, err := Resume(size, make([]byte, edge)); err == nil {
			t.Errorf("size %d with an edge of %d bytes: got no error, want one", size, edge)
		}
	}
}

type hashStore []tlog.Hash

func (s *hashStore) ReadHashes(indexes []int64) ([]tlog.Hash, error) {
	var out []tlog.Hash
	for _, i := range indexes {
		out = append(out, (*s)[i])
	}
	return out, nil
}

func rootAt(t *testing.T, size int64) tlog.Hash {
	t.Helper()
	tree := &Tree{}
	for _, h := range referenceHashes(t)[:size] {
		tree.Append(h)
	}
	root, err := tree.Root()
	if err != nil {
		t.Fatal(err)
	}
	return root
}

func hexRoot(t *testing.T, tree *Tree) string {
	t.Helper()
	root, err := tree.Root()
	if err != nil {
		t.Fatal(err)
	}
	return hex.EncodeToString(root[:])
}

func parseHash(t *testing.T, text string) tlog.Hash {
	t.Helper()
	b, err := hex.DecodeString(text)
	if err != nil || len(b) != tlog.HashSize {
		t.Fatalf("%s: %v", text, err)
	}
	return tlog.Hash(b)
}
