// Package ledger is the tamper-evident list: RFC 6962 tree hashes over canonical JSON leaves (RFC 8785), and
// checkpoints signed as notes (C2SP tlog-checkpoint, signed-note).
package ledger

import (
	"crypto/sha256"
	"fmt"
	"reflect"
	"slices"
	"strconv"
	"time"

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
// N·m, angles in degrees, bytes base64. A record must be a struct; a field of its own with one of the four names above is
// an error.
func Leaf(kind string, seq uint64, at time.Time, refused string, record any) ([]byte, error) {
	v := reflect.New(reflect.TypeOf(record)).Elem()
	v.Set(reflect.ValueOf(record))
	return AppendLeaf(nil, kind, seq, at, refused, v)
}

// AppendLeaf appends what Leaf gives, of a record that can be addressed.
func AppendLeaf(to []byte, kind string, seq uint64, at time.Time, refused string, record reflect.Value) ([]byte, error) {
	p, err := planOf(record.Type())
	if err != nil {
		return nil, err
	}
	var hidden []string
	if p.hides {
		hidden = record.Addr().Interface().(hider).LeafHidden()
	}
	open := byte('{')
	for i := range p.fields {
		f := &p.fields[i]
		start := len(to)
		to = append(append(to, open), f.key...)
		write := true
		switch f.name {
		case "kind":
			to = appendText(to, kind)
		case "seq":
			to = append(strconv.AppendUint(append(to, '"'), seq, 10), '"')
		case "at":
			to = append(at.UTC().AppendFormat(append(to, '"'), timeLayout), '"')
		case "refused":
			write = refused != ""
			to = appendText(to, refused)
		default:
			v := record.FieldByIndex(f.index)
			if write = !(f.omit && empty(v)) && !slices.Contains(hidden, f.name); write {
				to, err = f.append(to, v)
			}
		}
		if err != nil {
			return nil, fmt.Errorf("write leaf: %s: %w", f.name, err)
		}
		if !write {
			to = to[:start]
			continue
		}
		open = ','
	}
	return append(to, '}'), nil
}

// Hash is the leaf hash of RFC 6962: SHA-256 of a zero byte and the leaf.
func Hash(leaf []byte) tlog.Hash { return tlog.RecordHash(leaf) }

// HashBehind is the leaf hash of what stands behind the first byte of b, which it sets to zero: one copy less.
func HashBehind(b []byte) tlog.Hash {
	b[0] = 0
	return sha256.Sum256(b)
}
