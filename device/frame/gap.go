package frame

import "witnessmark/device"

// NewGap cuts frames of at most longest bytes that are ended by a silence of the line. The Framer has no clock: Silence
// must be called when the line has been silent for as long as the form asks.
func NewGap(longest int) *Framer {
	return framer(&gap{rules: newRules(longest), buf: make([]byte, 0, device.MaxRaw+1)})
}

type gap struct {
	rules
	buf  []byte // what came after the last silence, and after the last piece of a frame that is too long
	over bool   // a frame was too long and has been reported; the silence has not come yet
}

func (g *gap) push(chunk []byte, emit func(Frame)) {
	for len(chunk) > 0 {
		n := min(len(chunk), g.room()+1-len(g.buf))
		g.buf = append(g.buf, chunk[:n]...)
		chunk = chunk[n:]
		if len(g.buf) > g.room() {
			g.piece(emit)
		}
	}
}

// room is how many bytes may wait for the silence.
func (g *gap) room() int {
	if g.over {
		return device.MaxRaw
	}
	return g.longest
}

// piece hands on what came without a silence: once as too long, and from there on as noise.
func (g *gap) piece(emit func(Frame)) {
	n := g.room()
	emit(Frame{g.buf[:n], g.kind(device.ReasonTooLong)})
	g.buf, g.over = g.buf[:copy(g.buf, g.buf[n:])], true
}

func (g *gap) kind(fault string) string {
	if g.over {
		return device.ReasonNoise
	}
	return fault
}

func (g *gap) silence(emit func(Frame)) {
	if len(g.buf) > 0 {
		emit(Frame{g.buf, g.kind(g.fault(g.buf, 0))})
	}
	g.buf, g.over = g.buf[:0], false
}

func (g *gap) tail() (Frame, bool) {
	last := Frame{g.buf, g.kind(device.ReasonTorn)}
	g.buf, g.over = g.buf[:0], false
	return last, len(last.Bytes) > 0
}
