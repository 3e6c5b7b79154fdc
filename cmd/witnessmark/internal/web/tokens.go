package web

import (
	"context"
	"net/http"
	"strings"
	"sync"
	"time"

	"github.com/rs/zerolog"

	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/store"
)

var (
	errToken     = &control.Error{Status: http.StatusUnauthorized, Sentence: en("refusal.this-token-is-not-known-here-or-was")}
	errTokenAway = &control.Error{Status: http.StatusServiceUnavailable, Sentence: en("refusal.the-database-is-away-so-this-token-cannot")}
)

// tokens knows those of PostgreSQL, and remembers those that were used for as long as it is away.
type tokens struct {
	accounts *store.Accounts
	clock    func() time.Time
	log      zerolog.Logger

	mu  sync.Mutex
	all map[string]store.Token // by key
}

// find looks up what a request sent as Authorization.
func (t *tokens) find(ctx context.Context, said string) (store.Token, error) {
	scheme, secret, _ := strings.Cut(said, " ")
	if !strings.EqualFold(scheme, "Bearer") {
		return store.Token{}, errNobody
	}
	key := Key(strings.TrimSpace(secret))
	t.mu.Lock()
	found, ok := t.all[key]
	t.mu.Unlock()
	if !ok {
		var err error
		if found, ok, err = t.accounts.Token(ctx, key); err != nil {
			t.log.Warn().Err(err).Msg("tokens cannot be read")
			return store.Token{}, errTokenAway
		}
	}
	if !ok {
		return store.Token{}, errToken
	}
	now := t.clock()
	if !found.Expires.After(now) {
		return store.Token{}, &control.Error{Status: http.StatusUnauthorized, Sentence: en("refusal.the-token-token-ended-on-day-ask-an", "Token", found.Name, "Day", found.Expires.UTC().Format(time.DateOnly))}
	}
	t.remember(found, now)
	return found, nil
}

// remember also forgets what has expired and what another token of the name has replaced.
func (t *tokens) remember(one store.Token, now time.Time) {
	t.mu.Lock()
	defer t.mu.Unlock()
	for key, old := range t.all {
		if !old.Expires.After(now) || old.Name == one.Name {
			delete(t.all, key)
		}
	}
	t.all[one.Key] = one
}
