// Package trial plays bytes through a profile as a link does, but keeps nothing and answers nothing: for a person who
// wants to see whether a profile fits a wrench.
package trial

import (
	"time"

	"witnessmark/device/capture"
	"witnessmark/device/frame"
	"witnessmark/device/profile"
)

// Frame is one frame and what became of it.
type Frame struct {
	frame.Frame               // valid until tell returns
	At          time.Duration // when its last byte came
	Result      profile.Result
}

// Trial is one profile and what has come so far. It belongs to one goroutine.
type Trial struct {
	profile *profile.Profile
	wrench  string
	tell    func(Frame)
	framer  *frame.Framer
	last    time.Duration // when bytes came last
	heard   bool          // any came since the last silence
}

// New begins a trial; tell is called for every frame, in order.
func New(p *profile.Profile, wrench string, tell func(Frame)) *Trial {
	return &Trial{profile: p, wrench: wrench, tell: tell, framer: p.NewFramer()}
}

// Took takes bytes that came in one piece. Times never go back.
func (t *Trial) Took(at time.Duration, b []byte) {
	t.Silent(at)
	t.last, t.heard = at, true
	t.framer.Push(b, t.decode)
}

// Silent says that nothing came up to this time.
func (t *Trial) Silent(at time.Duration) {
	if gap := t.profile.Gap(); gap > 0 && t.heard && at-t.last >= gap {
		t.framer.Silence(t.decode)
		t.heard = false
	}
}

// Gone says that the port went away: a frame that was begun is torn.
func (t *Trial) Gone(at time.Duration) {
	t.Silent(at)
	t.heard = false
	if tail, torn := t.framer.End(); torn {
		t.decode(tail)
	}
}

func (t *Trial) decode(f frame.Frame) {
	t.tell(Frame{f, t.last, t.profile.Decode(t.wrench, f)})
}

// Play plays a whole capture. At its end the port is taken to be silent, and then to go away; gone is told of every
// time that it went away before.
func Play(p *profile.Profile, c capture.Capture, tell func(Frame), gone func(at time.Duration)) {
	t := New(p, c.Wrench, tell)
	end := time.Duration(0)
	for _, chunk := range c.Chunks {
		end = chunk.At
		if !chunk.Gone {
			t.Took(chunk.At, chunk.Bytes)
			continue
		}
		t.Gone(chunk.At)
		gone(chunk.At)
	}
	t.Gone(end + p.Gap())
}
