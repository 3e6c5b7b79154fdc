package bench

import (
	"errors"
	"fmt"

	"witnessmark/audit"
)

// granted is a concession with its entry.
type granted struct {
	seq uint64
	audit.ConcessionGranted
}

// Conceding completes a concession with the finding as it stands at this moment.
func (s *Shop) Conceding(ev audit.ConcessionGranted) audit.ConcessionGranted {
	if f := s.finding(ev.Build, ev.Finding); f != nil {
		ev.Found, ev.Joint, ev.Stage, ev.Fastener, ev.Check, ev.Reading = f.Text, f.Joint, f.Stage, f.Fastener, f.Check, f.Reading
	}
	return ev
}

// finding is nil where there is none with that id.
func (s *Shop) finding(build uint64, id string) *Finding {
	rv, err := s.Review(build)
	if err != nil {
		return nil
	}
	for i := range rv.Findings {
		if rv.Findings[i].ID == id {
			return &rv.Findings[i]
		}
	}
	return nil
}

func (s *Shop) refuseConcession(ev audit.ConcessionGranted) error {
	if err := s.workable(ev.Build); err != nil {
		return err
	}
	if err := signed("a concession", ev.Person, ev.Reason); err != nil {
		return err
	}
	f := s.finding(ev.Build, ev.Finding)
	switch {
	case f == nil:
		return unknown("build %d has no finding %q: take its id from the review", ev.Build, ev.Finding)
	case f.Conceded != nil:
		return fmt.Errorf("%s was conceded already by %s: %w", f.Text, f.Conceded.By, ErrAlready)
	case !f.Blocks:
		return fmt.Errorf("%s does not stand in the way of the release: there is nothing to concede", f.Text)
	case f.Subject == JointOnBench:
		return fmt.Errorf("%s: close it, that cannot be conceded", f.Text)
	case f.Text != ev.Found:
		return fmt.Errorf("what was found is different now (%s): look at the review again", f.Text)
	case f.Second && ev.Seconded == "":
		return fmt.Errorf("joint %s is of class A: a concession needs a second person, name one", f.Joint)
	case ev.Seconded == ev.Person:
		return errors.New("the second person of a concession must be another one than the first")
	}
	return nil
}
