package suggest

import (
	"math/bits"
	"slices"
	"time"

	"witnessmark/device/capture"
)

// chunk is what came in one piece, by the clock of the capture.
type chunk struct {
	at    time.Duration
	bytes []byte
}

// stream is one connection: what came from one plugging in to the next unplugging.
type stream []chunk

func streams(c capture.Capture) (all []stream) {
	var now stream
	for _, part := range c.Chunks {
		if !part.Gone {
			now = append(now, chunk{part.At, part.Bytes})
			continue
		}
		if now != nil {
			all, now = append(all, now), nil
		}
	}
	if now != nil {
		all = append(all, now)
	}
	return all
}

func (s stream) bytes() (all []byte) {
	for _, c := range s {
		all = append(all, c.bytes...)
	}
	return all
}

// at is when the byte with this index came.
func (s stream) at(index int) time.Duration {
	for _, c := range s {
		if index < len(c.bytes) {
			return c.at
		}
		index -= len(c.bytes)
	}
	return 0
}

// bursts joins chunks with less than the pause between them.
func (s stream) bursts(pause time.Duration) (all []sample) {
	for i, c := range s {
		if i > 0 && c.at-s[i-1].at < pause {
			last := &all[len(all)-1]
			last.bytes = append(last.bytes, c.bytes...)
			continue
		}
		all = append(all, sample{at: c.at, bytes: slices.Clone(c.bytes)})
	}
	return all
}

// pauses lists the silences between chunks, the shortest first.
func pauses(all []stream) (list []time.Duration) {
	for _, s := range all {
		for i := 1; i < len(s); i++ {
			list = append(list, max(s[i].at-s[i-1].at, time.Millisecond))
		}
	}
	slices.Sort(list)
	return list
}

// shortestSilence is what a profile may name as the end of a frame at least.
const shortestSilence = 5 * time.Millisecond

// silence is where the pauses between frames part from those within: within is the longest of the one sort, between
// the shortest of the other.
type silence struct{ within, between time.Duration }

// silences gives the places where the pauses grow most from one to the next longer one, the clearest first.
func silences(all []stream) (found []silence) {
	list := pauses(all)
	for i, p := range list {
		if p <= shortestSilence {
			continue
		}
		before := time.Duration(0)
		if i > 0 {
			before = list[i-1]
		}
		if p > before {
			found = append(found, silence{before, p})
		}
	}
	slices.SortStableFunc(found, func(a, b silence) int {
		return compareRatio(b.between, max(b.within, time.Millisecond), a.between, max(a.within, time.Millisecond))
	})
	return found[:min(len(found), 3)]
}

// compareRatio compares a/b with c/d.
func compareRatio(a, b, c, d time.Duration) int {
	x, y := float64(a)/float64(b), float64(c)/float64(d)
	switch {
	case x < y:
		return -1
	case x > y:
		return 1
	}
	return 0
}

// leastParity is how many bytes must agree: each does so by accident every other time.
const leastParity = 24

// parity is the parity of characters of 7 bits that were recorded as bytes of 8: empty if there is none.
func parity(all []stream) string {
	high, even, odd := false, true, true
	n := 0
	for _, s := range all {
		for _, b := range s.bytes() {
			n++
			high = high || b >= 0x80
			if bits.OnesCount8(b)%2 == 0 {
				odd = false
			} else {
				even = false
			}
		}
	}
	switch {
	case n < leastParity:
		return ""
	case high && even:
		return "even"
	case high && odd:
		return "odd"
	}
	return ""
}

// withoutParity takes the eighth bit away.
func withoutParity(all []stream) []stream {
	bare := make([]stream, len(all))
	for i, s := range all {
		for _, c := range s {
			b := slices.Clone(c.bytes)
			for k := range b {
				b[k] &= 0x7f
			}
			bare[i] = append(bare[i], chunk{c.at, b})
		}
	}
	return bare
}

// disturbed says which part of the bytes no text holds: NUL, or the eighth bit set.
func disturbed(all []stream) float64 {
	n, odd := 0, 0
	for _, s := range all {
		for _, b := range s.bytes() {
			n++
			if b == 0 || b >= 0x80 {
				odd++
			}
		}
	}
	return float64(odd) / float64(max(n, 1))
}
