// Package frame cuts the bytes of a port into frames. However the bytes arrive in chunks, the same stream gives the
// same frames; noise, breaks and endless lines cost a bounded amount of memory and never the frame after them.
package frame

import (
	"bytes"

	"witnessmark/device"
)

// Frame is what stands between two ends of frames. With a Fault it is kept as evidence and never decoded.
type Frame struct {
	Bytes []byte // end of frame included; valid only until emit or the caller of End returns to the Framer
	Fault string // empty, or one of device.ReasonTorn, ReasonTooLong, ReasonNUL
}

// cutter knows one form of frame. Both methods must answer by the bytes alone, never by where a chunk ended:
// what they find in buf they must also find in any longer buf that begins with it.
type cutter interface {
	// cut gives the length of the first frame in buf, its end included; 0: not yet complete.
	cut(buf []byte) int
	// resync looks for the place where a frame may begin again after one that was too long. It gives the number of
	// bytes that are of no more use, and whether the frame begins after them.
	resync(buf []byte) (drop int, found bool)
	// empty says that a frame holds nothing at all and is to be passed over.
	empty(frame []byte) bool
}

// Framer cuts one stream of bytes. It belongs to one goroutine.
type Framer struct {
	form     cutter
	max      int
	buf      []byte // what came after the last frame; never more than device.MaxRaw
	skipping bool   // a frame was too long and has been reported; its end has not come yet
}

func newFramer(form cutter, longest int) *Framer {
	return &Framer{form: form, max: min(max(longest, 1), device.MaxRaw), buf: make([]byte, 0, device.MaxRaw)}
}

// Push takes the next bytes of the stream, in pieces of any size, and calls emit for every frame that they complete.
// A frame's bytes may be used inside emit only.
func (f *Framer) Push(chunk []byte, emit func(Frame)) {
	for len(chunk) > 0 {
		n := min(len(chunk), cap(f.buf)-len(f.buf))
		f.buf = append(f.buf, chunk[:n]...)
		chunk = chunk[n:]
		f.drain(emit)
	}
}

// End takes the end of the stream: the port is gone. A frame that was begun comes back as torn. Afterwards the Framer
// is ready for a new stream, and the frame is valid until that begins.
func (f *Framer) End() (Frame, bool) {
	tail, skipped := f.buf, f.skipping
	f.buf, f.skipping = f.buf[:0], false
	if skipped || len(tail) == 0 || f.form.empty(tail) {
		return Frame{}, false
	}
	if len(tail) > f.max {
		return Frame{tail, device.ReasonTooLong}, true
	}
	return Frame{tail, device.ReasonTorn}, true
}

// drain leaves less than device.MaxRaw bytes in the buffer, so that Push always gets on.
func (f *Framer) drain(emit func(Frame)) {
	rest := f.buf
	for {
		if f.skipping {
			drop, found := f.form.resync(rest)
			rest = rest[drop:]
			if !found {
				break
			}
			f.skipping = false
		}
		end := f.form.cut(rest)
		if end == 0 && len(rest) < device.MaxRaw {
			break
		}
		if end == 0 {
			// Reported now, not at its end: an endless line at a wrong baud rate would never be heard of.
			emit(Frame{rest, device.ReasonTooLong})
			f.skipping = true
			continue
		}
		if !f.form.empty(rest[:end]) {
			emit(Frame{rest[:end], f.fault(rest[:end])})
		}
		rest = rest[end:]
	}
	f.buf = f.buf[:copy(f.buf, rest)]
}

func (f *Framer) fault(b []byte) string {
	switch {
	case len(b) > f.max:
		return device.ReasonTooLong
	case bytes.IndexByte(b, 0) >= 0:
		return device.ReasonNUL
	}
	return ""
}
