package suggest

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"slices"
	"time"

	"witnessmark/device/sketch"
)

// ended finds a byte, or two, other than CR and LF with which most bursts end and that stand nowhere else.
func ended(all []stream, bursts []sample) (cut, bool) {
	if len(bursts) < 2 {
		return cut{}, false
	}
	end, n := usualEnd(bursts, 2)
	if n*5 < len(bursts)*4 {
		end, n = usualEnd(bursts, 1)
	}
	for len(end) > 0 && (alphanumeric(end[0]) || end[0] == ' ') {
		end = end[1:]
	}
	if n*2 < len(bursts) || len(end) == 0 || isEnd(end[len(end)-1]) || end[len(end)-1] == 0 {
		return cut{}, false
	}
	c := cut{end: end, frame: "end: " + quoted(end), told: "a frame ends with " + spelt(end)}
	c.samples = split(all, func(rest []byte) (int, int) { return 0, ending(rest, end) })
	if len(c.samples) > 2*len(bursts) { // it stands inside the frames too
		return cut{}, false
	}
	return c, true
}

// usualEnd is the last bytes that the most bursts have, and how many have them.
func usualEnd(bursts []sample, size int) (end []byte, most int) {
	seen := map[string]int{}
	for _, b := range bursts {
		if len(b.bytes) < size {
			continue
		}
		tail := b.bytes[len(b.bytes)-size:]
		if seen[string(tail)]++; seen[string(tail)] > most {
			end, most = tail, seen[string(tail)]
		}
	}
	return end, most
}

func commonStart(samples []sample) []byte {
	if len(samples) == 0 {
		return nil
	}
	start := samples[0].bytes
	for _, s := range samples[1:] {
		n := 0
		for n < len(start) && n < len(s.bytes) && start[n] == s.bytes[n] {
			n++
		}
		start = start[:n]
	}
	return start
}

func alphanumeric(c byte) bool {
	return c >= '0' && c <= '9' || c >= 'A' && c <= 'Z' || c >= 'a' && c <= 'z'
}

// startOf is the bytes by which frames of a binary form can be found again: one or two with which most begin.
func startOf(samples []sample) []byte {
	first, begun := mostBegin(samples, nil)
	if begun*5 < len(samples)*3 || first == 0 {
		return nil
	}
	second, both := mostBegin(samples, []byte{first})
	if both*10 < begun*9 || second < 0x20 {
		return []byte{first}
	}
	return []byte{first, second}
}

// mostBegin is the byte that stands most often behind a beginning, and how often.
func mostBegin(samples []sample, beginning []byte) (best byte, most int) {
	var seen [256]int
	for _, s := range samples {
		if len(s.bytes) > len(beginning) && bytes.HasPrefix(s.bytes, beginning) {
			seen[s.bytes[len(beginning)]]++
		}
	}
	for b, n := range seen {
		if n > most {
			best, most = byte(b), n
		}
	}
	return best, most
}

// usual is the bursts that have the length which most have.
func usual(bursts []sample) (same []sample, length int) {
	seen := map[int]int{}
	for _, b := range bursts {
		if n := len(b.bytes); n >= leastBinary && (seen[n]+1 > seen[length] || seen[n]+1 == seen[length] && n < length) {
			length = n
		}
		seen[len(b.bytes)]++
	}
	for _, b := range bursts {
		if len(b.bytes) == length {
			same = append(same, b)
		}
	}
	return same, length
}

// leastBinary is the shortest frame that holds a torque and anything to find it by.
const leastBinary = 4

// fixed finds frames of one length that begin with the same bytes.
func fixed(all []stream, bursts []sample) (cut, bool) {
	same, length := usual(bursts)
	if len(same)*2 < len(bursts) || length < leastBinary {
		return cut{}, false
	}
	return fixedAs(all, startOf(same), length)
}

func fixedAs(all []stream, start []byte, length int) (cut, bool) {
	if len(start) == 0 {
		return cut{}, false // nothing to find the next frame by after one that was torn: a gap is safer
	}
	c := cut{start: start, frame: fmt.Sprintf("start: %s, length: %d", quoted(start), length)}
	c.told = fmt.Sprintf("a frame begins with %s and has %d bytes, always", spelt(start), length)
	c.next = func(rest []byte) (int, int) {
		skip := bytes.Index(rest, start)
		if skip < 0 || skip+length > len(rest) {
			return 0, 0
		}
		return skip, length
	}
	c.samples = split(all, c.next)
	return c, true
}

