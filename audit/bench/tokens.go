package bench

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"

	"witnessmark/audit"
)

// Token is the newest word on a token of that name; false: there is none.
func (s *Shop) Token(name string) (audit.TokenGiven, bool) {
	ev, ok := s.tokens[name]
	return ev, ok
}

// Tokens lists the tokens that were given and not taken back, by name.
func (s *Shop) Tokens() []audit.TokenGiven {
	out := make([]audit.TokenGiven, 0, len(s.tokens))
	for _, ev := range s.tokens {
		out = append(out, ev)
	}
	slices.SortFunc(out, func(a, b audit.TokenGiven) int { return cmp.Compare(a.Token, b.Token) })
	return out
}

func (s *Shop) giveToken(ev audit.TokenGiven) {
	if ev.Person == "" {
		delete(s.tokens, ev.Token)
		return
	}
	s.tokens[ev.Token] = ev
}

func (s *Shop) refuseToken(ev audit.TokenGiven) error {
	has, there := s.tokens[ev.Token]
	switch {
	case strings.TrimSpace(ev.Token) == "":
		return errors.New("a token needs a name, such as that of the machine that will use it: give one")
	case !s.Has(ev.By, audit.Administrator) && (ev.Person != "" || has.Person != ev.By):
		return errors.New("only an administrator gives tokens and takes them back: ask one")
	case ev.Person == "" && !there:
		return unknown("no token %s: ask for the list of tokens", ev.Token)
	case ev.Person == "":
		return nil
	case there:
		return fmt.Errorf("there is a token %s already: take that one back first, or give this one another name", ev.Token)
	case len(s.RolesOf(ev.Person)) == 0:
		return fmt.Errorf("%s has no role here, so a token could do nothing: give the person a role first", cmp.Or(s.PersonName(ev.Person), "this person"))
	case ev.Expires == nil:
		return errors.New("a token needs a last day: say for how many days it is")
	}
	return nil
}
