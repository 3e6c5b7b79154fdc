package ledger

import (
	"bytes"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"encoding/hex"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"
)

// RFC 8032, 7.1, tests 1 and 2 (from memory, checked against the Go standard library): a signer made of the published
// secret key gives the published signature, and publicHalf the published public key.
func TestKey_PublishedSignatures(t *testing.T) {
	for _, c := range []struct{ secret, public, message, signature string }{
		{
			"9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
			"d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a", "",
			"e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b",
		},
		{
			"4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
			"3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c", "72",
			"92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00",
		},
	} {
		private, public := noteKey(t, "shop.example", c.secret, c.public)
		gotPublic, err := publicHalf(private)
		if err != nil || gotPublic != public {
			t.Errorf("public half: got %s, %v, want %s", gotPublic, err, public)
		}
		signer, err := note.NewSigner(private)
		if err != nil {
			t.Fatal(err)
		}
		message, signature := unhex(t, c.message), unhex(t, c.signature)
		if got, err := signer.Sign(message); err != nil || !bytes.Equal(got, signature) {
			t.Errorf("signature: got %x, %v, want %x", got, err, signature)
		}
	}
}

// noteKey writes a key pair after C2SP signed-note: the id is the start of SHA-256(name, newline, type 01, public key).
func noteKey(t *testing.T, name, secret, public string) (private, verifier string) {
	t.Helper()
	pub := append([]byte{1}, unhex(t, public)...)
	sum := sha256.Sum256(append([]byte(name+"\n"), pub...))
	id := hex.EncodeToString(sum[:4])
	b64 := base64.StdEncoding.EncodeToString
	return "PRIVATE+KEY+" + name + "+" + id + "+" + b64(append([]byte{1}, unhex(t, secret)...)), name + "+" + id + "+" + b64(pub)
}

// C2SP signed-note: a signature blob is the four bytes of the key id and 64 of Ed25519.
func TestCheckpoint_SignatureBlob(t *testing.T) {
	key := newKey(t, "shop.example")
	signed, err := Checkpoint{"shop.example", 1, tlog.Hash{}}.Sign(key.Signer)
	if err != nil {
		t.Fatal(err)
	}
	text, line, _ := strings.Cut(string(signed), "\n\n")
	blob, err := base64.StdEncoding.DecodeString(strings.TrimSpace(strings.TrimPrefix(line, "— shop.example ")))
	if err != nil || len(blob) != 68 || binary.BigEndian.Uint32(blob) != key.Verifier.KeyHash() {
		t.Fatalf("got %q (%d bytes, %v), want 68 bytes that begin with the key id", line, len(blob), err)
	}
	pub, err := base64.StdEncoding.DecodeString(strings.SplitN(key.Public, "+", 3)[2])
	if err != nil {
		t.Fatal(err)
	}
	if !ed25519.Verify(pub[1:], []byte(text+"\n"), blob[4:]) {
		t.Error("got a signature that the plain algorithm refuses, want one over the text with its last newline")
	}
}

// The example of C2SP tlog-checkpoint. Its public key is not published, so that only the form can be checked.
func TestParseCheckpoint_PublishedExample(t *testing.T) {
	const root = "CsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2I="
	text := "example.com/behind-the-sofa\n20852163\n" + root + "\n"
	c, err := ParseCheckpoint(text)
	if err != nil || c.Origin != "example.com/behind-the-sofa" || c.Size != 20852163 || c.Text() != text {
		t.Errorf("got %+v, %v, want the three lines of %q", c, err, text)
	}
	if got := hex.EncodeToString(c.Root[:2]) + "…" + hex.EncodeToString(c.Root[30:]); got != "0ac5…ab62" {
		t.Errorf("got root %s, want 0ac5…ab62", got)
	}
}

func TestParseCheckpoint_Faults(t *testing.T) {
	const root = "CsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2I="
	for rule, text := range map[string]string{
		"no origin": "\n1\n" + root + "\n", "leading zero": "o\n01\n" + root + "\n", "sign": "o\n+1\n" + root + "\n",
		"negative": "o\n-1\n" + root + "\n", "short root": "o\n1\nAAAA\n", "no newline at the end": "o\n1\n" + root, "empty": "",
	} {
		if c, err := ParseCheckpoint(text); err == nil {
			t.Errorf("%s: got %+v, want an error", rule, c)
		}
	}
}

