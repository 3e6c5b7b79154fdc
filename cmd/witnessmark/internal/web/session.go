package web

import (
	"context"
	"net/http"
	"sync"
	"time"

	"github.com/alexedwards/scs/v2"
	"github.com/rs/zerolog"

	"witnessmark/store"
)

// What a session holds.
const (
	sessionPerson = "person" // id
	sessionNotice = "notice" // a sentence for the next page
	sessionBench  = "bench"  // signed in by badge and PIN, at this enrolled bench
	sessionProved = "proved" // when the provider said that they signed in anew, in Unix seconds, until it is used
	sessionSeen   = "seen"   // … and last seen then, in Unix seconds
)

// A session ends after a shift without a touch, and at the latest after a working week.
const (
	idleFor = 12 * time.Hour
	lastFor = 5 * 24 * time.Hour
)

// setBack is by how much the clock may be set back before sessions end: they would last as much longer. Who is signed in while it
// shows a year too much would be so for a year. Set forward, they end when the clock shows that they do. Either way one signs in
// once more and stays so.
const setBack = 24 * time.Hour

// holds tells whether a session has not ended, nor ends later than any that was begun by this clock.
func holds(s store.Session, now time.Time) bool {
	return s.Expires.After(now) && !s.Expires.After(now.Add(idleFor+setBack))
}

func (p *Pages) newSessions() *scs.SessionManager {
	// Not by scs.New, whose own store would tidy up for ever.
	m := &scs.SessionManager{Store: p.kept, HashTokenInStore: true, Codec: p.kept.codec, IdleTimeout: idleFor, Lifetime: lastFor,
		Cookie: scs.SessionCookie{Name: "witnessmark", Path: "/", HttpOnly: true, Secure: p.Secure, SameSite: http.SameSiteStrictMode, Persist: true}}
	if p.Secure {
		m.Cookie.Name = "__Host-witnessmark"
	}
	m.ErrorFunc = func(w http.ResponseWriter, _ *http.Request, err error) {
		p.Log.Error().Err(err).Msg("session")
		http.Error(w, en("refusal.who-is-signed-in-cannot-be-looked-up"), http.StatusServiceUnavailable)
	}
	return m
}

// kept keeps sessions in PostgreSQL, and in memory for as long as that is away: who is signed in stays so. A session that
// was made meanwhile and a daemon that ends meanwhile: sign in again.
type kept struct {
	accounts *store.Accounts
	clock    func() time.Time
	log      zerolog.Logger
	codec    scs.GobCodec

	mu  sync.Mutex
	all map[string]store.Session
}

func newKept(a *store.Accounts, clock func() time.Time, log zerolog.Logger) *kept {
	return &kept{accounts: a, clock: clock, log: log, all: map[string]store.Session{}}
}

// SignedIn counts the sessions of people that this process knows and that have not ended.
func (p *Pages) SignedIn() int { return p.kept.people() }

func (k *kept) people() (n int) {
	k.mu.Lock()
	defer k.mu.Unlock()
	now := k.clock()
	for _, s := range k.all {
		if s.Person != "" && holds(s, now) {
			n++
		}
	}
	return n
}

// FindCtx implements scs.CtxStore: the memory first, which is never older than the table.
func (k *kept) FindCtx(ctx context.Context, key string) ([]byte, bool, error) {
	now := k.clock()
	if s, ok := k.remembered(key); ok {
		return s.Data, holds(s, now), nil
	}
	s, found, err := k.accounts.Session(ctx, key, now)
	if err != nil { // away: whoever is not remembered signs in again
		k.log.Warn().Err(err).Msg("sessions cannot be read")
		return nil, false, nil
	}
	if found = found && holds(s, now); found {
		k.remember(s)
	}
	return s.Data, found, nil
}

// CommitCtx implements scs.CtxStore.
func (k *kept) CommitCtx(ctx context.Context, key string, data []byte, expires time.Time) error {
	_, values, err := k.codec.Decode(data)
	if err != nil {
		return err
	}
	who, _ := values[sessionPerson].(string)
	now := k.clock()
	s := store.Session{Key: key, Person: who, Data: data, Expires: now.Add(time.Until(expires))} // the library reckons by time.Now
	k.remember(s)
	if err := k.accounts.Keep(ctx, s, now); err != nil {
		k.log.Warn().Err(err).Msg("a session is kept in memory only")
	}
	return nil
}

// DeleteCtx implements scs.CtxStore.
func (k *kept) DeleteCtx(ctx context.Context, key string) error {
	k.mu.Lock()
	delete(k.all, key)
	k.mu.Unlock()
	return k.accounts.End(ctx, key)
}

// endAll ends all sessions of a person.
func (k *kept) endAll(ctx context.Context, person string) error {
	k.mu.Lock()
	for key, s := range k.all {
		if s.Person == person {
			delete(k.all, key)
		}
	}
	k.mu.Unlock()
	return k.accounts.EndAll(ctx, person)
}

func (k *kept) remembered(key string) (store.Session, bool) {
	k.mu.Lock()
	defer k.mu.Unlock()
	s, ok := k.all[key]
	return s, ok
}

// remember also forgets what has expired.
func (k *kept) remember(s store.Session) {
	k.mu.Lock()
	defer k.mu.Unlock()
	now := k.clock()
	for key, old := range k.all {
		if !old.Expires.After(now) {
			delete(k.all, key)
		}
	}
	k.all[s.Key] = s
}

// Find implements scs.Store.
func (k *kept) Find(key string) ([]byte, bool, error) { return k.FindCtx(context.Background(), key) }

// Commit implements scs.Store.
func (k *kept) Commit(key string, data []byte, expires time.Time) error {
	return k.CommitCtx(context.Background(), key, data, expires)
}

// Delete implements scs.Store.
func (k *kept) Delete(key string) error { return k.DeleteCtx(context.Background(), key) }
