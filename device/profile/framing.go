package profile

import (
	"bytes"
	"time"

	"witnessmark/device/frame"
)

// framing is how a frame is drawn, and where in it the line stands, which is what the fields are read from:
//
//	ended:    line end                   the end is CR, LF, CRLF or other text
//	between:  start line end after       after: bytes of the check
//	fixed:    start line                 so many bytes in all
//	counted:  start … field … line       a field says how many bytes
//	gap:      line                       then nothing for a while
type framing struct {
	form    frameForm
	line    frame.Ending // of a line
	start   []byte
	end     []byte // of a line: what we write
	after   int
	length  int
	count   frame.Count
	gap     time.Duration
	longest int
}

type frameForm int

const (
	formLine frameForm = iota
	formEnded
	formBetween
	formFixed
	formCounted
	formGap
)

// framer cuts such frames. fits tells a good frame where the stream does not say for sure where one begins; noNUL says
// that a NUL in a frame is a fault.
func (g *framing) framer(fits func([]byte) bool, noNUL bool) *frame.Framer {
	f := g.cutter()
	if g.form == formLine && !noNUL && g.line != frame.AnyEnd {
		f = frame.NewEnded(g.end, g.longest)
	}
	if noNUL {
		f = f.Text()
	}
	return f.Checked(fits)
}

func (g *framing) cutter() *frame.Framer {
	switch g.form {
	case formEnded:
		return frame.NewEnded(g.end, g.longest)
	case formBetween:
		return frame.NewBetween(g.start, g.end, g.after, g.longest)
	case formFixed:
		return frame.NewFixed(g.start, g.length)
	case formCounted:
		return frame.NewCounted(g.start, g.count, g.longest)
	case formGap:
		return frame.NewGap(g.longest)
	}
	return frame.NewLine(g.line, g.longest)
}

// cut finds the line in a frame. exact: the bytes before the end may be a check, and only one end is taken off.
func (g *framing) cut(f []byte, exact bool) (from, to int, why *refusal) {
	if !bytes.HasPrefix(f, g.start) {
		return 0, 0, badForm("found a frame that begins %s, expected %s", wireText(f[:min(len(f), len(g.start))]), wireText(g.start))
	}
	from, to = len(g.start), len(f)
	switch g.form {
	case formLine:
		to = g.lineEnd(f, exact)
	case formEnded, formBetween:
		to -= len(g.end) + g.after
		if to < from || !bytes.HasPrefix(f[to:], g.end) {
			return 0, 0, badForm("found no end of frame at its place, expected %s", wireText(g.end))
		}
	case formFixed:
		if len(f) != g.length {
			return 0, 0, badForm("found %d bytes, expected %d", len(f), g.length)
		}
	case formCounted:
		if n := g.counted(f); n != len(f) {
			return 0, 0, badForm("found %d bytes, expected the %d that the frame itself says", len(f), n)
		}
		from = g.head()
	}
	return from, to, nil
}

func (g *framing) lineEnd(f []byte, exact bool) int {
	if !exact {
		n := len(f)
		for n > 0 && (f[n-1] == '\r' || f[n-1] == '\n') {
			n--
		}
		return n
	}
	n := len(bytes.TrimSuffix(f, g.end))
	if n == len(f) && n > 0 && g.line == frame.AnyEnd && (f[n-1] == '\r' || f[n-1] == '\n') {
		n--
	}
	return n
}

// counted is how long the frame says that it is; 0: it is too short to say it.
func (g *framing) counted(f []byte) int {
	at := g.count.At
	if len(f) < at+g.count.Size {
		return 0
	}
	n := int(f[at])
	switch {
	case g.count.Size == 2 && g.count.Little:
		n |= int(f[at+1]) << 8
	case g.count.Size == 2:
		n = n<<8 | int(f[at+1])
	}
	return n + g.count.Plus
}

// head is where the line begins.
func (g *framing) head() int {
	if g.form == formCounted && g.count.At == len(g.start) {
		return len(g.start) + g.count.Size
	}
	return len(g.start)
}

// wrap makes a frame of a line, with room for what stands between line and end; nil: no frame can be that long. It is
// the inverse of cut.
func (g *framing) wrap(line []byte) []byte {
	f := make([]byte, g.head())
	copy(f, g.start)
	f = append(f, line...)
	f = append(f, g.end...)
	f = append(f, make([]byte, g.after)...)
	if len(f) > g.longest {
		return nil
	}
	if g.form == formCounted {
		g.setCount(f)
	}
	return f
}

// setCount writes how long the frame is; what the field cannot say, cut does not find there.
func (g *framing) setCount(f []byte) {
	n, at := len(f)-g.count.Plus, g.count.At
	switch {
	case len(f) < at+g.count.Size:
	case g.count.Size == 1:
		f[at] = byte(n)
	case g.count.Little:
		f[at], f[at+1] = byte(n), byte(n>>8)
	default:
		f[at], f[at+1] = byte(n>>8), byte(n)
	}
}
