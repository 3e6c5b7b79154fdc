package suggest

import (
	"bytes"
	"encoding/hex"
	"math"
	"slices"

	"witnessmark/device/checksum"
)

// seal is a check that stands in the frames: which one, over which bytes, and where it is sent. The zero seal is none.
//
//	#1042;45.2;Nm*5C<CR><LF>
//	 <─covered───>   from 1, to -5
//	             <>  at -4, two digits; the mark before it is *
type seal struct {
	check *checksum.Check
	from  int // first byte covered
	to    int // behind the last byte covered, counted from the end of the frame: negative or 0
	at    int // first byte of the check, counted from the end of the frame
	width int // bytes that it takes in the frame
	hex   bool
	low   bool // the low byte comes first
	mark  string

	sevens bool // of the check only the seven bits came that the line has
}

func (s seal) none() bool { return s.check == nil }

// verdict is what the frames say of a seal.
type verdict struct {
	seal
	fits   int     // distinct frames that it fits
	of     int     // distinct frames that could have it
	chance float64 // decimal logarithm of the chance that one of all that were tried fits so many frames by accident
	others []string
}

// Limits of what is believed.
const (
	likely     = -2.0 // a check that fits by accident more often than once in a hundred captures is none
	leastFits  = 2
	firstFew   = 12 // frames of which enough must fit before all are looked at
	mostLead   = 4  // bytes at the beginning that a check may leave out
	mostBehind = 2  // bytes behind the check in frames without an end
)

// findSeal tries every check over every plausible range. None is found if the frames could not have refuted it.
func findSeal(c cut, sevens bool) verdict {
	frames := distinct(c.samples)
	trials := 0
	var found []verdict
	for _, s := range places(c, frames) {
		s.sevens = sevens && !s.hex
		for _, name := range checksum.Names() {
			check, _ := checksum.Named(name)
			if check.Size() != s.size() {
				continue
			}
			for _, low := range []bool{false, true}[:min(check.Size(), 2)] {
				s.check, s.low = check, low
				trials++
				if few := judge(s, frames[:min(len(frames), firstFew)]); few.fits*5 < few.of*2 {
					continue
				}
				if v := judge(s, frames); v.fits >= leastFits {
					found = append(found, v)
				}
			}
		}
	}
	best := verdict{}
	for _, v := range found {
		v.chance = math.Log10(float64(trials)) + choose(v.of, v.fits) - float64(v.fits*8*v.size())*math.Log10(2)
		if v.chance > likely || v.fits*5 < v.of*2 {
			continue
		}
		switch {
		case best.none() || v.chance < best.chance-0.5:
			v.others = nil
			best = v
		case v.fits == best.fits && v.size() == best.size() && !alias(v.Name(), best.Name()) && !slices.Contains(best.others, v.Name()):
			best.others = append(best.others, v.Name())
		}
	}
	return best
}

func (s seal) Name() string { return s.check.Name() }

// alias says whether two names mean the same check.
func alias(a, b string) bool {
	negated := []string{"sum-negated", "lrc"}
	return a == b || slices.Contains(negated, a) && slices.Contains(negated, b)
}

// size is how many bytes the check itself has.
func (s seal) size() int {
	if s.hex {
		return s.width / 2
	}
	return s.width
}

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

// fit says whether the check of one frame is right.
func (s seal) fit(f []byte) bool {
	sent, ok := s.sent(f)
	return ok && sent == s.sum(f[s.from:len(f)+s.to])
}

func (s seal) sum(covered []byte) uint32 {
	v := s.check.Sum(covered)
	if s.sevens {
		return v & 0x7f
	}
	return v
}

// sent is the check as the frame has it; false: the frame has none, or nothing that it covers.
func (s seal) sent(f []byte) (uint32, bool) {
	if len(f)+s.to <= s.from || len(f)+s.at < 0 {
		return 0, false
	}
	b := f[len(f)+s.at : len(f)+s.at+s.width]
	if s.mark != "" && !bytes.HasSuffix(f[:len(f)+s.at], []byte(s.mark)) {
		return 0, false
	}
	if s.hex {
		if b, ok := digits(f, s.at, s.width); ok {
			return s.number(b), true
		}
		return 0, false
	}
	return s.number(b), true
}

func (s seal) number(b []byte) (v uint32) {
	for i := range b {
		k := i
		if s.low {
			k = len(b) - 1 - i
		}
		v = v<<8 | uint32(b[k])
	}
	return v
}

// judge counts the frames that fit. Frames whose checks are all the same refute nothing.
func judge(s seal, frames [][]byte) verdict {
	v := verdict{seal: s}
	sums := map[uint32]bool{}
	covered := map[string]bool{}
	for _, f := range frames {
		sent, ok := s.sent(f)
		if !ok {
			continue
		}
		v.of++
		if text := string(f[s.from : len(f)+s.to]); sent == s.sum([]byte(text)) && !covered[text] {
			covered[text], sums[sent] = true, true
			v.fits++
		}
	}
	if len(sums) < leastFits {
		v.fits = 0
	}
	return v
}

// choose is the decimal logarithm of the ways to choose k of n.
func choose(n, k int) float64 {
	a, _ := math.Lgamma(float64(n) + 1)
	b, _ := math.Lgamma(float64(k) + 1)
	c, _ := math.Lgamma(float64(n-k) + 1)
	return (a - b - c) / math.Ln10
}
