package ledger

import (
	"encoding/base64"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"
)

// Checkpoint is the state of a ledger at a size, after C2SP tlog-checkpoint:
//
//	origin
//	size in decimal
//	root in base64
type Checkpoint struct {
	Origin string
	Size   int64
	Root   tlog.Hash
}

// Text is the checkpoint as it is signed.
func (c Checkpoint) Text() string {
	return fmt.Sprintf("%s\n%d\n%s\n", c.Origin, c.Size, base64.StdEncoding.EncodeToString(c.Root[:]))
}

// ParseCheckpoint reads the text of a checkpoint. Further lines, which the form allows, are passed over.
func ParseCheckpoint(text string) (Checkpoint, error) {
	lines := strings.SplitN(text, "\n", 4)
	if len(lines) < 4 || lines[0] == "" {
		return Checkpoint{}, errors.New("not a checkpoint: it needs a line each for origin, size and root")
	}
	size, err := strconv.ParseInt(lines[1], 10, 64)
	if err != nil || size < 0 || strconv.FormatInt(size, 10) != lines[1] {
		return Checkpoint{}, fmt.Errorf("not a checkpoint: the size is %q", lines[1])
	}
	root, err := base64.StdEncoding.DecodeString(lines[2])
	if err != nil || len(root) != tlog.HashSize {
		return Checkpoint{}, fmt.Errorf("not a checkpoint: the root is %q", lines[2])
	}
	return Checkpoint{lines[0], size, tlog.Hash(root)}, nil
}

// Sign gives the checkpoint as a signed note. Ed25519 signs the same text to the same bytes every time.
func (c Checkpoint) Sign(signers ...note.Signer) ([]byte, error) {
	signed, err := note.Sign(&note.Note{Text: c.Text()}, signers...)
	if err != nil {
		return nil, fmt.Errorf("sign checkpoint: %w", err)
	}
	return signed, nil
}

// Open checks the signature of a note and reads the checkpoint in it. One of the keys must have signed it; all bear the
// name of the ledger, which must be the origin.
func Open(signed []byte, keys ...note.Verifier) (Checkpoint, error) {
	n, err := note.Open(signed, note.VerifierList(keys...))
	if err != nil {
		return Checkpoint{}, fmt.Errorf("open checkpoint: %w", err)
	}
	c, err := ParseCheckpoint(n.Text)
	if err != nil {
		return c, err
	}
	if c.Origin != n.Sigs[0].Name {
		return c, fmt.Errorf("the checkpoint is of %q, not of %q", c.Origin, n.Sigs[0].Name)
	}
	return c, nil
}
