package bench

import (
	"bytes"
	"compress/flate"
	"encoding/json"
	"fmt"
	"slices"
)

// Shelf is where the contents of released builds lie outside of memory. They are many, and only one that is looked at again
// is needed.
type Shelf interface {
	// Put keeps content; false: there is no room for it, and the shop goes on holding it.
	Put(content []byte) (place int64, ok bool)
	// Get is what was put at a place.
	Get(place int64) ([]byte, error)
}

// parcel is the content of a released build, put away.
type parcel struct {
	packed       []byte // nil: it lies on the shelf, at place
	place        int64
	first, until uint64 // its readings lie between these entries
	used         []use  // by any of its joints
}

// putAway packs what a build holds: it stays released for years.
func (s *Shop) putAway(b *Build) {
	p := &parcel{}
	for i, r := range b.runs {
		r.matcher = nil
		if i == 0 {
			p.first = r.first
		}
		p.first, p.until = min(p.first, r.first), max(p.until, r.until)
		for _, u := range r.used {
			p.used = used(p.used, u.wrench, u.from, u.to)
		}
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

// takeOut gives a build that was put away its content again.
func (s *Shop) takeOut(b *Build) {
	c := s.unpacked(b)
	b.parcel = nil
	b.fill(c)
	s.lives.takeOut(b, c.Lives)
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

// unpacked is the content of a build that was put away. A shelf that has lost it leaves nothing to go on with: the shop has to
// be made anew from its entries.
func (s *Shop) unpacked(b *Build) *content {
	packed := b.parcel.packed
	if packed == nil {
		var err error
		if packed, err = s.shelf.Get(b.parcel.place); err != nil {
			panic(fmt.Errorf("the content of build %d, put away: %w", b.ID, err))
		}
	}
	c := &content{}
	must(json.NewDecoder(flate.NewReader(bytes.NewReader(packed))).Decode(c))
	return c
}

func pack(c *content) []byte {
	var room bytes.Buffer
	w, err := flate.NewWriter(&room, flate.DefaultCompression)
	must(err)
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
	for at := range singleUse(b) {
		if had, there := l[at]; there && had.build == b.ID {
			out = append(out, keptLife{at.joint, at.fastener, had.cycles})
			delete(l, at)
		}
	}
	return out
}

// takeOut brings them back, but for those that a later build of the engine has counted since.
func (l Lives) takeOut(b *Build, kept []keptLife) {
	for _, k := range kept {
		at := life{b.Engine, b.Family, k.Joint, k.Fastener}
		if _, there := l[at]; !there {
			l[at] = spent{b.ID, k.Cycles}
		}
	}
}

// singleUse goes through the fasteners of a build whose bolts are for single use.
func singleUse(b *Build) func(yield func(life) bool) {
	p := b.revision.parsed
	return func(yield func(life) bool) {
		for _, j := range p.Joints {
			for _, f := range j.Fasteners {
				if _, once := reuse(p, f.Type); once && !yield(life{b.Engine, p.Family, j.ID, f.ID}) {
					return
				}
			}
		}
	}
}
