package ledger

import (
	"bytes"
	"encoding/base64"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"
)

// Request asks a witness to sign a checkpoint, in the form of C2SP tlog-witness (add-checkpoint):
//
//	old 20852014
//	a hash in base64, and so on: the consistency proof (RFC 6962, 2.1.2) from that size
//
//	the signed checkpoint
//
// A checkpoint alone is a request with nothing before it.
type Request struct {
	Old   int64
	Proof []tlog.Hash
	Note  []byte
}

// Text is the request as it is sent.
func (r Request) Text() []byte {
	var out bytes.Buffer
	fmt.Fprintf(&out, "old %d\n", r.Old)
	for _, h := range r.Proof {
		fmt.Fprintln(&out, base64.StdEncoding.EncodeToString(h[:]))
	}
	out.WriteByte('\n')
	out.Write(r.Note)
	return out.Bytes()
}

// ParseRequest reads a request.
func ParseRequest(text []byte) (r Request, err error) {
	if !bytes.HasPrefix(text, []byte("old ")) {
		return Request{Note: text}, nil
	}
	head, signed, ok := bytes.Cut(text, []byte("\n\n"))
	if !ok {
		return r, errors.New("not a request to a witness: it has no checkpoint")
	}
	lines := strings.Split(string(head), "\n")
	r.Note = signed
	if r.Old, err = strconv.ParseInt(strings.TrimPrefix(lines[0], "old "), 10, 64); err != nil || r.Old < 0 {
		return r, fmt.Errorf("not a request to a witness: %q is no size", lines[0])
	}
	for _, l := range lines[1:] {
		b, err := base64.StdEncoding.DecodeString(l)
		if err != nil || len(b) != tlog.HashSize {
			return r, fmt.Errorf("not a request to a witness: %q is no hash", l)
		}
		r.Proof = append(r.Proof, tlog.Hash(b))
	}
	return r, nil
}

// Witness is somebody outside the shop who signs its checkpoints, and remembers in a plain file which ones.
type Witness struct {
	Key *Key
	Log string
}

// Sign adds the signature of the witness to a checkpoint that bears one of the shop's, after looking that the ledger goes on
// from the last one that it signed of this shop. The note is in the log before it is given out: a crash in between leaves
// it there, and the same request may be made again.
func (w Witness) Sign(r Request, shop ...note.Verifier) ([]byte, error) {
	next, err := Open(r.Note, shop...)
	if err != nil {
		return nil, err
	}
	last, err := w.last(next.Origin)
	if err != nil {
		return nil, err
	}
	if err := follows(last, next, r); err != nil {
		return nil, err
	}
	n, err := note.Open(r.Note, note.VerifierList(shop...))
	if err != nil {
		return nil, fmt.Errorf("open checkpoint: %w", err)
	}
	signed, err := note.Sign(n, w.Key.Signer)
	if err != nil {
		return nil, fmt.Errorf("sign checkpoint: %w", err)
	}
	return signed, AppendNote(w.Log, signed)
}

// follows checks that a ledger goes on from the last checkpoint that was signed.
func follows(last, next Checkpoint, r Request) error {
	switch {
	case last.Size == 0:
		return nil
	case next.Size < last.Size:
		return fmt.Errorf("NOT SIGNED: this checkpoint has %d leaves, and one of %d was signed before: the ledger was cut, or put back to an older state",
			next.Size, last.Size)
	case next.Size == last.Size && next.Root != last.Root:
		return fmt.Errorf("NOT SIGNED: another checkpoint of %d leaves was signed before: the record was changed", next.Size)
	case next.Size == last.Size:
		return nil
	case r.Old != last.Size:
		return fmt.Errorf("the last checkpoint signed here has %d leaves: ask the shop for what `witnessmark ledger proof %d %d` prints", last.Size, last.Size, next.Size)
	}
	if err := tlog.CheckTree(r.Proof, next.Size, next.Root, last.Size, last.Root); err != nil {
		return fmt.Errorf("NOT SIGNED: the ledger of %d leaves does not go on from the one of %d that was signed before: the record was changed, "+
			"or the proof is of another ledger", next.Size, last.Size)
	}
	return nil
}

// last is the largest checkpoint of a ledger in the log. Each must bear the signature of this witness.
func (w Witness) last(origin string) (last Checkpoint, err error) {
	notes, _, err := ReadNotes(w.Log) // a torn one was never given out
	if err != nil {
		return last, err
	}
	for _, n := range notes {
		opened, err := note.Open(n.Note, note.VerifierList(w.Key.Verifier))
		if err != nil {
			return last, fmt.Errorf("%s, line %d: not signed with this key: give the log that belongs to it: %w", w.Log, n.Line, err)
		}
		c, err := ParseCheckpoint(opened.Text)
		if err != nil {
			return last, fmt.Errorf("%s, line %d: %w", w.Log, n.Line, err)
		}
		if c.Origin == origin && c.Size > last.Size {
			last = c
		}
	}
	return last, nil
}

// SignedBy is true where a note bears a key's signature.
func SignedBy(signed []byte, v note.Verifier) bool {
	_, err := note.Open(signed, note.VerifierList(v))
	return err == nil
}
