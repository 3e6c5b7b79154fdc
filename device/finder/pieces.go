package finder

import "time"

// pieces are bytes that wait for a reader, with the pauses between them that end frames.
type pieces struct {
	bytes  []byte
	pauses []int // before the byte with this index there was one; rising
}

// pause notes that what is here is over.
func (p *pieces) pause() {
	if n := len(p.bytes); n > 0 && (len(p.pauses) == 0 || p.pauses[len(p.pauses)-1] < n) {
		p.pauses = append(p.pauses, n)
	}
}

// drop forgets the first n bytes, and the pauses before and at their end.
func (p *pieces) drop(n int) {
	p.bytes = p.bytes[:copy(p.bytes, p.bytes[n:])]
	later := p.pauses[:0]
	for _, at := range p.pauses {
		if at > n {
			later = append(later, at-n)
		}
	}
	p.pauses = later
}

// cut forgets the last n bytes, as far as there are so many, and the pauses after what is left.
func (p *pieces) cut(n int) {
	p.bytes = p.bytes[:len(p.bytes)-min(n, len(p.bytes))]
	for len(p.pauses) > 0 && p.pauses[len(p.pauses)-1] > len(p.bytes) {
		p.pauses = p.pauses[:len(p.pauses)-1]
	}
}

// add puts what came later behind.
func (p *pieces) add(later pieces) {
	for _, at := range later.pauses {
		p.pauses = append(p.pauses, len(p.bytes)+at)
	}
	p.bytes = append(p.bytes, later.bytes...)
}

// next is how many bytes come before the next pause, and whether one comes after them.
func (p *pieces) next() (n int, pause bool) {
	if len(p.pauses) > 0 {
		return p.pauses[0], true
	}
	return len(p.bytes), false
}

// playFor is how long a pause is played to a reader that ends frames by it: long enough to be one however busy the
// computer is.
func playFor(gap time.Duration) time.Duration { return 2*gap + 20*time.Millisecond }
