package web

import (
	"context"
	"net/http"
	"sync"
	"time"
)

// touched is when those who signed in by PIN were last active, by the token of their session. After a restart of the daemon
// the session itself says it, as of its last page.
type touched struct {
	clock func() time.Time

	mu sync.Mutex
	at map[string]time.Time
}

func (t *touched) touch(session string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	now := t.clock()
	for old, at := range t.at {
		if now.Sub(at) > pinIdle {
			delete(t.at, old)
		}
	}
	t.at[session] = now
}

func (t *touched) last(session string) time.Time {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.at[session]
}

// touch notes that whoever signed in by PIN is active.
func (p *Pages) touch(r *http.Request) {
	if p.sessions.GetString(r.Context(), sessionBench) == "" {
		return
	}
	p.touched.touch(p.sessions.Token(r.Context()))
}

// stays tells whether somebody who signed in by PIN at a bench is so still: the browser stands there, and was not idle.
func (p *Pages) stays(r *http.Request, at string) bool {
	last := p.touched.last(p.sessions.Token(r.Context()))
	return p.station(r) == at && active(p.Clock(), last, time.Unix(p.sessions.GetInt64(r.Context(), sessionSeen), 0))
}

// active tells whether somebody was so within pinIdle, by when this process saw it, whatever the clock was set to since, or else
// by what the session says: what lies ahead was seen by a clock that was wrong.
func active(now, last, said time.Time) bool {
	if last.IsZero() {
		last = said
	}
	return now.Sub(last).Abs() < pinIdle
}

// anew is a request with its session as it is now: one that goes on for long learns so that somebody has signed out.
func (p *Pages) anew(r *http.Request) *http.Request {
	token := p.sessions.Token(r.Context())
	if token == "" {
		return r
	}
	ctx, err := p.sessions.Load(context.Background(), token)
	if err != nil {
		p.Log.Warn().Err(err).Msg("a session cannot be read")
		return r
	}
	return r.WithContext(ctx)
}
