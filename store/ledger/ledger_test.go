package ledger_test

import (
	"crypto/ed25519"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/gowebpki/jcs"
	"golang.org/x/mod/sumdb/tlog"
	"pgregory.net/rapid"

	"witnessmark/audit"
	"witnessmark/store/ledger"
)

// The leaves and roots of the Certificate Transparency reference tests for RFC 6962, as in the Go module
// github.com/transparency-dev/merkle v0.0.2, testonly/constants.go and reference_test.go.
var ctLeaves = []string{"", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f"}

var ctRoots = map[int]string{
	0: "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
	1: "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
	2: "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
	3: "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
	4: "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
	5: "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
	8: "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
}

func TestTree_RFC6962Vectors(t *testing.T) {
	tree := &ledger.Tree{}
	for n := 0; ; n++ {
		root, err := tree.Root()
		if err != nil {
			t.Fatal(err)
		}
		if want, ok := ctRoots[n]; ok && hex.EncodeToString(root[:]) != want {
			t.Errorf("root of %d leaves: got %x, want %s", n, root, want)
		}
		if n == len(ctLeaves) {
			break
		}
		leaf, _ := hex.DecodeString(ctLeaves[n])
		tree.Append(ledger.Hash(leaf))
	}
	for data, want := range map[string]string{
		"L123456":     "395aa064aa4c29f7010acfe3f25db9485bbd4b91897b6ad7ad547639252b4d56",
		"hello world": "4eccf34608d31bac5c7becf6006df59005d828181056d092084e341e6bb005bd",
	} {
		if h := ledger.Hash([]byte(data)); hex.EncodeToString(h[:]) != want {
			t.Errorf("leaf hash of %q: got %x, want %s", data, h, want)
		}
	}
}

func TestTree_SameRootAsTheReferenceAtEverySize(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, 300).Draw(t, "leaves")
		stop := rapid.IntRange(0, 300).Draw(t, "resumed at")
		stored := hashes{}
		tree := &ledger.Tree{}
		for i := range n {
			if i == stop {
				resumed, err := ledger.Resume(tree.Size(), tree.Edge())
				if err != nil {
					t.Fatal(err)
				}
				tree = resumed
			}
			leaf := []byte(fmt.Sprint("leaf ", i))
			more, err := tlog.StoredHashes(int64(i), leaf, &stored)
			if err != nil {
				t.Fatal(err)
			}
			stored = append(stored, more...)
			tree.Append(ledger.Hash(leaf))
		}
		want, err := tlog.TreeHash(int64(n), &stored)
		got, err2 := tree.Root()
		if err != nil || err2 != nil || got != want {
			t.Fatalf("root of %d leaves: got %v, %v, want %v, %v", n, got, err2, want, err)
		}
	})
}

type hashes []tlog.Hash

func (h *hashes) ReadHashes(at []int64) ([]tlog.Hash, error) {
	var out []tlog.Hash
	for _, i := range at {
		out = append(out, (*h)[i])
	}
	return out, nil
}

func TestResume_RefusesAnEdgeThatDoesNotFit(t *testing.T) {
	if _, err := ledger.Resume(5, make([]byte, 32)); err == nil {
		t.Error("got no error for one hash at size 5, which has two")
	}
}

// RFC 8785 appendix B, numbers by their IEEE 754 bits.
func TestCanonicalNumbers_RFC8785(t *testing.T) {
	for bits, want := range map[uint64]string{
		0x0000000000000000: "0",
		0x8000000000000001: "-5e-324",
		0x7fefffffffffffff: "1.7976931348623157e+308",
		0xffefffffffffffff: "-1.7976931348623157e+308",
		0x4340000000000000: "9007199254740992",
		0x4430000000000000: "295147905179352830000",
		0x44b52d02c7e14af6: "1e+23",
		0x444b1ae4d6e2ef4f: "999999999999999900000",
		0x444b1ae4d6e2ef50: "1e+21",
		0x3eb0c6f7a0b5ed8c: "9.999999999999997e-7",
		0x3eb0c6f7a0b5ed8d: "0.000001",
		0x41b3de4355555555: "333333333.3333333",
		0x43143ff3c1cb0959: "1424953923781206.2",
	} {
		in, _ := json.Marshal([]float64{math.Float64frombits(bits)})
		got, err := jcs.Transform(in)
		if err != nil || string(got) != "["+want+"]" {
			t.Errorf("%016x: got %s, %v, want [%s]", bits, got, err, want)
		}
	}
}

