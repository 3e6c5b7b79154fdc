package ledger

import (
	"crypto/ed25519"
	"encoding/hex"
	"testing"

	"golang.org/x/mod/sumdb/note"
)

// The public key is that of RFC 8032, 7.1, test 1; its SHA-256 was taken by sha256sum.
func TestFingerprint(t *testing.T) {
	raw, err := hex.DecodeString("d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a")
	if err != nil {
		t.Fatal(err)
	}
	public, err := note.NewEd25519VerifierKey("witnessmark/s1", ed25519.PublicKey(raw))
	if err != nil {
		t.Fatal(err)
	}
	const want = "21fe 31df a154 a261 626b f854 046f d227 1b7b ed4b 6abe 45aa 5887 7ef4 7f97 21b9"
	if got, err := Fingerprint(public); err != nil || got != want {
		t.Errorf("got %s, %v, want %s", got, err, want)
	}
	if got, err := Fingerprint("witnessmark/s1+00000000+AAAA"); err == nil {
		t.Errorf("got %s of what is no key", got)
	}
}
