package ledger

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/mod/sumdb/tlog"
)

// grown is a shop whose ledger has numbered leaves.
type grown struct {
	t   *testing.T
	key *Key
}

// at is the signed checkpoint of a size; other gives a ledger whose first leaf is another.
func (g grown) at(size int64, other bool) []byte {
	g.t.Helper()
	tree := &Tree{}
	for n := range size {
		if other && n == 0 {
			n = 99
		}
		tree.Append(numbered(n))
	}
	root, err := tree.Root()
	if err != nil {
		g.t.Fatal(err)
	}
	signed, err := Checkpoint{g.key.Verifier.Name(), size, root}.Sign(g.key.Signer)
	if err != nil {
		g.t.Fatal(err)
	}
	return signed
}

func (g grown) proof(from, to int64) []tlog.Hash {
	g.t.Helper()
	p, err := NewProver(to, nil, []int64{from})
	if err != nil {
		g.t.Fatal(err)
	}
	for n := range to {
		p.Add(numbered(n))
	}
	proof, err := p.Consistency(from)
	if err != nil {
		g.t.Fatal(err)
	}
	return proof
}

func TestWitness_SignsWhatGoesOn(t *testing.T) {
	g := grown{t, newKey(t, "shop.example")}
	w := Witness{newKey(t, "head-office"), filepath.Join(t.TempDir(), "witness.txt")}
	sign := func(r Request) ([]byte, error) {
		again, err := ParseRequest(r.Text())
		if err != nil {
			t.Fatal(err)
		}
		return w.Sign(again, g.key.Verifier)
	}
	good := func(r Request) {
		t.Helper()
		signed, err := sign(r)
		if err != nil || !SignedBy(signed, w.Key.Verifier) || !SignedBy(signed, g.key.Verifier) {
			t.Fatalf("got %s, %v, want both signatures", signed, err)
		}
	}
	good(Request{Note: g.at(5, false)})
	good(Request{Note: g.at(5, false)})
	good(Request{5, g.proof(5, 12), g.at(12, false)})
	for rule, c := range map[string]struct {
		r    Request
		want string
	}{
		"an older one":                {Request{Note: g.at(7, false)}, "cut, or put back"},
		"another of the same size":    {Request{Note: g.at(12, true)}, "another checkpoint of 12"},
		"without a proof":             {Request{Note: g.at(20, false)}, "witnessmark ledger proof 12 20"},
		"a proof from somewhere else": {Request{5, g.proof(5, 20), g.at(20, false)}, "witnessmark ledger proof 12 20"},
		"another ledger":              {Request{12, g.proof(12, 20), g.at(20, true)}, "does not go on"},
		"a proof of other sizes":      {Request{12, g.proof(12, 21), g.at(20, false)}, "does not go on"},
	} {
		if signed, err := sign(c.r); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: got %s, %v, want %q", rule, signed, err, c.want)
		}
	}
	if _, err := w.Sign(Request{Note: g.at(20, false)}, newKey(t, "shop.example").Verifier); err == nil {
		t.Error("the key of another shop: got no error")
	}
	stranger := Witness{newKey(t, "head-office"), w.Log}
	if _, err := stranger.Sign(Request{Note: g.at(12, false)}, g.key.Verifier); err == nil || !strings.Contains(err.Error(), "line 1") {
		t.Errorf("the log of another witness: got %v, want its line named", err)
	}
	notes, torn, err := ReadNotes(w.Log)
	if err != nil || len(notes) != 3 || len(torn) != 0 {
		t.Errorf("got %d notes, %v, %v, want 3", len(notes), torn, err)
	}
	other := grown{t, newKey(t, "other.example")}
	if _, err := w.Sign(Request{Note: other.at(3, false)}, other.key.Verifier); err != nil {
		t.Errorf("another shop in the same log: got %v", err)
	}
}

// The example of C2SP tlog-witness, cut to two hashes: a request is read and written in that form.
func TestParseRequest(t *testing.T) {
	text := "old 20852014\nPlRNCrwHpqhGrupue0L7gxbjbMiKA9temvuZZDDpkaw=\njrJZDmY8Y7SyJE0MWLpLozkIVMSMZcD5kvuKxPC3swk=\n\n" +
		"rome.ct.example.com/2024h1\n20852163\nCsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2I=\n\n— rome.ct.example.com/2024h1 Ahm2\n"
	r, err := ParseRequest([]byte(text))
	if err != nil || r.Old != 20852014 || len(r.Proof) != 2 || !bytes.HasPrefix(r.Note, []byte("rome")) || string(r.Text()) != text {
		t.Errorf("got %+v, %v, want the request as it was written", r, err)
	}
	for rule, text := range map[string]string{"no checkpoint": "old 1\n", "no size": "old x\n\nnote", "below zero": "old -1\n\nnote", "no hash": "old 1\nAAAA\n\nnote"} {
		if r, err := ParseRequest([]byte(text)); err == nil {
			t.Errorf("%s: got %+v, want an error", rule, r)
		}
	}
}

// A file that was cut at any byte still gives every note before the cut, and takes further ones.
func TestReadNotes_CutAnywhere(t *testing.T) {
	g := grown{t, newKey(t, "shop.example")}
	whole := filepath.Join(t.TempDir(), "whole")
	for _, size := range []int64{3, 4} {
		if err := AppendNote(whole, g.at(size, false)); err != nil {
			t.Fatal(err)
		}
	}
	text, err := os.ReadFile(whole)
	if err != nil {
		t.Fatal(err)
	}
	first := bytes.Index(text, []byte("\n\nshop")) // all of the first but its last line feed
	path := filepath.Join(t.TempDir(), "cut")
	for n := range text {
		write(t, path, string(text[:n]))
		if err := AppendNote(path, g.at(9, false)); err != nil {
			t.Fatal(err)
		}
		notes, torn, err := ReadNotes(path)
		want := 1
		if n >= first {
			want = 2
		}
		if n >= len(text)-2 {
			want = 3
		}
		if err != nil || len(notes) != want || len(torn) > 2 || !bytes.Equal(notes[len(notes)-1].Note, g.at(9, false)) {
			t.Fatalf("cut at byte %d: got %d notes, torn %v, %v, want %d", n, len(notes), torn, err, want)
		}
	}
	if notes, torn, err := ReadNotes(filepath.Join(t.TempDir(), "none")); notes != nil || torn != nil || err != nil {
		t.Errorf("no file: got %v, %v, %v, want nothing", notes, torn, err)
	}
}
