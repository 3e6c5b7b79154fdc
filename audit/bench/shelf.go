package bench

import (
	"bytes"
	"compress/flate"
	"encoding/json"
	"fmt"
	"slices"
	"sync"
)

// Shelf is where the contents of builds lie outside of memory that were released, or not worked on for long. They are many,
// and only one that is looked at again is needed.
type Shelf interface {
	// Put keeps content; false: there is no room for it, and the shop goes on holding it.
	Put(content []byte) (place int64, ok bool)
	// Get is what was put at a place.
	Get(place int64) ([]byte, error)
}

// parcel is the content of a build that was put away.
type parcel struct {
	packed       []byte // nil: it lies on the shelf, at place
	place        int64
	first, until uint64 // its readings lie between these entries
	used         []use  // by any of its joints
	followed     bool   // a run has a matcher still
}

// mostHeld is how many builds the shop holds that are neither on a bench nor put away: those with joints left to do, and of
// them those that were worked on last. One that comes back to a bench takes some milliseconds longer.
var mostHeld = 24 // none in this package's tests

// tidy puts away what is least likely to be worked on soon.
func (s *Shop) tidy() {
	for {
		var out *Build
		idle := 0
		for _, b := range s.held {
			if s.onBench(b) {
				continue
			}
			if idle++; out == nil || b.rests(out) {
				out = b
			}
		}
		if idle <= mostHeld {
			return
		}
		s.putAway(out)
	}
}

// rests is true of a build that is to be put away before another.
func (b *Build) rests(other *Build) bool {
	if done := b.done(); done != other.done() {
		return done
	}
	return b.last < other.last
}

// done is true of a build of which every joint was begun and taken off its bench with nothing left to do.
func (b *Build) done() bool {
	for _, c := range b.closed {
		if c.unfinished != nil {
			return false
		}
	}
	return len(b.closed) == len(b.revision.parsed.Joints)
}

func (s *Shop) onBench(b *Build) bool {
	for _, r := range s.runs { // whether there is any, so the order of the map does not show
		if r.build == b {
			return true
		}
	}
	return false
}

// putAway packs what a build holds.
func (s *Shop) putAway(b *Build) {
	s.held = slices.DeleteFunc(s.held, func(h *Build) bool { return h == b })
	p := &parcel{}
	for i, r := range b.runs {
		if i == 0 {
			p.first = r.first
		}
		p.first, p.until = min(p.first, r.first), max(p.until, r.until)
		for _, u := range r.used {
			p.used = used(p.used, u.wrench, u.from, u.to)
		}
		p.followed = p.followed || r.matcher != nil
	}
	c := b.content()
	c.Lives = s.lives.putAway(b)
	p.packed = pack(&c)
	if s.shelf != nil {
		if place, ok := s.shelf.Put(p.packed); ok {
			p.place, p.packed = place, nil
		}
	}
	b.parcel, b.runs, b.conceded, b.closed = p, nil, nil, nil
}

// takeOut gives a build that was put away its content again. One that is released stays where it is.
func (s *Shop) takeOut(b *Build) (was bool) {
	if b.parcel == nil || b.released {
		return false
	}
	c := s.unpacked(b)
	b.parcel, s.opened = nil, opened{}
	b.fill(c)
	s.held = append(s.held, b)
	s.lives.takeOut(b, c.Lives)
	return true
}

// whole is the build with its content at hand; of one that is put away it is a copy.
func (s *Shop) whole(b *Build) *Build {
	if b.parcel == nil {
		return b
	}
	out := *b
	out.parcel = nil
	out.fill(s.unpacked(b))
	return &out
}

// opened is the content that was unpacked last: whoever puts a joint on the bench asks for it first and takes it out then.
type opened struct {
	parcel *parcel
	*content
}

// unpacked is the content of a build that was put away. A shelf that has lost it leaves nothing to go on with: the shop has to
// be made anew from its entries.
func (s *Shop) unpacked(b *Build) *content {
	if s.opened.parcel == b.parcel {
		return s.opened.content
	}
	packed := b.parcel.packed
	if packed == nil {
		var err error
		if packed, err = s.shelf.Get(b.parcel.place); err != nil {
			panic(fmt.Errorf("the content of build %d, put away: %w", b.ID, err))
		}
	}
	c := &content{}
	must(json.NewDecoder(flate.NewReader(bytes.NewReader(packed))).Decode(c))
	s.opened = opened{b.parcel, c}
	return c
}

// packing takes a third of the time that flate takes if not told otherwise, for a ninth more room.
const packing = 3

// packers are used again: one takes more room than two joints in work.
var packers = sync.Pool{New: func() any {
	w, err := flate.NewWriter(nil, packing)
	must(err)
	return w
}}

func pack(c *content) []byte {
	var room bytes.Buffer
	w := packers.Get().(*flate.Writer)
	defer packers.Put(w)
	w.Reset(&room)
	must(json.NewEncoder(w).Encode(c))
	must(w.Close())
	return slices.Clip(room.Bytes())
}

// must is for what cannot fail: the bytes were made here of values that came out of the journal as JSON.
func must(err error) {
	if err != nil {
		panic(err)
	}
}

// keptLife is how many torque cycles a bolt for single use has had, which counts in its build alone.
type keptLife struct {
	Joint, Fastener string
	Cycles          int
}

// putAway takes out the bolts for single use of a build.
func (l Lives) putAway(b *Build) (out []keptLife) {
	p := b.revision.parsed
	for i := range p.Joints {
		j := &p.Joints[i]
		for k := range j.Fasteners {
			at := lifeOf(b.Engine, b.ID, p, j, &j.Fasteners[k])
			if had, there := l[at]; there && at.build != 0 {
				out = append(out, keptLife{at.joint, at.fastener, had})
				delete(l, at)
			}
		}
	}
	return out
}

// takeOut brings them back.
func (l Lives) takeOut(b *Build, kept []keptLife) {
	for _, k := range kept {
		l[life{b.Engine, b.Family, k.Joint, k.Fastener, b.ID}] = k.Cycles
	}
}
