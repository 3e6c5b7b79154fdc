package frame

import (
	"bytes"
	"encoding/binary"

	"witnessmark/device"
)

// NewBetween cuts frames that begin with start and end with end, both at least one byte, and after so many check bytes
// behind the end, which may be any. Such a frame has at most longest bytes in all.
func NewBetween(start, end []byte, after, longest int) *Framer {
	s := newStarted(start, between{len(start), bytes.Clone(end), after}, longest)
	s.behind = after
	return framer(s)
}

type between struct {
	start int
	end   []byte
	after int
}

func (b between) cut(buf []byte, longest int) (int, string) {
	seen := buf[:min(len(buf), longest)]
	if i := bytes.Index(seen[min(b.start, len(seen)):], b.end); i >= 0 {
		if n := b.start + i + len(b.end) + b.after; n <= len(seen) {
			return n, ""
		}
	}
	if len(seen) < longest {
		return 0, ""
	}
	return longest, device.ReasonTooLong
}

// NewFixed cuts frames of length bytes, at most device.MaxRaw. With no start the first byte of the stream begins the
// first frame; only a check then finds the way back after a byte was lost.
func NewFixed(start []byte, length int) *Framer {
	return framer(newStarted(start, fixed{}, length))
}

type fixed struct{}

func (fixed) cut(buf []byte, longest int) (int, string) {
	if len(buf) < longest {
		return 0, ""
	}
	return longest, ""
}

// Count is the field that holds the length of a frame.
//
//	A5 01 09 …      At 2, Size 1, Plus 5: the frame has 9 + 5 bytes
//	┬─ ┬─ ┬─
//	│  │  └ length
//	│  └ kind
//	└ start
type Count struct {
	At     int  // how many bytes stand before it
	Size   int  // 1 or 2 bytes
	Little bool // the low byte comes first
	Plus   int  // what is to be added to have the length of the whole frame
}

// NewCounted cuts frames that say how long they are, of at most longest bytes.
func NewCounted(start []byte, c Count, longest int) *Framer {
	return framer(newStarted(start, c, longest))
}

func (c Count) cut(buf []byte, longest int) (int, string) {
	head := c.At + c.Size
	if len(buf) < min(head, longest) {
		return 0, ""
	}
	if head > longest {
		return longest, device.ReasonTooLong
	}
	switch n := c.read(buf[c.At:head]) + c.Plus; {
	case n > longest:
		return head, device.ReasonTooLong
	case n < head:
		return head, device.ReasonNoise
	case n <= len(buf):
		return n, ""
	}
	return 0, ""
}

func (c Count) read(b []byte) int {
	switch {
	case len(b) == 1:
		return int(b[0])
	case c.Little:
		return int(binary.LittleEndian.Uint16(b))
	}
	return int(binary.BigEndian.Uint16(b))
}
