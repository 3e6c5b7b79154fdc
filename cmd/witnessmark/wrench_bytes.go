package main

import (
	"fmt"
	"io"
	"strings"
	"time"
)

// bytesInRow are as many as fit, in hexadecimal and as text, into a line of 80 characters.
const bytesInRow = 16

// byteView shows bytes as they come:
//
//	0.000  23 31 30 34 32 3b 34 35  2e 32 3b 4e 6d 3b 33 31  #1042;45.2;Nm;31
//	0.016  2e 34 0d 0a                                       .4␍␊
//	       ── 2.31 s ──
//	2.342  23 31 30
//	       ── gone: the wrench was unplugged or hung up ──
type byteView struct {
	out   io.Writer
	pause time.Duration // a silence of so long is shown, and ends a row

	row   []byte
	began time.Duration // when the first byte of the row came
	last  time.Duration // when the last byte came
	any   bool          // something came
	err   error         // of the first write that failed
}

// took shows bytes that came at the same moment. Rows that are not full wait for flush.
func (v *byteView) took(at time.Duration, b []byte) {
	if silence := at - v.last; v.any && silence >= v.pause {
		v.flush()
		v.note(short(silence))
	}
	for _, c := range b {
		if len(v.row) == 0 {
			v.began = at
		}
		if v.row = append(v.row, c); len(v.row) == bytesInRow {
			v.flush()
		}
	}
	v.last, v.any = at, true
}

// flush shows a row that is not full.
func (v *byteView) flush() {
	if len(v.row) == 0 {
		return
	}
	var hex, text strings.Builder
	for i, c := range v.row {
		if i == bytesInRow/2 {
			hex.WriteByte(' ')
		}
		fmt.Fprintf(&hex, "%02x ", c)
		text.WriteRune(seen(c))
	}
	v.printf("%8.3f  %-*s %s\n", v.began.Seconds(), 3*bytesInRow+1, hex.String(), text.String())
	v.row = v.row[:0]
}

// note shows what happened between two bytes.
func (v *byteView) note(what string) { v.printf("          ── %s ──\n", what) }

func (v *byteView) printf(format string, args ...any) {
	if _, err := fmt.Fprintf(v.out, format, args...); err != nil && v.err == nil {
		v.err = err
	}
}

// seen is a byte as a character: control characters have pictures of their own (ISO 2047).
func seen(c byte) rune {
	switch {
	case c < ' ':
		return '\u2400' + rune(c)
	case c == 0x7f:
		return '\u2421'
	case c > 0x7f:
		return '·'
	}
	return rune(c)
}

// short writes a pause to three figures or so.
func short(d time.Duration) string {
	switch {
	case d < time.Second:
		return fmt.Sprintf("%d ms", d.Milliseconds())
	case d < time.Minute:
		return fmt.Sprintf("%.2f s", d.Seconds())
	}
	return d.Round(time.Second).String()
}