func TestLeaf_IsCanonicalAndFlat(t *testing.T) {
	at := time.Date(2026, 3, 2, 9, 0, 0, 5000, time.FixedZone("", 3600))
	got, err := ledger.Leaf("build", 9007199254740993, at, "no", audit.BuildOpened{Engine: "É<1>", Family: "TB", Person: "p"})
	want := `{"at":"2026-03-02T08:00:00.000005Z","engine":"É<1>","family":"TB","kind":"build","person":"p","refused":"no",` +
		`"revision":"","seq":"9007199254740993","unit":"","work_order":""}`
	if err != nil || string(got) != want {
		t.Errorf("got  %s, %v\nwant %s", got, err, want)
	}
	hidden, err := ledger.Leaf("person", 2, at, "", audit.PersonAdded{Person: "ab12", Name: "Ines Falk"})
	if err != nil || strings.Contains(string(hidden), "Ines") {
		t.Errorf("got %s, %v, want a leaf without the name", hidden, err)
	}
	// RFC 8785 section 3.2.3: keys are ordered by UTF-16 code units, so the smiley comes before U+FB33.
	weird, err := ledger.Leaf("x", 1, at, "", map[string]string{"\U0001F600": "smiley", "\uFB33": "dalet"})
	if i, j := strings.Index(string(weird), "smiley"), strings.Index(string(weird), "dalet"); err != nil || i < 0 || j < i {
		t.Errorf("got %s, %v, want the smiley before U+FB33", weird, err)
	}
}

// RFC 8032 section 7.1, tests 1 and 2 (from memory, as recorded in the RFC).
func TestEd25519_RFC8032(t *testing.T) {
	for _, c := range []struct{ secret, public, message, signature string }{
		{"9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60", "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a", "",
			"e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b"},
		{"4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb", "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c", "72",
			"92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00"},
	} {
		seed, _ := hex.DecodeString(c.secret)
		msg, _ := hex.DecodeString(c.message)
		k := ed25519.NewKeyFromSeed(seed)
		if got := hex.EncodeToString(k.Public().(ed25519.PublicKey)); got != c.public {
			t.Errorf("public key: got %s, want %s", got, c.public)
		}
		if got := hex.EncodeToString(ed25519.Sign(k, msg)); got != c.signature {
			t.Errorf("signature: got %s, want %s", got, c.signature)
		}
	}
}

// The example of C2SP tlog-checkpoint: its form is read; its public key is not published with it.
func TestParseCheckpoint_C2SPExample(t *testing.T) {
	text := "example.com/behind-the-sofa\n20852163\nCsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2I=\n"
	c, err := ledger.ParseCheckpoint(text)
	if err != nil || c.Origin != "example.com/behind-the-sofa" || c.Size != 20852163 || hex.EncodeToString(c.Root[:2]) != "0ac5" || c.Text() != text {
		t.Errorf("got %+v, %v", c, err)
	}
	for rule, bad := range map[string]string{
		"a size with a leading zero": "o\n05\nCsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2I=\n",
		"a negative size":            "o\n-5\nCsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2I=\n",
		"a short root":               "o\n5\nCsUY\n",
		"no end of line":             "o\n5",
	} {
		if _, err := ledger.ParseCheckpoint(bad); err == nil {
			t.Errorf("%s: got no error", rule)
		}
	}
}

// The tree note of golang.org/x/mod/sumdb/tlog (note_test.go) has the leaf hash of "hello world" in base64.
func TestHash_SameAsSumdb(t *testing.T) {
	h := ledger.Hash([]byte("hello world"))
	if got := base64.StdEncoding.EncodeToString(h[:]); got != "TszzRgjTG6xce+z2AG31kAXYKBgQVtCSCE40HmuwBb0=" {
		t.Errorf("got %s", got)
	}
}

func TestCheckpoint_SignedAndOpened(t *testing.T) {
	path := filepath.Join(t.TempDir(), "keys", "ledger.key")
	k, err := ledger.LoadOrCreateKey(path, "witnessmark/shop-7")
	if err != nil {
		t.Fatal(err)
	}
	c := ledger.Checkpoint{Origin: "witnessmark/shop-7", Size: 12, Root: ledger.Hash([]byte("x"))}
	signed, err := c.Sign(k.Signer)
	if err != nil {
		t.Fatal(err)
	}
	again, err := ledger.LoadOrCreateKey(path, "witnessmark/shop-7")
	if err != nil {
		t.Fatal(err)
	}
	if got, err := ledger.Open(signed, again.Verifier); err != nil || got != c {
		t.Errorf("got %+v, %v, want %+v", got, err, c)
	}
	// C2SP signed-note: a signature is 4 bytes of key id and 64 of Ed25519.
	last := strings.Fields(string(signed))
	if raw, err := base64.StdEncoding.DecodeString(last[len(last)-1]); err != nil || len(raw) != 68 {
		t.Errorf("got a signature of %d bytes, %v, want 68", len(raw), err)
	}
	if st, err := os.Stat(path); err != nil || st.Mode().Perm() != 0o600 {
		t.Errorf("got mode %v, %v, want 0600", st.Mode(), err)
	}
	t.Run("a changed size is refused", func(t *testing.T) {
		if _, err := ledger.Open([]byte(strings.Replace(string(signed), "\n12\n", "\n13\n", 1)), k.Verifier); err == nil {
			t.Error("got no error")
		}
	})
	t.Run("another shop's key is refused", func(t *testing.T) {
		if _, err := ledger.LoadOrCreateKey(path, "witnessmark/shop-8"); err == nil || !strings.Contains(err.Error(), "put the right key back") {
			t.Errorf("got %v", err)
		}
	})
}
