package bench

import (
	"fmt"
	"slices"
	"time"

	"witnessmark/audit/recall"
)

// use is that a wrench took readings of a run, the first and the last of them at these times.
type use struct {
	wrench   string
	from, to time.Time
}

func (r *run) uses(wrench string, at time.Time) {
	r.used = used(r.used, wrench, at, at)
}

// used is all with what a wrench read between two times.
func used(all []use, wrench string, from, to time.Time) []use {
	i := slices.IndexFunc(all, func(u use) bool { return u.wrench == wrench })
	if i < 0 {
		return append(all, use{wrench, from, to})
	}
	u := &all[i]
	if from.Before(u.from) { // the clock may have gone back
		u.from = from
	}
	if to.After(u.to) {
		u.to = to
	}
	return all
}

// InDoubt says in a sentence how many readings of a build a calibration has put in doubt that found their wrench bad, as far as
// nobody has conceded that; empty: none.
func (s *Shop) InDoubt(build uint64) string {
	b := s.build(build)
	if !b.released {
		return InDoubt(s.doubted(b))
	}
	return InDoubt(b.doubted)
}

// recount looks anew which released builds are in doubt, after something was recorded of the calibrations of a wrench. They are
// many, and hold their readings packed: it is not done at every look at the list.
func (s *Shop) recount(wrench string) {
	if len(s.calibrated[wrench].Found()) == 0 {
		return
	}
	for _, b := range s.builds {
		if b.released && slices.ContainsFunc(b.parcel.used, func(u use) bool { return u.wrench == wrench }) {
			b.doubted = s.doubted(b)
		}
	}
}

// doubted counts the readings.
func (s *Shop) doubted(b *Build) (n int) {
	if b.parcel != nil && !slices.ContainsFunc(b.parcel.used, s.mayDoubt) {
		return 0
	}
	b = s.whole(b)
	for i := range b.revision.parsed.Joints {
		r := b.newestRun(b.revision.parsed.Joints[i].ID)
		if r == nil || !slices.ContainsFunc(r.used, s.mayDoubt) {
			continue
		}
		v := reviewer{run: r}
		v.steps = v.run.steps()
		s.reviewWrenches(&v)
		for i := range v.found {
			if s.cover(b, &v.found[i]); v.found[i].Blocks {
				n += v.found[i].Readings
			}
		}
	}
	return n
}

// mayDoubt is true where readings between two times may be in doubt: it costs little, and spares most builds the closer look.
func (s *Shop) mayDoubt(u use) bool {
	all, _ := s.calibrated[u.wrench].Doubts()
	return slices.ContainsFunc(all, func(d recall.Doubt) bool { return !u.to.Before(d.From) && (d.To.IsZero() || !u.from.After(d.To)) })
}

// InDoubt is the sentence about so many readings; empty: none.
func InDoubt(readings int) string {
	if readings == 0 {
		return ""
	}
	return fmt.Sprintf("a calibration found bad since touches %d of its readings", readings)
}
