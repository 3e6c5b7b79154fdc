package bench

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"witnessmark/audit"
)

// Standing says whether the build is released.
func (b *Build) Standing() Standing {
	switch {
	case b.released:
		return Released
	case b.reopened:
		return Reopened
	}
	return UnderWay
}

// newestRun is the last run of a joint of the build, nil where it was never started.
func (b *Build) newestRun(joint string) *run {
	for i := len(b.runs) - 1; i >= 0; i-- {
		if b.runs[i].joint.ID == joint {
			return b.runs[i]
		}
	}
	return nil
}

// BenchOf is the bench that a run is on, empty where it is on none.
func (s *Shop) BenchOf(run uint64) string {
	for name, r := range s.runs { // at most one can match, so the order of the map does not show
		if r.seq == run {
			return name
		}
	}
	return ""
}

// workable refuses to touch a build that does not exist or is released.
func (s *Shop) workable(build uint64) error {
	switch b := s.build(build); {
	case b == nil:
		return unknown("no build %d: ask for the list of builds", build)
	case b.released:
		return fmt.Errorf("build %d of engine %s is released: reopen it first, with the reason", b.ID, b.Engine)
	}
	return nil
}

// signed refuses what nobody stands behind, or for which no reason is given.
func signed(what, person, reason string) error {
	switch {
	case person == "":
		return fmt.Errorf("%s needs a person: say who does this", what)
	case strings.TrimSpace(reason) == "":
		return fmt.Errorf("%s needs a reason: give one", what)
	}
	return nil
}

func (s *Shop) refuseRelease(ev audit.BuildReleased) error {
	b := s.build(ev.Build)
	switch {
	case b == nil:
		return unknown("no build %d: ask for the list of builds", ev.Build)
	case b.released:
		return fmt.Errorf("build %d of engine %s is released already: %w", b.ID, b.Engine, ErrAlready)
	case ev.Person == "":
		return errors.New("a release needs a person: say who signs")
	case ev.Reviewed > s.seq:
		return fmt.Errorf("entry %d, up to which the build was reviewed, does not exist yet: review it and repeat", ev.Reviewed)
	case ev.Reviewed < b.last:
		return fmt.Errorf("build %d has gone on to entry %d since it was reviewed up to entry %d: review it again", b.ID, b.last, ev.Reviewed)
	}
	rv, _ := s.Review(ev.Build)
	if open := slices.DeleteFunc(rv.Blocking(), Finding.recalled); len(open) > 0 {
		return notReleasable(&rv, rv.Blocking())
	}
	switch {
	case ev.Recorded < b.last:
		return fmt.Errorf("the ledger holds the entries up to %d only, and build %d goes to entry %d: wait until the database has caught up, then repeat",
			ev.Recorded, b.ID, b.last)
	case ev.Size < 1 || len(ev.Root) != rootSize:
		return errors.New("a release signs the state of the ledger: wait until the database is up, then repeat")
	}
	return nil
}

// refuseDoubted refuses to release what rests on a wrench that a calibration found bad, while that is neither settled nor
// conceded.
func (s *Shop) refuseDoubted(ev audit.BuildReleased) error {
	rv, _ := s.Review(ev.Build)
	if open := rv.Blocking(); len(open) > 0 {
		return notReleasable(&rv, open)
	}
	return nil
}

// rootSize is the length in bytes of a tree root (SHA-256).
const rootSize = 32

func notReleasable(rv *Review, open []Finding) error {
	lines := make([]string, 0, len(open))
	for _, f := range open {
		lines = append(lines, fmt.Sprintf("\n- %s [%s]", f.Text, f.ID))
	}
	return fmt.Errorf("build %d of engine %s cannot be released, this stands in the way:%s", rv.Build, rv.Engine, strings.Join(lines, ""))
}

func (s *Shop) refuseReopening(ev audit.BuildReopened) error {
	switch b := s.build(ev.Build); {
	case b == nil:
		return unknown("no build %d: ask for the list of builds", ev.Build)
	case !b.released:
		return fmt.Errorf("build %d of engine %s is not released: %w", b.ID, b.Engine, ErrAlready)
	}
	return signed("to reopen a build", ev.Person, ev.Reason)
}

// release puts away what a build holds, if it does not lie there already; reopen takes it out again.
func (s *Shop) release(b *Build) {
	b.released = true
	if b.parcel == nil {
		for _, r := range b.runs {
			r.matcher = nil
		}
		s.putAway(b)
	}
	b.doubted = s.doubted(b)
}

// lies is true of a build that is put away as its release would put it away.
func (b *Build) lies(ev audit.Event) bool {
	_, release := ev.(audit.BuildReleased)
	return release && b.parcel != nil && !b.parcel.followed
}

func (s *Shop) reopen(b *Build) {
	b.released, b.reopened = false, true
	s.takeOut(b)
}

// concerned is the build that an event is about, nil: none.
func (s *Shop) concerned(ev audit.Event) *Build {
	switch ev := ev.(type) {
	case audit.BuildEvent:
		return s.build(ev.OfBuild())
	case audit.AdapterFitted, audit.LabelScanned, audit.FrameRefused: // of the bench alone, whatever joint is on it
		return nil
	case audit.BenchEvent:
		return s.worksOn(ev.AtBench())
	}
	return nil
}

// worksOn is the build whose joint is on a bench, nil where there is none.
func (s *Shop) worksOn(bench string) *Build {
	if r := s.runs[bench]; r != nil {
		return r.build
	}
	return nil
}
