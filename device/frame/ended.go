package frame

import (
	"bytes"

	"witnessmark/device"
)

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
func NewLine(end Ending, longest int) *Framer {
	e := newEnded(end.Bytes(), longest)
	e.any = end == AnyEnd
	return framer(e).Text()
}

// NewEnded cuts frames that are ended by any bytes, at least one. A frame that holds nothing else is passed over, and
// so is one of nothing but ends of lines.
func NewEnded(end []byte, longest int) *Framer {
	return framer(newEnded(end, longest))
}

type ended struct {
	rules
	end      []byte
	any      bool   // every CR and every LF is an end
	buf      []byte // what came after the last frame; never more than device.MaxRaw
	skipping bool   // a frame was too long and has been reported; its end has not come yet
}

func newEnded(end []byte, longest int) *ended {
	return &ended{rules: newRules(longest), end: bytes.Clone(end), buf: make([]byte, 0, device.MaxRaw)}
}

func (e *ended) push(chunk []byte, emit func(Frame)) {
	for len(chunk) > 0 {
		n := min(len(chunk), cap(e.buf)-len(e.buf))
		e.buf = append(e.buf, chunk[:n]...)
		chunk = chunk[n:]
		e.drain(emit)
	}
}

func (e *ended) silence(func(Frame)) {}

func (e *ended) tail() (Frame, bool) {
	tail, skipped := e.buf, e.skipping
	e.buf, e.skipping = e.buf[:0], false
	if skipped || len(tail) == 0 || e.empty(tail) {
		return Frame{}, false
	}
	if len(tail) > e.longest {
		return Frame{tail, device.ReasonTooLong}, true
	}
	return Frame{tail, device.ReasonTorn}, true
}

// drain leaves less than device.MaxRaw bytes in the buffer, so that Push always gets on.
func (e *ended) drain(emit func(Frame)) {
	rest := e.buf
	for {
		if e.skipping {
			drop, found := e.resync(rest)
			rest = rest[drop:]
			if !found {
				break
			}
			e.skipping = false
		}
		end := e.cut(rest)
		if end == 0 && len(rest) < device.MaxRaw {
			break
		}
		if end == 0 {
			// Reported now, not at its end: an endless line at a wrong baud rate would never be heard of.
			emit(Frame{rest, device.ReasonTooLong})
			e.skipping = true
			continue
		}
		if !e.empty(rest[:end]) {
			emit(Frame{rest[:end], e.fault(rest[:end], 0)})
		}
		rest = rest[end:]
	}
	e.buf = e.buf[:copy(e.buf, rest)]
}

// cut gives the length of the first frame in buf, its end included; 0: not yet complete.
func (e *ended) cut(buf []byte) int {
	if e.any {
		return bytes.IndexAny(buf, "\r\n") + 1
	}
	i := bytes.Index(buf, e.end)
	if i < 0 {
		return 0
	}
	return i + len(e.end)
}

// resync looks for the end of a frame that was too long. It gives the number of bytes that are of no more use, and
// whether the next frame begins after them.
func (e *ended) resync(buf []byte) (drop int, found bool) {
	if end := e.cut(buf); end > 0 {
		return end, true
	}
	return len(buf) - begun(buf, e.end), false
}

// empty says that a frame holds nothing at all and is to be passed over.
func (e *ended) empty(frame []byte) bool {
	return len(bytes.Trim(bytes.TrimSuffix(frame, e.end), "\r\n")) == 0
}

// begun is how many bytes at the end of buf may be the beginning of mark.
func begun(buf, mark []byte) int {
	// No mark is so long that it could fill the buffer with its beginning.
	for n := min(len(mark)-1, len(buf), device.MaxRaw-1); n > 0; n-- {
		if bytes.HasPrefix(mark, buf[len(buf)-n:]) {
			return n
		}
	}
	return 0
}
