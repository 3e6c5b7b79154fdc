package web

import (
	"cmp"
	"context"
	"net/http"
	"slices"
	"sync"
	"time"

	"github.com/rs/zerolog"

	"witnessmark/store"
)

// enrolledFor is how long a browser stands at a bench before it is enrolled anew.
const enrolledFor = 400 * 24 * time.Hour // browsers keep no cookie for longer

// stations knows the browsers that stand at a bench. Those of PostgreSQL are read once, and remembered while it is away.
type stations struct {
	accounts *store.Accounts
	clock    func() time.Time
	log      zerolog.Logger

	mu   sync.Mutex
	read bool
	all  map[string]store.Enrolment // by key
}

// known reads them where they were not read yet. The caller holds the lock.
func (s *stations) known(ctx context.Context) error {
	if s.read {
		return nil
	}
	found, err := s.accounts.Enrolments(ctx, s.clock())
	if err != nil {
		s.log.Warn().Err(err).Msg("enrolled browsers cannot be read")
		return errAway
	}
	for _, e := range found {
		s.all[e.Key] = e
	}
	s.read = true
	return nil
}

// list gives those that hold, by bench and age.
func (s *stations) list(ctx context.Context) ([]store.Enrolment, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := s.known(ctx); err != nil {
		return nil, err
	}
	var all []store.Enrolment
	for _, e := range s.all {
		if e.Expires.After(s.clock()) {
			all = append(all, e)
		}
	}
	slices.SortFunc(all, func(a, b store.Enrolment) int {
		return cmp.Or(cmp.Compare(a.Bench, b.Bench), a.Since.Compare(b.Since), cmp.Compare(a.Key, b.Key))
	})
	return all, nil
}

// find is the enrolment of a browser by what it holds; false: it stands at no bench, as far as is known.
func (s *stations) find(ctx context.Context, secret string) (store.Enrolment, bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.known(ctx) != nil {
		return store.Enrolment{}, false
	}
	e, ok := s.all[Key(secret)]
	return e, ok && e.Expires.After(s.clock())
}

// enrol keeps a new one. A crash after the table was written leaves an enrolment that no browser holds.
func (s *stations) enrol(ctx context.Context, e store.Enrolment) error {
	if err := s.accounts.Enrol(ctx, e); err != nil {
		s.log.Warn().Err(err).Msg("a browser cannot be enrolled")
		return errAway
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.all[e.Key] = e
	return nil
}

// end ends one, and with it whoever is signed in there by PIN.
func (s *stations) end(ctx context.Context, key string) error {
	if err := s.accounts.Dismiss(ctx, key); err != nil {
		s.log.Warn().Err(err).Msg("an enrolment cannot be ended")
		return errAway
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	delete(s.all, key)
	return nil
}

// stationCookie is where a browser keeps by what it is known.
func (p *Pages) stationCookie(value string) *http.Cookie {
	c := &http.Cookie{Name: "witnessmark-bench", Value: value, Path: "/", HttpOnly: true, Secure: p.Secure, SameSite: http.SameSiteStrictMode,
		MaxAge: int(enrolledFor.Seconds())}
	if p.Secure {
		c.Name = "__Host-" + c.Name
	}
	return c
}

// station is the bench at which the browser of a request stands; empty: none.
func (p *Pages) station(r *http.Request) string {
	c, err := r.Cookie(p.stationCookie("").Name)
	if err != nil {
		return ""
	}
	e, ok := p.stations.find(r.Context(), c.Value)
	if !ok {
		return ""
	}
	return e.Bench
}
