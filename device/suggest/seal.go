package suggest

import (
	"bytes"
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
