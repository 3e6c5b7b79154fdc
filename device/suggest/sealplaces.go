package suggest

import (
	"encoding/hex"
	"slices"
)

// distinct leaves out frames that came before: a wrench that sends again proves nothing twice.
func distinct(samples []sample) (frames [][]byte) {
	seen := map[string]bool{}
	for _, s := range samples {
		if !seen[string(s.bytes)] {
			seen[string(s.bytes)] = true
			frames = append(frames, s.bytes)
		}
	}
	return frames
}

// places gives every place where a check may stand and every range that it may cover, the usual ones first.
func places(c cut, frames [][]byte) (all []seal) {
	tails := []int{len(c.end)}
	switch {
	case c.any:
		tails = []int{1}
	case c.after > 0:
		tails = []int{0}
	case len(c.end) == 0:
		tails = []int{0, 1, mostBehind}
	}
	for _, tail := range tails {
		if len(c.end) == 0 && !c.any && !constantAt(frames, -tail, tail) {
			continue
		}
		for _, width := range []int{2, 4, 8, 1} {
			for _, asHex := range []bool{true, false} {
				if asHex && width == 1 || !asHex && width == 8 || c.after > 0 && width != c.after {
					continue
				}
				all = append(all, ranges(c, frames, seal{at: -tail - width, width: width, hex: asHex})...)
			}
		}
	}
	return all
}

// ranges gives the ranges that a check at a place may cover.
func ranges(c cut, frames [][]byte, s seal) (all []seal) {
	marks := []string{""}
	if c.after == 0 && textBefore(frames, len(c.start), s.at) {
		marks = append(marksBefore(frames, s.at), "")
	}
	if s.hex && !hexAt(frames, s.at, s.width) {
		return nil
	}
	for _, mark := range marks {
		s.mark = mark
		ends := []int{s.at - len(mark)}
		if mark != "" {
			ends = append(ends, s.at)
		}
		if c.after > 0 {
			ends = append(ends, s.at-len(c.end))
		}
		for _, to := range ends {
			for from := range mostLead + 1 {
				s.from, s.to = from, to
				all = append(all, s)
			}
		}
	}
	return all
}

// longestMark bounds what may stand before a check to announce it, such as " SUM=".
const longestMark = 8

// marksBefore gives what may be the mark before a check: it is always the same, and begins and ends with no letter or
// digit.
func marksBefore(frames [][]byte, at int) (marks []string) {
	mark := ""
	for n := 1; n <= longestMark; n++ {
		b, ok := byteAt(frames, at-n)
		if !ok || n == 1 && alphanumeric(b) {
			break
		}
		if mark = string(b) + mark; !alphanumeric(b) {
			marks = append(marks, mark)
		}
	}
	return marks
}

// enough says whether so many of the frames are worth a look: beside readings there may be more lines of other sorts.
func enough(n int, frames [][]byte) bool { return n >= leastFits && n*10 >= len(frames)*3 }

// byteAt is the byte that most frames have at a place counted from the end, if enough have it.
func byteAt(frames [][]byte, at int) (byte, bool) {
	seen := map[byte]int{}
	for _, f := range frames {
		if len(f)+at >= 0 {
			seen[f[len(f)+at]]++
		}
	}
	best, most := byte(0), 0
	for b := range 256 {
		if n := seen[byte(b)]; n > most {
			best, most = byte(b), n
		}
	}
	return best, enough(most, frames)
}

// textBefore says whether enough frames are text up to a place: marks stand in text only.
func textBefore(frames [][]byte, start, at int) bool {
	n := 0
	for _, f := range frames {
		if start < len(f)+at && isText(f[start:len(f)+at]) {
			n++
		}
	}
	return enough(n, frames)
}

func constantAt(frames [][]byte, at, width int) bool {
	for i := range width {
		if b, ok := byteAt(frames, at+i); !ok || slices.ContainsFunc(frames, func(f []byte) bool { return len(f)+at < 0 || f[len(f)+at+i] != b }) {
			return false
		}
	}
	return true
}

// hexAt says whether enough frames have hexadecimal digits at a place.
func hexAt(frames [][]byte, at, width int) bool {
	n := 0
	for _, f := range frames {
		if _, ok := digits(f, at, width); ok {
			n++
		}
	}
	return enough(n, frames)
}

func digits(f []byte, at, width int) ([]byte, bool) {
	if len(f)+at < 0 {
		return nil, false
	}
	b, err := hex.DecodeString(string(f[len(f)+at : len(f)+at+width]))
	return b, err == nil
}
