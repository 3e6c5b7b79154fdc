package web

import (
	"crypto/rand"
	"crypto/sha256"
	"encoding/base32"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"witnessmark/cmd/witnessmark/internal/whole"
)

// NewSecret is a text of 160 random bits.
func NewSecret() string {
	b := make([]byte, 20)
	_, _ = rand.Read(b) // never fails
	return strings.ToLower(base32.StdEncoding.EncodeToString(b))
}

// Key is how such a text is kept: as its SHA-256, in hex.
func Key(secret string) string {
	sum := sha256.Sum256([]byte(secret))
	return hex.EncodeToString(sum[:])
}

// pepper reads the 32 bytes that are mixed into every PIN and lie outside the database. They are made at the first use; a
// crash in between leaves no file, for a whole one is moved into its place.
func pepper(folder string) ([]byte, error) {
	path := filepath.Join(folder, "pin-pepper")
	text, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		b := make([]byte, 32)
		_, _ = rand.Read(b) // never fails
		text = []byte(hex.EncodeToString(b))
		err = whole.Keep(path, text)
	}
	if err != nil {
		return nil, fmt.Errorf("keep what is mixed into PINs: %w", err)
	}
	b, err := hex.DecodeString(strings.TrimSpace(string(text)))
	if err != nil || len(b) != 32 {
		return nil, fmt.Errorf("%s is damaged: restore the file, or remove it and have everybody set a new PIN", path)
	}
	return b, nil
}
