package frame

import "bytes"

// Ending is what ends a line.
type Ending string

// The endings of a line. With AnyEnd every CR and every LF ends one: of a CRLF the frame holds the CR, and the
// empty line after it is passed over, so that nothing waits for an LF that may never come.
const (
	LF     Ending = "LF"
	CR     Ending = "CR"
	CRLF   Ending = "CRLF"
	AnyEnd Ending = "any"
)

// Endings lists the endings of a line in the order in which they are to be named.
func Endings() []Ending { return []Ending{CRLF, CR, LF, AnyEnd} }

// Bytes are the bytes that end a line that we write ourselves.
func (e Ending) Bytes() []byte {
	switch e {
	case LF:
		return []byte("\n")
	case CR:
		return []byte("\r")
	}
	return []byte("\r\n")
}

// NewLine cuts lines of at most longest bytes, the ending included, from 1 up to device.MaxRaw; a longest outside is
// drawn to the nearer limit. Empty lines are passed over.
func NewLine(end Ending, longest int) *Framer { return newFramer(line{end}, longest) }

type line struct{ end Ending }

func (l line) cut(buf []byte) int {
	if l.end == AnyEnd {
		return bytes.IndexAny(buf, "\r\n") + 1
	}
	mark := l.end.Bytes()
	i := bytes.Index(buf, mark)
	if i < 0 {
		return 0
	}
	return i + len(mark)
}

func (l line) resync(buf []byte) (drop int, found bool) {
	if end := l.cut(buf); end > 0 {
		return end, true
	}
	keep := 0
	if bytes.HasSuffix(buf, []byte("\r")) {
		keep = 1
	}
	return len(buf) - keep, false
}

func (l line) empty(frame []byte) bool { return len(bytes.Trim(frame, "\r\n")) == 0 }
