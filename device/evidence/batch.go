package evidence

import (
	"fmt"
	"time"

	"witnessmark/device/capture"
)

// piece is a chunk, or the place of chunks that were left out.
type piece struct {
	at    time.Time
	bytes int  // that came, or that were left out
	gone  bool // the port went away
	out   bool // left out
	gones int  // left out: how often the port went away
}

// batch is pieces in the order in which they came, of which the first ones may be done with.
type batch struct {
	pieces []piece
	bytes  []byte // of the pieces that were not left out, one behind another
	next   int    // the first piece that is not done with
	from   int    // where its bytes begin
}

// emptied is a batch in the memory of this one.
func (b batch) emptied() batch { return batch{pieces: b.pieces[:0], bytes: b.bytes[:0]} }

func (b *batch) size() int { return len(b.bytes) + weight*len(b.pieces) }

func (b *batch) add(p piece, bytes []byte) {
	b.pieces = append(b.pieces, p)
	b.bytes = append(b.bytes, bytes...)
}

// leaveOut notes that there was no room for p.
func (b *batch) leaveOut(p piece) {
	if n := len(b.pieces); n == 0 || !b.pieces[n-1].out {
		b.pieces = append(b.pieces, piece{at: p.at, out: true})
	}
	out := &b.pieces[len(b.pieces)-1]
	out.bytes += p.bytes
	if p.gone {
		out.gones++
	}
}

func (b *batch) more() bool { return b.next < len(b.pieces) }

func (b *batch) first() piece { return b.pieces[b.next] }

// line writes the first piece as a line of a capture file that began so long before it.
func (b *batch) line(text []byte, at time.Duration) []byte {
	p := b.first()
	if !p.out {
		return capture.Chunk{At: at, Bytes: b.bytes[b.from : b.from+p.bytes], Gone: p.gone}.Append(text)
	}
	text = fmt.Appendf(text, "# left out: %d bytes", p.bytes)
	switch {
	case p.gones == 1:
		text = append(text, ", and 1 time that the port went away"...)
	case p.gones > 1:
		text = fmt.Appendf(text, ", and %d times that the port went away", p.gones)
	}
	return append(text, ": the disk was full or too slow\n"...)
}

// done goes on to the next piece.
func (b *batch) done() {
	if p := b.first(); !p.out {
		b.from += p.bytes
	}
	b.next++
}

// lost counts the bytes that are not done with and were not left out before.
func (b *batch) lost() int { return len(b.bytes) - b.from }
