package daemon

import (
	"cmp"
	"context"
	"fmt"
	"net/http"
	"strings"
	"time"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/cmd/witnessmark/internal/web"
	"witnessmark/store"
)

// tokenBegins every token, so that a search for lost secrets finds it.
const tokenBegins = "wmt_"

// Tokens implements control.TokenDesk.
func (d *Daemon) Tokens() []control.Token {
	list := []control.Token{}
	d.live.look(func(s *bench.Shop) {
		for _, t := range s.Tokens() {
			list = append(list, control.Token{Token: t.Token, Person: s.PersonName(t.Person), Expires: t.Expires.UTC()})
		}
	})
	return list
}

// GiveToken implements control.TokenDesk. What proves the token is written first: a crash between that and the entry
// leaves a proof that the record does not know, which opens nothing.
func (d *Daemon) GiveToken(ctx context.Context, in control.NewToken) (control.Token, error) {
	by, err := named(in.Person)
	if err != nil {
		return control.Token{}, err
	}
	days := cmp.Or(in.Days, control.TokenDays)
	if days < 1 || days > control.MostTokenDays {
		return control.Token{}, control.Malformed(fmt.Sprintf("a token is for 1 to %d days", control.MostTokenDays))
	}
	d.acting.Lock()
	defer d.acting.Unlock()
	if err := d.live.await(ctx, d.life, d.journal.Last()); err != nil {
		return control.Token{}, err
	}
	as := strings.Join(strings.Fields(in.For), " ")
	holder, known := d.person(as)
	if !known || as == "" {
		return control.Token{}, control.Refuse("nobody of that name is known here: give the person a role first")
	}
	expires := d.opt.Clock().UTC().Truncate(time.Microsecond).AddDate(0, 0, days)
	give := func(_ *bench.Shop, id string) (audit.Event, error) {
		return audit.TokenGiven{Token: strings.Join(strings.Fields(in.Token), " "), Person: holder, By: id, Expires: &expires}, nil
	}
	giver, _ := d.person(by)
	ev, err := d.check(give, giver)
	if err != nil {
		return control.Token{}, err
	}
	secret, name := tokenBegins+web.NewSecret(), ev.(audit.TokenGiven).Token
	if err := d.accounts.KeepToken(ctx, store.Token{Key: web.Key(secret), Name: name, Person: holder, Expires: expires}); err != nil {
		d.opt.Log.Warn().Err(err).Msg("a token cannot be kept")
		return control.Token{}, &control.Error{Status: http.StatusServiceUnavailable, Sentence: "the database is away, so no token can be given now: try again when it is back"}
	}
	_, err = d.do(ctx, by, give)
	return control.Token{Token: name, Person: as, Expires: expires, Secret: secret}, err
}

// TakeToken implements control.TokenDesk. From the entry on the token opens nothing; its proof is dropped after it.
func (d *Daemon) TakeToken(ctx context.Context, token string, in control.TakeToken) (control.Token, error) {
	by, err := named(in.Person)
	if err != nil {
		return control.Token{}, err
	}
	var was audit.TokenGiven
	var person string
	_, err = d.act(ctx, by, func(s *bench.Shop, id string) (audit.Event, error) {
		was, _ = s.Token(token)
		person = s.PersonName(was.Person)
		return audit.TokenGiven{Token: token, By: id}, nil
	})
	if err != nil {
		return control.Token{}, err
	}
	if err := d.accounts.DropToken(ctx, token); err != nil {
		d.opt.Log.Warn().Err(err).Str("token", token).Msg("the proof of a token that was taken back stays in the database; it opens nothing")
	}
	return control.Token{Token: token, Person: person, Expires: was.Expires.UTC()}, nil
}
