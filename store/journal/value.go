package journal

import (
	"encoding/binary"
	"errors"
	"hash/crc32"
	"time"

	"witnessmark/audit"
)

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

const head = 4 + 8 + 1 // checksum, time, length of the kind

func keyOf(seq uint64) []byte { return binary.BigEndian.AppendUint64(nil, seq) }

func seqOf(key []byte) (uint64, error) {
	if len(key) != 8 {
		return 0, errDamaged
	}
	return binary.BigEndian.Uint64(key), nil
}

// value is the bytes of an entry whose event is body in JSON.
func value(at time.Time, kind string, body []byte) []byte {
	v := make([]byte, 4, head+len(kind)+len(body))
	v = binary.BigEndian.AppendUint64(v, uint64(at.UnixMicro()))
	v = append(v, byte(len(kind)))
	v = append(v, kind...)
	v = append(v, body...)
	binary.BigEndian.PutUint32(v, crc32.Checksum(v[4:], castagnoli))
	return v
}

var errDamaged = errors.New("the entry is damaged on the disk: have the disk looked at; " + anew)

// parse is the inverse of value. A damaged entry is never guessed at.
func parse(seq uint64, v []byte) (audit.Entry, error) {
	if len(v) < head || binary.BigEndian.Uint32(v) != crc32.Checksum(v[4:], castagnoli) {
		return audit.Entry{}, errDamaged
	}
	n := head + int(v[12])
	if n > len(v) {
		return audit.Entry{}, errDamaged
	}
	ev, err := audit.Decode(string(v[head:n]), v[n:])
	if err != nil {
		return audit.Entry{}, err
	}
	at := time.UnixMicro(int64(binary.BigEndian.Uint64(v[4:]))).UTC()
	return audit.Entry{Seq: seq, At: at, Event: ev}, nil
}
