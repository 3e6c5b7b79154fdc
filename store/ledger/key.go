package ledger

import (
	"crypto/ed25519"
	"crypto/rand"
	"encoding/base64"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"golang.org/x/mod/sumdb/note"
)

// Key is what a shop signs with. The private half stays in its file.
type Key struct {
	Signer   note.Signer // nil: the private half was taken away, and only a later key signs
	Verifier note.Verifier
	Public   string // the verifier's text, to be handed out

	path string
}

// LoadOrCreateKey reads the private key file, or makes a new Ed25519 key by the given name (the origin of the ledger) and
// writes it with mode 0600; the public half stands beside it with the ending .pub.
//
// A crash between the two files leaves the private one, from which the next start writes the public half again. A public
// half without a private one is refused: a new key would sign on under the same name as if nothing had been lost. Only where
// a later key lies beside it (see Later) the private half may be gone.
func LoadOrCreateKey(path, name string) (*Key, error) {
	text, err := os.ReadFile(path)
	if errors.Is(err, os.ErrNotExist) {
		return createKey(path, name)
	}
	if err != nil {
		return nil, fmt.Errorf("read signing key: %w", err)
	}
	private := strings.TrimSpace(string(text))
	public, err := publicHalf(private)
	if err != nil {
		return nil, fmt.Errorf("the signing key %s is damaged, put it back from a backup: %w", path, err)
	}
	key, err := parseKey(private, public, name)
	if err != nil {
		return nil, err
	}
	key.path = path
	return key, keepPublic(path+".pub", public)
}

func createKey(path, name string) (*Key, error) {
	if there(path + ".pub") {
		if there(behind(path, 2)) {
			return publicOnly(path)
		}
		return nil, fmt.Errorf("the signing key %s is gone while its public half is there: put it back from a backup", path)
	}
	private, public, err := note.GenerateKey(rand.Reader, name)
	if err != nil {
		return nil, fmt.Errorf("make signing key: %w", err)
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return nil, fmt.Errorf("make folder of the signing key: %w", err)
	}
	if err := writeFile(path, []byte(private+"\n"), 0o600); err != nil {
		return nil, fmt.Errorf("write signing key: %w", err)
	}
	key, err := parseKey(private, public, name)
	if err != nil {
		return nil, err
	}
	key.path = path
	return key, keepPublic(path+".pub", public)
}

// keepPublic writes the public half where it is not there, and refuses another one in its place.
func keepPublic(path, public string) error {
	text, err := os.ReadFile(path)
	switch {
	case errors.Is(err, os.ErrNotExist):
		if err := writeFile(path, []byte(public+"\n"), 0o644); err != nil {
			return fmt.Errorf("write public key: %w", err)
		}
		return nil
	case err != nil:
		return fmt.Errorf("read public key: %w", err)
	case strings.TrimSpace(string(text)) != public:
		return fmt.Errorf("the public key %s does not belong to the signing key beside it: put the right pair back from a backup", path)
	}
	return nil
}

// publicHalf works the verifier's text out of a signer's: PRIVATE+KEY+name+id+base64 of the type byte and the seed.
func publicHalf(private string) (string, error) {
	parts := strings.SplitN(private, "+", 5)
	if len(parts) != 5 {
		return "", errors.New("it has not the five parts of a signing key")
	}
	key, err := base64.StdEncoding.DecodeString(parts[4])
	if err != nil || len(key) != 1+ed25519.SeedSize {
		return "", errors.New("it holds no Ed25519 seed")
	}
	public, ok := ed25519.NewKeyFromSeed(key[1:]).Public().(ed25519.PublicKey)
	if !ok {
		return "", errors.New("it holds no Ed25519 key")
	}
	return note.NewEd25519VerifierKey(parts[2], public)
}

func parseKey(private, public, name string) (*Key, error) {
	s, err := note.NewSigner(private)
	if err != nil {
		return nil, fmt.Errorf("the signing key is damaged, put it back from a backup: %w", err)
	}
	v, err := note.NewVerifier(public)
	if err != nil {
		return nil, fmt.Errorf("read public key: %w", err)
	}
	if s.Name() != name || s.KeyHash() != v.KeyHash() {
		return nil, fmt.Errorf("the signing key is of %q, this ledger is %q: put the right key back from a backup", s.Name(), name)
	}
	return &Key{Signer: s, Verifier: v, Public: public}, nil
}

// ReadVerifier reads a public key file.
func ReadVerifier(path string) (note.Verifier, error) {
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("read public key: %w", err)
	}
	v, err := note.NewVerifier(strings.TrimSpace(string(text)))
	if err != nil {
		return nil, fmt.Errorf("read public key %s: %w", path, err)
	}
	return v, nil
}
