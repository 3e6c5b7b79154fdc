package profile

import (
	"bytes"
	"fmt"

	"witnessmark/device"
	"witnessmark/device/checksum"
)

// checkNone is the kind of a profile whose frames are not guarded; the others are names of the package checksum.
const checkNone = "none"

// cover is which bytes the check is made of:
//
//	#1042;045.2;Nm*5C             <STX> 1042 045.2 <ETX> check
//	 <─ inside ──>                      <─ inside ─>               between start and mark, as NMEA 0183 has it
//	 <─ through ──>                     <─ through ────>           and the mark with them, as ISO 1745 has it
//	<─── line ───>                <──── line ──────>               all before the mark
//	   <range>                             <range>                 counted in bytes of the frame
//
// The start is that of the frame, or else the lead. Where the check stands behind the end of the frame, that end is
// the mark.
type cover string

const (
	coverInside  cover = "inside"
	coverThrough cover = "through"
	coverLine    cover = "line"
	coverRange   cover = "range"
)

// check guards a frame.
type check struct {
	sum    *checksum.Check // nil: there is none
	over   cover
	inner  int // where inside and through begin
	from   int // of the range; negative: from the end of the frame
	to     int // the same; 0: to the end
	mark   []byte
	hex    bool // as hexadecimal digits
	low    bool // low byte first
	placed bool // it stands at a place of its own
	at     int  // that place; negative: from the end of the frame
	behind bool // it stands behind the end of the frame
	mask   byte // a line of 7 bits carries 7 bits of the check
}

// width is how many bytes of the frame it takes.
func (c *check) width() int {
	switch {
	case c.sum == nil:
		return 0
	case c.hex:
		return 2 * c.sum.Size()
	}
	return c.sum.Size()
}

// guard is where in one frame the check stands, what it covers, and where the line begins and ends beside it.
type guard struct {
	at         int
	from, to   int // covered
	head, tail int // the line without the check
}

// place finds the check in a frame whose line stands from head to tail, with a lead of so many bytes.
func (c *check) place(f []byte, head, tail, lead int) (g guard, why *refusal) {
	g = guard{head: head, tail: tail}
	n, width := len(f), c.width()
	mark := 0
	switch {
	case c.sum == nil:
		return g, nil
	case c.placed:
		if g.at = c.at; c.at < 0 {
			g.at += n
		}
		switch {
		case g.at == head:
			g.head += width
		case g.at+width == tail:
			g.tail = g.at
		}
	case c.behind:
		g.at, mark = n-width, n-width-tail
	default:
		g.at = tail - width
		g.tail, mark = g.at-len(c.mark), len(c.mark)
	}
	if g.at < 0 || g.at+width > n || g.tail < g.head+lead {
		return g, badForm("found no check in its place, expected %s", c.shape())
	}
	g.from, g.to = c.covered(n, g.at, mark)
	if g.from < 0 || g.to > n || g.from >= g.to {
		return g, badForm("found %d bytes, expected more: the check covers what is not there", n)
	}
	return g, nil
}

// covered gives the bytes that the check is made of; before it stands a mark of so many bytes.
func (c *check) covered(n, at, mark int) (from, to int) {
	switch c.over {
	case coverRange:
		if to = c.to; to <= 0 {
			to += n
		}
		return fromEnd(c.from, n), to
	case coverThrough:
		return c.inner, at
	case coverInside:
		return c.inner, at - mark
	}
	return 0, at - mark
}

// fromEnd counts a negative offset from the end of n bytes.
func fromEnd(at, n int) int {
	if at < 0 {
		return at + n
	}
	return at
}

// strip verifies the check of a frame and gives the line without it.
func (c *check) strip(f []byte, head, tail, lead int) (from, to int, why *refusal) {
	if c.sum == nil {
		return head, tail, nil
	}
	g, why := c.place(f, head, tail, lead)
	if why != nil {
		return 0, 0, why
	}
	if !c.placed && !c.behind && !bytes.HasPrefix(f[g.tail:], c.mark) {
		return 0, 0, badForm("found no check at the end of the line, expected %s", c.shape())
	}
	sent, ok := c.sent(f[g.at : g.at+c.width()])
	if !ok {
		return 0, 0, badForm("found check %q, expected %s", string(f[g.at:g.at+c.width()]), c.shape())
	}
	if made := c.made(f[g.from:g.to]); sent != made {
		size := 2 * c.sum.Size()
		return 0, 0, &refusal{reason: device.ReasonChecksum, detail: fmt.Sprintf("found check %0*X, expected %0*X", size, sent, size, made)}
	}
	return g.head, g.tail, nil
}

func (c *check) shape() string {
	kind := "the byte of its check"
	switch n := c.sum.Size(); {
	case c.hex && n == 1:
		kind = "two hexadecimal digits"
	case c.hex:
		kind = fmt.Sprintf("%d hexadecimal digits", 2*n)
	case n > 1:
		kind = fmt.Sprintf("the %d bytes of its check", n)
	}
	if len(c.mark) > 0 {
		return fmt.Sprintf("%q and %s", string(c.mark), kind)
	}
	return kind
}

func (c *check) made(b []byte) uint32 {
	if c.mask != 0 {
		return c.sum.Sum(b) & uint32(c.mask)
	}
	return c.sum.Sum(b)
}

// sent reads the check as it stands in the frame.
func (c *check) sent(b []byte) (v uint32, ok bool) {
	size := c.sum.Size()
	for i := range size {
		one := byte(0)
		if c.hex {
			high, low := hexDigit(b[2*i]), hexDigit(b[2*i+1])
			if high > 15 || low > 15 {
				return 0, false
			}
			one = high<<4 | low
		} else {
			one = b[i]
		}
		if c.low {
			v |= uint32(one) << (8 * i)
		} else {
			v = v<<8 | uint32(one)
		}
	}
	return v, true
}

func hexDigit(c byte) byte {
	switch {
	case c >= '0' && c <= '9':
		return c - '0'
	case c >= 'A' && c <= 'F':
		return c - 'A' + 10
	case c >= 'a' && c <= 'f':
		return c - 'a' + 10
	}
	return 0xff
}

// seal is the inverse of strip: it writes the check into a frame that has room for it.
func (c *check) seal(f []byte, head, tail, lead int) bool {
	if c.sum == nil {
		return true
	}
	g, why := c.place(f, head, tail, lead)
	if why != nil {
		return false
	}
	if !c.placed && !c.behind {
		copy(f[g.tail:], c.mark)
	}
	v, size := c.made(f[g.from:g.to]), c.sum.Size()
	for i := range size {
		shift := 8 * (size - 1 - i)
		if c.low {
			shift = 8 * i
		}
		one := byte(v >> shift)
		if c.hex {
			const digits = "0123456789ABCDEF"
			f[g.at+2*i], f[g.at+2*i+1] = digits[one>>4], digits[one&15]
		} else {
			f[g.at+i] = one
		}
	}
	return true
}
