package ledger

import (
	"bytes"
	"crypto/ed25519"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"os"

	"golang.org/x/mod/sumdb/note"
)

// A plain file of checkpoints holds one signed note after the other, each with an empty line behind it. It only grows.

// Noted is a note of such a file.
type Noted struct {
	Line int // that it begins at, from 1
	Note []byte
}

// ReadNotes reads a plain file of checkpoints, or one with a single note. What is no whole note, such as what a power cut
// left, is told by its line. A file that is not there is empty.
func ReadNotes(path string) (whole []Noted, torn []int, err error) {
	text, err := os.ReadFile(path)
	if errors.Is(err, os.ErrNotExist) {
		return nil, nil, nil
	}
	if err != nil {
		return nil, nil, fmt.Errorf("read checkpoints: %w", err)
	}
	for _, n := range splitNotes(text) {
		if isWhole(n.Note) {
			whole = append(whole, n)
		} else {
			torn = append(torn, n.Line)
		}
	}
	return whole, torn, nil
}

// isWhole is true of a note all of whose signatures have the length of one: 4 bytes of key id, 64 of Ed25519, and more in
// other kinds (C2SP signed-note).
func isWhole(signed []byte) bool {
	var unknown *note.UnverifiedNoteError // well-formed, and nobody gave a key here
	if _, err := note.Open(signed, note.VerifierList()); !errors.As(err, &unknown) {
		return false
	}
	for _, s := range unknown.Note.UnverifiedSigs {
		if b, err := base64.StdEncoding.DecodeString(s.Base64); err != nil || len(b) < 4+ed25519.SignatureSize {
			return false
		}
	}
	return true
}

// splitNotes cuts where a text begins after signatures or after two empty lines.
func splitNotes(text []byte) []Noted {
	const inText, inGap, inSignatures = 0, 1, 2
	var out []Noted
	state, line := inSignatures, 0
	for l := range bytes.Lines(text) {
		line++
		empty := bytes.Equal(l, []byte("\n"))
		signature := bytes.HasPrefix(l, []byte("— "))
		switch {
		case empty && state == inText:
			state = inGap
		case empty:
			state = inSignatures
			continue
		case signature && len(out) > 0 && state != inText:
			state = inSignatures
		case state != inText:
			out = append(out, Noted{Line: line})
			state = inText
		}
		last := &out[len(out)-1]
		last.Note = append(last.Note, l...)
	}
	return out
}

// AppendNote adds a note to a plain file of checkpoints and waits for the disk. A crash leaves a piece of it, which ReadNotes
// tells from a note; the next one begins on a line of its own.
func AppendNote(path string, signed []byte) (err error) {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR|os.O_APPEND, 0o644)
	if err != nil {
		return fmt.Errorf("add checkpoint: %w", err)
	}
	defer func() {
		if err = errors.Join(err, f.Close()); err != nil {
			err = fmt.Errorf("add checkpoint: %w", err)
		}
	}()
	out := append(bytes.Clone(signed), '\n')
	size, err := f.Seek(0, io.SeekEnd)
	if err != nil {
		return err
	}
	if size > 0 {
		end := make([]byte, min(size, 2))
		if _, err := f.ReadAt(end, size-int64(len(end))); err != nil {
			return err
		}
		if !bytes.Equal(end, []byte("\n\n")) {
			out = append([]byte("\n\n\n"), out...)
		}
	}
	if _, err := f.Write(out); err != nil {
		return err
	}
	return f.Sync()
}
