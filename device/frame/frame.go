// Package frame cuts the bytes of a port into frames, in the forms in which instruments send them:
//
//	NewLine     #1042;45.2;Nm<CR><LF>                 ended by CR, LF or both
//	NewEnded    T45.2;A31.4;;                         ended by any other bytes
//	NewBetween  <STX>T45.2<ETX>5B                     between start and end, check bytes behind the end
//	NewFixed    A5 5A 00 01 00 00 11 A8 … 7C 90       of fixed length
//	NewCounted  A5 09 01 00 00 11 A8 … 7C 90          with its length in a field
//	NewGap      01 03 04 … 90 7C ─── silence ───      ended by a pause
//
// However the bytes arrive in chunks, the same stream gives the same frames. Noise, breaks and endless frames cost a
// bounded amount of memory and never the frame after them.
package frame

import (
	"bytes"

	"witnessmark/device"
)

// Frame is what stands between two ends of frames. With a Fault it is kept as evidence and never decoded.
type Frame struct {
	Bytes []byte // start and end of frame included; valid only until emit or the caller of End returns to the Framer
	Fault string // empty, or one of device.ReasonTorn, ReasonTooLong, ReasonNUL, ReasonNoise
}

// Framer cuts one stream of bytes. It belongs to one goroutine.
type Framer struct {
	form form
	*rules
}

func framer(f form) *Framer { return &Framer{f, f.ask()} }

// form is one form of frame. It must answer by the bytes (and the silences, where its frames end by one) alone, never
// by where a chunk ended. Its methods keep what those of Framer promise.
type form interface {
	push(chunk []byte, emit func(Frame))
	silence(emit func(Frame))
	tail() (Frame, bool)
	ask() *rules
}

// rules are what a profile can ask for beside the form.
type rules struct {
	longest int
	text    bool
	fits    func(frame []byte) bool
}

func (r *rules) ask() *rules { return r }

func newRules(longest int) rules { return rules{longest: min(max(longest, 1), device.MaxRaw)} }

// Push takes the next bytes of the stream, in pieces of any size, and calls emit for every frame that they complete.
// A frame's bytes may be used inside emit only.
func (f *Framer) Push(chunk []byte, emit func(Frame)) { f.form.push(chunk, emit) }

// Silence takes note that the line was silent. In the form of NewGap that ends a frame. In a form with a length field
// and a check it ends the wait for the rest of a frame that never began, if a whole one has come inside it meanwhile:
// a false start can ask for more bytes than are to come. In all other cases nothing happens.
func (f *Framer) Silence(emit func(Frame)) { f.form.silence(emit) }

// End takes the end of the stream: the port is gone. A frame that was begun comes back as torn. Afterwards the Framer
// is ready for a new stream, and the frame is valid until that begins.
func (f *Framer) End() (Frame, bool) { return f.form.tail() }

// Text makes a NUL inside a frame its fault, since no text holds one, and passes over ends of lines between frames.
// The check bytes that stand behind the end may hold any byte. Lines are text from the beginning.
func (f *Framer) Text() *Framer {
	f.text = true
	return f
}

// Checked tells the Framer how to know a good frame: fits answers by the bytes alone whether its check fits, and where
// the form has no check, whether it can be read. A start can stand in noise, or inside a frame: what begins there and
// does not fit is still handed on, without a Fault, for Decode to say what is wrong with it. But it swallows nothing: a
// frame that begins inside it and fits is handed on too. Forms that only know an end have no use for it.
func (f *Framer) Checked(fits func(frame []byte) bool) *Framer {
	f.fits = fits
	return f
}

// fault is what is wrong with a whole frame; behind are its check bytes behind the end.
func (r *rules) fault(b []byte, behind int) string {
	switch {
	case len(b) > r.longest:
		return device.ReasonTooLong
	case r.text && bytes.IndexByte(b[:max(len(b)-behind, 0)], 0) >= 0:
		return device.ReasonNUL
	}
	return ""
}
