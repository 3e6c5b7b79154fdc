package ledger

import (
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"fmt"
	"strings"

	"golang.org/x/mod/sumdb/note"
)

// Fingerprint is the SHA-256 of the raw public key in a verifier's text, in hex by fours: short enough to be read out
// over the telephone and compared.
func Fingerprint(public string) (string, error) {
	if _, err := note.NewVerifier(public); err != nil {
		return "", fmt.Errorf("read public key: %w", err)
	}
	parts := strings.SplitN(public, "+", 3)
	key, err := base64.StdEncoding.DecodeString(parts[len(parts)-1])
	if err != nil || len(key) < 2 {
		return "", errors.New("read public key: it holds no key")
	}
	sum := fmt.Sprintf("%x", sha256.Sum256(key[1:])) // before the key stands a byte for its algorithm
	var fours []string
	for i := 0; i < len(sum); i += 4 {
		fours = append(fours, sum[i:i+4])
	}
	return strings.Join(fours, " "), nil
}
