package memory

import (
	"crypto/sha256"
	"encoding/binary"
	"strconv"

	"witnessmark/device"
)

// trace is what is left of a reading: two digests of 64 bits, the beginnings of SHA-256. Two of 10 000 different lines
// are taken for one with a chance of 2 × 10 000 / 2^64, or one in 10^15, for each reading that comes; at a thousand
// pulls a day that is one in thousands of millions of years.
type trace struct {
	line uint64 // of the bytes
	pull uint64 // of what they say about the pull
}

// traces are the newest Depth ones, a ring once there are so many.
type traces struct {
	lines, pulls digests
	added        int // ever; since the start, where a memory was put away meanwhile
}

func (all *traces) add(t trace) {
	place := all.added % Depth
	all.lines.put(place, t.line)
	all.pulls.put(place, t.pull)
	all.added++
}

// held is how many there are.
func (all *traces) held() int { return min(all.added, Depth) }

// back is the trace that so many were added after.
func (all *traces) back(n int) trace {
	place := (all.added - 1 - n) % Depth
	return trace{all.lines.all[place], all.pulls.all[place]}
}

func traceOf(r device.Reading) trace { return trace{line: digest(r.Raw), pull: digest(pull(r))} }

// pull writes what a wrench says of a pull and says in the same words when it sends it again: not its battery, and not
// that the line comes out of its memory.
func pull(r device.Reading) []byte {
	b := make([]byte, 0, 160)
	if r.Counter != nil {
		b = strconv.AppendInt(b, *r.Counter, 10)
	}
	b = append(b, 0)
	if r.Angle != nil {
		b = strconv.AppendInt(b, int64(*r.Angle), 10)
	}
	for _, said := range [...]string{r.Clock, r.Serial, r.TorqueText, string(r.Unit), string(r.Direction), r.Tag, r.Preset,
		string(r.Judged), r.ErrorCode} {
		b = append(append(b, 0), said...) // no NUL stands in a text
	}
	return b
}

func digest(b []byte) uint64 {
	sum := sha256.Sum256(b)
	return binary.BigEndian.Uint64(sum[:])
}
