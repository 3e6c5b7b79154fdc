package link

import (
	"errors"
	"fmt"
	"sync"
	"time"
)

// Phase is whether what is known of a wrench can be relied on.
type Phase string

// The phases. A wrench that speaks only when it is pulled stays fresh as long as its port is open.
const (
	Fresh Phase = "fresh" // the port is open, and was not silent for too long
	Stale Phase = "stale" // the port is open, but was silent for Link.Stale
	Gone  Phase = "gone"  // the port is not open, or was silent for Link.Gone
)

// State is how the wrench fares at present.
type State struct {
	Phase  Phase
	Since  time.Time // when this phase began, by our clock
	Up     bool      // the port is open; of tcp-listen: a wrench is there
	Reason string    // why it is not fresh, for people; empty while it is, and before the first attempt
	Where  string    // how the port was found, if the place tells; it stays when the port is lost
	Seen   time.Time // when bytes last came, by our clock; zero: not since Run began
	Resent int       // readings since Run began that came again and were not handed on
}

// errSilent is why a port was given up that did not end by itself.
var errSilent = errors.New("the port was open but nothing came: see whether the wrench is switched on and within reach")

// presence is the state of a wrench and tells every change of it.
type presence struct {
	stale, gone time.Duration // as in Link
	notice      func(State)

	mu      sync.Mutex // guards the rest, and makes one call of notice wait for another
	state   State
	quiet   time.Time   // when bytes last came, or the port was opened
	next    *time.Timer // runs while silence alone will change the phase
	giveUp  func()      // ends the open port once it was silent for gone; nil: it is kept
	givenUp bool        // that was done, and nothing came since: that the port opens again says nothing
}

func newPresence(l Link) *presence {
	p := &presence{notice: l.Notice, state: State{Phase: Gone, Since: time.Now().UTC()}}
	p.stale, p.gone = l.ages()
	p.next = time.AfterFunc(time.Hour, func() { p.change(func(time.Time) {}) })
	p.next.Stop()
	return p
}

// ages are Stale and Gone, worked out.
func (l Link) ages() (stale, gone time.Duration) {
	stale, gone = l.Stale, l.Gone
	for _, c := range l.Profile.Calls() {
		if !c.Poll {
			continue
		}
		if stale == 0 {
			stale = StalePolls * c.Every
		}
		if gone == 0 {
			gone = max(GonePolls*c.Every, stale)
		}
	}
	return stale, gone
}

// silent is for how long nothing came on the open port.
func (p *presence) silent() time.Duration {
	p.mu.Lock()
	defer p.mu.Unlock()
	return time.Since(p.quiet)
}

// up books an open port. giveUp must return at once; it may be called more than once.
func (p *presence) up(where string, giveUp func()) {
	p.change(func(now time.Time) {
		p.state.Up, p.state.Where, p.quiet, p.giveUp = true, where, now, giveUp
	})
}

// down books that the port is not there.
func (p *presence) down(reason string) {
	p.change(func(time.Time) { p.state.Up, p.state.Reason, p.giveUp = false, reason, nil })
}

// heard books that bytes came.
func (p *presence) heard() {
	p.change(func(now time.Time) { p.state.Seen, p.quiet, p.givenUp = now, now, false })
}

// resent books a reading that was known.
func (p *presence) resent() { p.change(func(time.Time) { p.state.Resent++ }) }

// change books something, works out what phase that is, and tells.
func (p *presence) change(book func(now time.Time)) {
	p.mu.Lock()
	defer p.mu.Unlock()
	now := time.Now().UTC()
	book(now)
	p.next.Stop()
	phase := Gone
	if p.state.Up {
		phase, p.state.Reason = p.after(now.Sub(p.quiet))
	}
	if phase != p.state.Phase {
		p.state.Phase, p.state.Since = phase, now
	}
	if p.notice != nil {
		p.notice(p.state)
	}
}

// after is the phase of an open port that was silent for so long, and why it is no better.
func (p *presence) after(silent time.Duration) (Phase, string) {
	left := func(age time.Duration) time.Duration { return age - silent }
	switch {
	case p.gone > 0 && left(p.gone) <= 0:
		if p.giveUp != nil {
			p.giveUp()
			p.givenUp = true
		}
		return Gone, quietFor(p.gone)
	case p.gone > 0:
		p.next.Reset(left(p.gone))
	}
	switch {
	case p.givenUp:
		return Gone, errSilent.Error()
	case p.stale > 0 && left(p.stale) <= 0:
		return Stale, quietFor(p.stale)
	case p.stale > 0 && (p.gone <= 0 || p.stale < p.gone):
		p.next.Reset(left(p.stale))
	}
	return Fresh, ""
}

func quietFor(age time.Duration) string {
	return fmt.Sprintf("the port is open but nothing has come for %s: see whether the wrench is switched on and within reach", age)
}
