package bench

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"

	"witnessmark/audit"
	"witnessmark/audit/recall"
)

// knows tells whether a person of this id is in the shop, and whether the name was blanked.
func (s *Shop) knows(id string) (known, blanked bool) {
	i := slices.IndexFunc(s.people, func(p audit.PersonAdded) bool { return p.Person == id })
	return i >= 0, i >= 0 && s.people[i].Name == ""
}

func (s *Shop) refuseForgetting(ev audit.PersonForgotten) error {
	known, blanked := s.knows(ev.Person)
	switch {
	case !known:
		return errors.New("nobody of this name or id is in the shop: check the spelling")
	case blanked:
		return fmt.Errorf("the name of %s is blanked: %w", ev.Person, ErrAlready)
	case strings.TrimSpace(ev.Reason) == "":
		return errors.New("a name is blanked for a reason: give one, for example that its time is over")
	case ev.By == ev.Person:
		return errors.New("a name is blanked by someone else: the one who does it stays named in the record")
	}
	for _, id := range slices.Sorted(maps.Keys(s.places)) { // the sentence is recorded, and must not depend on the map's order
		if s.places[id].person == ev.Person {
			return fmt.Errorf("this person is signed in at bench %s: sign off there first", id)
		}
	}
	return nil
}

func (s *Shop) forget(ev audit.PersonForgotten) {
	for i := range s.people {
		if s.people[i].Person == ev.Person {
			s.people[i].Name = ""
		}
	}
	for badge, person := range s.badges {
		if person == ev.Person {
			delete(s.badges, badge)
		}
	}
	maps.DeleteFunc(s.tokens, func(_ string, t audit.TokenGiven) bool { return t.Person == ev.Person })
}

func (s *Shop) refuseFound(ev audit.CalibrationFound) error {
	if _, known := s.wrenches[ev.Wrench]; !known {
		return unknown("no wrench %q in this shop: name one that the configuration has", ev.Wrench)
	}
	switch {
	case strings.TrimSpace(ev.Certificate) == "":
		return errors.New("a finding needs its certificate: name it")
	case ev.Found.IsZero():
		return errors.New("a finding needs the day of the calibration: give it")
	case ev.Person == "":
		return errors.New("a finding needs a person: say who records it")
	case ev.Points == "":
		return nil
	}
	points, err := recall.Parse(ev.Points)
	if err == nil && points.String() != ev.Points {
		err = fmt.Errorf("they are written %q", points)
	}
	if err != nil {
		return fmt.Errorf("the deviations as found: %w", err)
	}
	return nil
}
