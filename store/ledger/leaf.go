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
//	kind     what it is
//	seq      the journal entry it came from
//	at       the time of that entry, e.g. 2026-03-02T08:00:00.000000Z
//	refused  why the entry took no effect; left out where it did
//
// Every integer stands as decimal text, because a number of RFC 8785 is exact to 2^53 only. Torques are decimal text in
// N·m, angles in degrees, bytes base64. A field of the record with one of the four names above is an error.
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
	head := map[string]string{"kind": kind, "seq": strconv.FormatUint(seq, 10), "at": at.UTC().Format(timeLayout)}
	if refused != "" {
		head["refused"] = refused
	}
	if err := complete(fields, head); err != nil {
		return nil, err
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

// complete turns numbers into text and adds what every leaf has.
func complete(fields map[string]json.RawMessage, head map[string]string) error {
	for name, value := range fields {
		if c := value[0]; c == '-' || c >= '0' && c <= '9' {
			fields[name] = text(string(value))
		}
	}
	for _, name := range []string{"kind", "seq", "at", "refused"} {
		if _, taken := fields[name]; taken {
			return fmt.Errorf("write leaf: the record has a field %q of its own", name)
		}
		if value, given := head[name]; given {
			fields[name] = text(value)
		}
	}
	return nil
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
