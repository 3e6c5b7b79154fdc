package memory

import (
	"crypto/sha256"
	"encoding/binary"
	"iter"
	"slices"
	"strconv"

	"witnessmark/device"
)

// trace is what is left of a reading: two digests of 64 bits, the beginnings of SHA-256. Two of 10 000 different lines
// are taken for one with a chance of 2 × 10 000 / 2^64, or one in 10^15, for each reading that comes; at a thousand
// pulls a day that is one in thousands of millions of years.
type trace struct {
	line  uint64 // of the bytes
	pull  uint64 // of what they say about the pull
	epoch int64
}

// traces are the newest Depth ones, a ring once there are so many. The digests of a kind lie side by side, for each reading that
// comes is held against all of them.
type traces struct {
	lines, pulls []uint64
	epochs       []int64
	oldest       int // where the ring begins
}

func (all *traces) add(t trace) {
	if len(all.lines) < Depth {
		all.lines, all.pulls, all.epochs = append(all.lines, t.line), append(all.pulls, t.pull), append(all.epochs, t.epoch)
		return
	}
	i := all.oldest
	all.lines[i], all.pulls[i], all.epochs[i] = t.line, t.pull, t.epoch
	all.oldest = (i + 1) % Depth
}

// inOrder goes through them, the oldest first.
func (all *traces) inOrder() iter.Seq[trace] {
	return func(yield func(trace) bool) {
		for n := range all.lines {
			i := (all.oldest + n) % len(all.lines)
			if !yield(trace{all.lines[i], all.pulls[i], all.epochs[i]}) {
				return
			}
		}
	}
}

// newest is the line that was added last, of which there must be one.
func (all *traces) newest() uint64 { return all.lines[(all.oldest+len(all.lines)-1)%len(all.lines)] }

// hold tells whether a digest is among some of theirs, with an epoch from one on.
func (all *traces) hold(digests []uint64, d uint64, from int64) bool {
	for i, one := range digests {
		if one == d && all.epochs[i] >= from {
			return true
		}
	}
	return false
}

func (all *traces) clone() traces {
	return traces{slices.Clone(all.lines), slices.Clone(all.pulls), slices.Clone(all.epochs), all.oldest}
}

func traceOf(r device.Reading) trace {
	return trace{line: digest(r.Raw), pull: digest(pull(r)), epoch: r.Epoch}
}

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
