package daemon

import (
	"context"
	"errors"
	"slices"
	"strings"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/device/label"
)

// GiveBadge implements control.Desk. A badge that its person has already is no error.
func (d *Daemon) GiveBadge(ctx context.Context, in control.NewBadge) (control.Badge, error) {
	by, err := named(in.Person)
	if err != nil {
		return control.Badge{}, err
	}
	badge, to := strings.TrimSpace(in.Badge), strings.Join(strings.Fields(in.To), " ")
	if badge == "" {
		return control.Badge{}, control.Malformed("say which badge: give what its label says, without the prefix")
	}
	d.acting.Lock()
	defer d.acting.Unlock()
	holder, err := d.known(ctx, to)
	if err != nil {
		return control.Badge{}, err
	}
	var already bool
	_, err = d.do(ctx, by, func(s *bench.Shop, id string) (audit.Event, error) {
		ev := audit.BadgeGiven{Badge: badge, Person: holder, By: id}
		already = errors.Is(s.Refusal(ev), bench.ErrAlready)
		return ev, nil
	})
	if err != nil && !(already && to != "") {
		return control.Badge{}, err
	}
	return control.Badge{Badge: badge, Person: to}, nil
}

// Badges implements control.Desk.
func (d *Daemon) Badges() []control.Badge {
	list := []control.Badge{}
	d.live.look(func(s *bench.Shop) {
		for _, g := range s.Badges() {
			list = append(list, control.Badge{Badge: g.Badge, Person: s.PersonName(g.Person)})
		}
	})
	return list
}

// BadgeOf implements web.Shop. A scanner that types like a keyboard types a prefix too, where its labels have one.
func (d *Daemon) BadgeOf(text string) (person string) {
	values := []string{text}
	for _, s := range d.opt.Config.Scanners {
		if l, err := s.Labels.Read(text); err == nil && l.Kind == label.Badge {
			values = append(values, l.Value)
		}
	}
	d.live.look(func(s *bench.Shop) {
		for _, g := range s.Badges() {
			if person == "" && text != "" && slices.Contains(values, g.Badge) {
				person = g.Person
			}
		}
	})
	return person
}
