package bench

import (
	"errors"
	"fmt"
	"slices"

	"witnessmark/audit"
)

// RolesOf lists the roles of a person by id, in the order of audit.Roles.
func (s *Shop) RolesOf(person string) []audit.Role {
	var out []audit.Role
	for _, r := range audit.Roles() {
		if slices.Contains(s.roles[person], string(r)) {
			out = append(out, r)
		}
	}
	return out
}

// Has is true of a person with a role.
func (s *Shop) Has(person string, r audit.Role) bool {
	return slices.Contains(s.roles[person], string(r))
}

// Administered is true once somebody is administrator.
func (s *Shop) Administered() bool { return s.administrators("") > 0 }

// administrators counts them, but for one person.
func (s *Shop) administrators(but string) int {
	n := 0
	for person := range s.roles { // counted only, so the order of the map does not show
		if person != but && s.Has(person, audit.Administrator) {
			n++
		}
	}
	return n
}

func (s *Shop) refuseRoles(ev audit.RolesGiven) error {
	if s.PersonName(ev.Person) == "" {
		return errors.New("nobody of that name is known here: add the person first")
	}
	for _, r := range ev.Roles {
		if !slices.Contains(audit.Roles(), audit.Role(r)) {
			return fmt.Errorf("found the role %q: there are %v", r, audit.Roles())
		}
	}
	if s.Administered() && !s.Has(ev.By, audit.Administrator) {
		return errors.New("only an administrator gives roles: ask one")
	}
	if s.administrators(ev.Person) == 0 && !slices.Contains(ev.Roles, string(audit.Administrator)) {
		return errors.New("the shop would have no administrator: make somebody else one first")
	}
	return nil
}

// People lists everybody who is known, in the order in which they came.
func (s *Shop) People() []audit.PersonAdded { return slices.Clone(s.people) }
