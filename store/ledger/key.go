package ledger

import (
	"crypto/rand"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"golang.org/x/mod/sumdb/note"
)

// Key is what a shop signs with. The private half stays in its file.
type Key struct {
	Signer   note.Signer
	Verifier note.Verifier
	Public   string // the verifier's text, to be handed out
}

// LoadOrCreateKey reads the private key file, or makes a new Ed25519 key by the given name (the origin of the ledger) and
// writes it with mode 0600; the public half stands beside it with the ending .pub.
//
// A crash before the private file has its name leaves no key, or a public half without one; nothing was signed yet and
// the next start makes both anew.
func LoadOrCreateKey(path, name string) (*Key, error) {
	text, err := os.ReadFile(path)
	if errors.Is(err, os.ErrNotExist) {
		return createKey(path, name)
	}
	if err != nil {
		return nil, fmt.Errorf("read signing key: %w", err)
	}
	public, err := os.ReadFile(path + ".pub")
	if err != nil {
		return nil, fmt.Errorf("read public half of the signing key: %w", err)
	}
	return parseKey(strings.TrimSpace(string(text)), strings.TrimSpace(string(public)), name)
}

func createKey(path, name string) (*Key, error) {
	private, public, err := note.GenerateKey(rand.Reader, name)
	if err != nil {
		return nil, fmt.Errorf("make signing key: %w", err)
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return nil, fmt.Errorf("make signing key: %w", err)
	}
	// The public half comes first: a private key whose public half is lost could sign what nobody can check.
	if err := errors.Join(WriteFile(path+".pub", []byte(public+"\n"), 0o644), WriteFile(path, []byte(private+"\n"), 0o600)); err != nil {
		return nil, fmt.Errorf("write signing key: %w", err)
	}
	return parseKey(private, public, name)
}

func parseKey(private, public, name string) (*Key, error) {
	s, err := note.NewSigner(private)
	if err != nil {
		return nil, fmt.Errorf("the signing key is damaged, put it back from a backup: %w", err)
	}
	v, err := note.NewVerifier(public)
	if err != nil {
		return nil, fmt.Errorf("the public key is damaged, put it back from a backup: %w", err)
	}
	if s.Name() != name || v.Name() != name || s.KeyHash() != v.KeyHash() {
		return nil, fmt.Errorf("the signing key is of %q and its public half of %q, this ledger is %q: put the right key back", s.Name(), v.Name(), name)
	}
	return &Key{s, v, public}, nil
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

// WriteFile puts content at path whole or not at all: a crash leaves the old file, or a stray file with the ending .new
// that the next write replaces.
func WriteFile(path string, content []byte, mode os.FileMode) error {
	f, err := os.OpenFile(path+".new", os.O_CREATE|os.O_TRUNC|os.O_WRONLY, mode)
	if err != nil {
		return err
	}
	_, err = f.Write(content)
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		return err
	}
	if err := os.Rename(path+".new", path); err != nil {
		return err
	}
	d, err := os.Open(filepath.Dir(path))
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}
