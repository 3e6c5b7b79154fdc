package bench

import (
	"errors"
	"fmt"

	"witnessmark/audit"
)

// Hand is the id of the person whose the readings at a bench are, empty where no joint is on it.
func (s *Shop) Hand(bench string) string {
	if s.runs[bench] == nil {
		return ""
	}
	return s.at(bench).hand
}

func (s *Shop) refuseHandOver(ev audit.HandedOver) error {
	if _, err := s.running(ev.Bench, ev.Run); err != nil {
		return err
	}
	switch {
	case s.PersonName(ev.Person) == "":
		return errors.New("a joint is handed over to a person: name one")
	case s.at(ev.Bench).hand == ev.Person:
		return fmt.Errorf("the joint on bench %s is in their hands already: %w", ev.Bench, ErrAlready)
	}
	return nil
}

// handOver signs off who was signed in at the scanner of the bench: what is scanned next is not theirs.
func (p *place) handOver(person string) {
	p.hand = person
	if p.person != "" {
		p.badge, p.person = "", person
	}
}
