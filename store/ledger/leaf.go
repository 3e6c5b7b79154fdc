// Package ledger is the tamper-evident list: RFC 6962 tree hashes over canonical JSON leaves (RFC 8785), and
// checkpoints signed as notes (C2SP tlog-checkpoint, signed-note).
package ledger

import (
	"encoding/json"
	"fmt"
	"strconv"
	"time"

	"github.com/gowebpki/jcs"
	"golang.org/x/mod/sumdb/tlog"
)

// timeLayout writes times in UTC with whole microseconds, always six digits: what PostgreSQL keeps.
const timeLayout = "2006-01-02T15:04:05.000000Z"

// hider is a record some of whose fields stay out of the ledger, such as a person's name.
type hider interface{ LeafHidden() []string }

// Leaf is the canonical JSON of a record as it stands in the ledger: one flat object with the record's own fields and
//
//	kind  what it is
//	seq   the journal entry it came from, as text, since a JSON number is exact to 2^53 only
//	at    the time of that entry, e.g. 2026-03-02T08:00:00.000000Z
//
// refused is added where the entry took no effect. Torques are decimal text in N·m and angles in degrees; bytes are
// base64.
func Leaf(kind string, seq uint64, at time.Time, refused string, record any) ([]byte, error) {
	body, err := json.Marshal(record)
	if err != nil {
		return nil, fmt.Errorf("write leaf: %w", err)
	}
	fields := map[string]json.RawMessage{}
	if err := json.Unmarshal(body, &fields); err != nil {
		return nil, fmt.Errorf("write leaf: a record must be an object: %w", err)
	}
	if h, ok := record.(hider); ok {
		for _, name := range h.LeafHidden() {
			delete(fields, name)
		}
	}
	fields["kind"] = text(kind)
	fields["seq"] = text(strconv.FormatUint(seq, 10))
	fields["at"] = text(at.UTC().Format(timeLayout))
	if refused != "" {
		fields["refused"] = text(refused)
	}
	loose, err := json.Marshal(fields)
	if err != nil {
		return nil, fmt.Errorf("write leaf: %w", err)
	}
	leaf, err := jcs.Transform(loose)
	if err != nil {
		return nil, fmt.Errorf("write leaf in canonical form: %w", err)
	}
	return leaf, nil
}

func text(s string) json.RawMessage {
	b, err := json.Marshal(s)
	if err != nil {
		panic(err) // a string always has a JSON form
	}
	return b
}

// Hash is the leaf hash of RFC 6962: SHA-256 of a zero byte and the leaf.
func Hash(leaf []byte) tlog.Hash { return tlog.RecordHash(leaf) }