// unbroken finds frames of one length that came without a pause.
func unbroken(all []stream) (cut, bool) {
	if len(all) != 1 {
		return cut{}, false
	}
	b := all[0].bytes()
	for length := leastBinary; length <= len(b)/3; length++ {
		var same []sample
		for at := 0; len(b)%length == 0 && at < len(b); at += length {
			same = append(same, sample{bytes: b[at : at+length]})
		}
		if start := commonStart(same); len(start) >= 2 && start[0] != 0 && start[0] != start[1] {
			return fixedAs(all, start[:2], length)
		}
	}
	return cut{}, false
}

// counted finds a field that holds the length of the frame, give or take a fixed number.
func counted(all []stream, bursts []sample) (cut, bool) {
	start := startOf(bursts)
	if len(start) == 0 {
		return cut{}, false
	}
	for _, size := range []int{1, 2} {
		for _, little := range []bool{false, true} {
			for at := 1; at <= 4 && (size == 2 || !little); at++ {
				if plus, ok := lengthField(bursts, at, size, little); ok {
					return countedAs(all, start[:min(len(start), at)], at, size, little, plus), true
				}
			}
		}
	}
	return cut{}, false
}

func fieldOf(b []byte, at, size int, little bool) int {
	switch {
	case size == 1:
		return int(b[at])
	case little:
		return int(binary.LittleEndian.Uint16(b[at:]))
	}
	return int(binary.BigEndian.Uint16(b[at:]))
}

// lengthField says whether the field tells the length of most bursts; lengths that never change tell nothing.
func lengthField(bursts []sample, at, size int, little bool) (plus int, ok bool) {
	fits := map[int]int{}      // by what is not counted
	lengths := map[int][]int{} // the different ones
	for _, b := range bursts {
		if len(b.bytes) < at+size+1 {
			continue
		}
		p := len(b.bytes) - fieldOf(b.bytes, at, size, little)
		if p < 0 || p > mostUncounted {
			continue
		}
		fits[p]++
		if !slices.Contains(lengths[p], len(b.bytes)) {
			lengths[p] = append(lengths[p], len(b.bytes))
		}
	}
	for p := range mostUncounted + 1 {
		if fits[p] > fits[plus] {
			plus = p
		}
	}
	return plus, fits[plus]*5 >= len(bursts)*3 && len(lengths[plus]) > 1
}

// mostUncounted bounds the bytes of a frame that its length does not count.
const mostUncounted = 16

func countedAs(all []stream, start []byte, at, size int, little bool, plus int) cut {
	c := cut{start: start, counted: true, length: column{from: at, to: at + size}}
	if at == len(start) {
		c.head = at + size
	}
	as, order := fmt.Sprintf("u%d", 8*size), ""
	if size == 2 {
		order = ", order: big"
		if little {
			order = ", order: little"
		}
	}
	c.frame = fmt.Sprintf("start: %s, length: {at: %d, as: %s%s, plus: %d}", quoted(start), at, as, order, plus)
	c.told = fmt.Sprintf("a frame begins with %s; byte %d says how long it is, %d not counted", spelt(start), at, plus)
	c.next = func(rest []byte) (int, int) {
		for skip := bytes.Index(rest, start); skip >= 0 && skip+at+size <= len(rest); {
			if n := fieldOf(rest[skip:], at, size, little) + plus; n > at+size && skip+n <= len(rest) {
				return skip, n
			}
			more := bytes.Index(rest[skip+1:], start)
			if more < 0 {
				break
			}
			skip += 1 + more
		}
		return 0, 0
	}
	c.samples = split(all, c.next)
	return c
}

// gapped takes every burst as a frame.
func gapped(bursts []sample, quiet silence) cut {
	gap := between5And1000(quiet)
	c := cut{gapped: true, samples: bursts, frame: fmt.Sprintf("gap: %d ms", gap.Milliseconds())}
	c.told = fmt.Sprintf("a frame ends when the line falls silent: the longest pause within a frame was %s, the shortest between two %s",
		millis(quiet.within), millis(quiet.between))
	c.unsure = []string{fmt.Sprintf("The frames have no end that could be seen but a silence. %s is between the pauses of this capture "+
		"(%s within a frame, %s between two); an adapter or a network may make pauses of its own, so look in the manual "+
		"for what ends a frame.", millis(gap), millis(quiet.within), millis(quiet.between))}
	return c
}

func millis(d time.Duration) string { return fmt.Sprintf("%d ms", d.Milliseconds()) }

// between5And1000 is as far from the pauses within a frame as from those between frames, within what a profile may say.
func between5And1000(quiet silence) time.Duration {
	mean := math.Sqrt(float64(max(quiet.within, time.Millisecond)) * float64(quiet.between))
	return min(max(time.Duration(mean).Round(time.Millisecond), shortestSilence), time.Second)
}

// spelt is bytes as people read them.
func spelt(b []byte) string {
	text := ""
	for i, c := range b {
		if i > 0 {
			text += " "
		}
		text += sketch.Name(c)
	}
	return text
}
