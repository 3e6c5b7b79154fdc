package frame

import (
	"bytes"
	"cmp"

	"witnessmark/device"
)

// started cuts frames that can be told by how they begin: it finds a start, waits until the frame is whole, and looks
// whether it fits.
//
//	7F 00 A5 33 02 A5 09 01 … 7C 90 A5 09 02 … 11 4E
//	      ──┬──────────────
//	        │      ────────┬─────── ───────┬────────
//	        │              │               └ fits
//	        │              └ begins inside what does not fit, and fits
//	        └ a false start: does not fit
//
// What does not fit is handed on at once, whole, so that the wrench can be asked for it again. Its bytes stay until it
// is clear whether a frame begins inside; none of them is handed on as noise or as a part of another misfit.
type started struct {
	rules
	start  []byte // empty: a frame may begin anywhere
	shape  shape
	behind int    // check bytes behind the end
	buf    []byte // noise, or a frame that was begun; never more than 2×device.MaxRaw
	told   int    // so many bytes at the beginning of buf have been handed on as a misfit
}

// shape says how long the frame is that begins at the beginning of buf.
type shape interface {
	// cut gives the length of the frame; 0: more bytes are needed to know, or to have it whole. With a fault it is no
	// frame at all, and so many bytes show it. What it finds in buf it must also find in any longer buf that begins
	// with it, and it must find something in longest bytes.
	cut(buf []byte, longest int) (length int, fault string)
}

func newStarted(start []byte, s shape, longest int) *started {
	return &started{rules: newRules(longest), start: bytes.Clone(start), shape: s, buf: make([]byte, 0, 2*device.MaxRaw)}
}

func (s *started) push(chunk []byte, emit func(Frame)) {
	for len(chunk) > 0 {
		n := min(len(chunk), cap(s.buf)-len(s.buf))
		s.buf = append(s.buf, chunk[:n]...)
		chunk = chunk[n:]
		s.drain(emit)
	}
}

// drain leaves less than device.MaxRaw bytes of noise and the beginning of a start, or less than one frame.
func (s *started) drain(emit func(Frame)) {
	rest, from := s.buf, 0
	for {
		var found bool
		if rest, found = s.seek(rest, from, emit); !found {
			break
		}
		n, fault := s.shape.cut(rest, s.longest)
		if n == 0 {
			break
		}
		if fault != "" && len(s.start) == 0 {
			// Every byte would be the head of a misfit; they are handed on together.
			if n = s.longest; len(rest) < n {
				break
			}
		}
		if fault == "" && (s.fits == nil || s.fits(rest[:n])) {
			emit(Frame{rest[:n], s.fault(rest[:n], s.behind)})
			rest, from = rest[n:], 0
			s.told = max(s.told-n, 0)
			continue
		}
		if s.told == 0 {
			emit(Frame{rest[:n], cmp.Or(fault, s.fault(rest[:n], s.behind))})
			s.told = n
		}
		from = 1
	}
	s.buf = s.buf[:copy(s.buf, rest)]
}

// seek drops what stands before the first start from there on, and hands on as noise what has not been handed on yet.
// Where no start has come it keeps what may be the beginning of one, and noise too short for a piece of its own.
func (s *started) seek(buf []byte, from int, emit func(Frame)) (rest []byte, found bool) {
	at, found := s.find(buf, from)
	for noise := at - s.told; noise >= device.MaxRaw || noise > 0 && found; noise = at - s.told {
		piece := buf[s.told:][:min(noise, device.MaxRaw)]
		if !s.blank(piece) {
			emit(Frame{piece, device.ReasonNoise})
		}
		at -= s.told + len(piece)
		buf, s.told = buf[s.told+len(piece):], 0
	}
	drop := min(at, s.told)
	if found {
		drop = at
	}
	s.told -= drop
	return buf[drop:], found
}

// find looks for a start from there on; where there is none it gives the place where one may have begun.
func (s *started) find(buf []byte, from int) (at int, found bool) {
	if i := bytes.Index(buf[from:], s.start); i >= 0 && from+i < len(buf) {
		return from + i, true
	}
	return max(from, len(buf)-begun(buf, s.start)), false
}

// blank is what stands between texts for the eye only.
func (s *started) blank(noise []byte) bool { return s.text && len(bytes.Trim(noise, "\r\n")) == 0 }

// silence looks for a frame that has come whole inside one that still waits for its rest. It needs a check to trust: a
// silence alone means little, for adapters and networks make pauses of their own.
func (s *started) silence(emit func(Frame)) {
	for s.fits != nil {
		at, found := s.whole(s.buf)
		if !found {
			return
		}
		if at > s.told {
			emit(Frame{s.buf[s.told:at], device.ReasonNoise})
		}
		s.told = max(s.told-at, 0)
		s.buf = s.buf[:copy(s.buf, s.buf[at:])]
		s.drain(emit)
	}
}

// whole finds the first start whose frame is whole and fits.
func (s *started) whole(buf []byte) (at int, found bool) {
	for at, found = s.find(buf, 0); found; at, found = s.find(buf, at+1) {
		if n, fault := s.shape.cut(buf[at:], s.longest); n > 0 && fault == "" && s.fits(buf[at:at+n]) {
			return at, true
		}
	}
	return 0, false
}

func (s *started) tail() (Frame, bool) {
	tail, fault := s.buf[s.told:], device.ReasonNoise
	if _, begun := s.find(s.buf, 0); begun {
		fault = device.ReasonTorn
	}
	s.buf, s.told = s.buf[:0], 0
	return Frame{tail, fault}, len(tail) > 0 && !s.blank(tail)
}
