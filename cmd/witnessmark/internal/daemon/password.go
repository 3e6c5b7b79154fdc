package daemon

import (
	"context"
	"fmt"
	"strings"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/cmd/witnessmark/internal/control"
)

// GivePassword implements control.PasswordDesk. Passwords are no part of the record, so the log alone tells of it.
func (d *Daemon) GivePassword(ctx context.Context, in control.NewPassword) (control.PasswordGiven, error) {
	out := control.PasswordGiven{Person: strings.Join(strings.Fields(in.Who), " ")}
	var id, administrators string
	d.live.look(func(s *bench.Shop) {
		id, _ = s.Person(out.Person)
		out.Signs = len(s.RolesOf(id)) > 0
		administrators = strings.Join(holders(s, audit.Administrator), ", ")
	})
	switch {
	case id == "" && administrators == "":
		return out, control.Unknown(fmt.Sprintf("nobody is called %q in this shop, and it has no administrator: set it up on its pages with the code from the log of the daemon", out.Person))
	case id == "":
		return out, control.Unknown(fmt.Sprintf("nobody is called %q in this shop: write the name as it stands in the record; administrators are: %s", out.Person, administrators))
	}
	if err := d.pages.GivePassword(ctx, id, in.Password); err != nil {
		return out, err
	}
	d.opt.Log.Warn().Str("person", out.Person).Msg("a new password was given on this machine, and all sessions of that person are ended")
	return out, nil
}

// holders are the names of the people who have a role.
func holders(s *bench.Shop, r audit.Role) (names []string) {
	for _, p := range s.People() {
		if s.Has(p.Person, r) {
			names = append(names, p.Name)
		}
	}
	return names
}