func TestCheckpoint_RoundTrip(t *testing.T) {
	key := newKey(t, "shop.example")
	want := Checkpoint{"shop.example", 12, tlog.Hash{1, 2, 3}}
	signed, err := want.Sign(key.Signer)
	if err != nil {
		t.Fatal(err)
	}
	if got, err := Open(signed, key.Verifier); err != nil || got != want {
		t.Errorf("got %+v, %v, want %+v", got, err, want)
	}
	t.Run("a changed byte is refused", func(t *testing.T) {
		broken := bytes.Replace(signed, []byte("\n12\n"), []byte("\n13\n"), 1)
		if got, err := Open(broken, key.Verifier); err == nil {
			t.Errorf("got %+v, want an error", got)
		}
	})
	t.Run("another key of the same name is refused", func(t *testing.T) {
		if got, err := Open(signed, newKey(t, "shop.example").Verifier); err == nil {
			t.Errorf("got %+v, want an error", got)
		}
	})
	t.Run("another origin is refused", func(t *testing.T) {
		other, err := Checkpoint{"other.example", 12, want.Root}.Sign(key.Signer)
		if err != nil {
			t.Fatal(err)
		}
		if got, err := Open(other, key.Verifier); err == nil {
			t.Errorf("got %+v, want an error", got)
		}
	})
}

func TestLoadOrCreateKey(t *testing.T) {
	path := filepath.Join(t.TempDir(), "keys", "ledger.key")
	made, err := LoadOrCreateKey(path, "shop.example")
	if err != nil {
		t.Fatal(err)
	}
	if st, err := os.Stat(path); err != nil || st.Mode().Perm() != 0o600 {
		t.Errorf("got mode %v, %v, want 0600", st.Mode(), err)
	}
	t.Run("the next start reads the same key", func(t *testing.T) { wantKey(t, path, made.Public) })
	t.Run("a lost public half is written again", func(t *testing.T) {
		remove(t, path+".pub")
		wantKey(t, path, made.Public)
		if v, err := ReadVerifier(path + ".pub"); err != nil || v.KeyHash() != made.Verifier.KeyHash() {
			t.Errorf("got %v, %v, want the verifier of the key", v, err)
		}
	})
	t.Run("a key of another name is refused", func(t *testing.T) { wantRefused(t, path, "other.example", "other.example") })
	t.Run("a public half of another key is refused", func(t *testing.T) {
		write(t, path+".pub", newKey(t, "shop.example").Public)
		wantRefused(t, path, "shop.example", "does not belong")
	})
	t.Run("a lost private half is refused", func(t *testing.T) {
		remove(t, path)
		wantRefused(t, path, "shop.example", "is gone")
	})
	t.Run("a damaged key is refused", func(t *testing.T) {
		write(t, path, "PRIVATE+KEY+shop.example+00000000+AAAA")
		wantRefused(t, path, "shop.example", "damaged")
	})
}

func wantKey(t *testing.T, path, public string) {
	t.Helper()
	if key, err := LoadOrCreateKey(path, "shop.example"); err != nil || key.Public != public {
		t.Errorf("got %v, %v, want %s", key, err, public)
	}
}

func wantRefused(t *testing.T, path, name, reason string) {
	t.Helper()
	if _, err := LoadOrCreateKey(path, name); err == nil || !strings.Contains(err.Error(), reason) {
		t.Errorf("got %v, want an error with %q", err, reason)
	}
}

func TestOutside(t *testing.T) {
	path := filepath.Join(t.TempDir(), "checkpoint")
	if got, err := ReadOutside(path); err != nil || got != nil {
		t.Errorf("before the first: got %q, %v, want nothing", got, err)
	}
	for _, text := range []string{"first, a longer one", "second"} {
		// A torn write of an earlier crash lies in the way.
		write(t, path+".new", "torn and longer than what comes after it")
		if err := WriteOutside(path, []byte(text)); err != nil {
			t.Fatal(err)
		}
		if got, err := ReadOutside(path); err != nil || string(got) != text {
			t.Errorf("got %q, %v, want %q", got, err, text)
		}
	}
	if err := WriteOutside(filepath.Join(path, "below a file"), nil); err == nil {
		t.Error("a place that cannot be: got no error, want one")
	}
}

func newKey(t *testing.T, name string) *Key {
	t.Helper()
	key, err := LoadOrCreateKey(filepath.Join(t.TempDir(), "key"), name)
	if err != nil {
		t.Fatal(err)
	}
	return key
}

func unhex(t *testing.T, text string) []byte {
	t.Helper()
	b, err := hex.DecodeString(text)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func remove(t *testing.T, path string) {
	t.Helper()
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
}

func write(t *testing.T, path, text string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
}
