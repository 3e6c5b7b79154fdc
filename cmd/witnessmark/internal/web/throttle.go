package web

import (
	"sync"
	"time"
)

// Wrong answers in a row that cost nothing, and what each more costs: the delay doubles up to the longest. Nobody is ever
// locked out for good, and never by a colleague: what counts is account and bench together.
const (
	freeTries   = 5
	firstDelay  = 2 * time.Second
	longestWait = 5 * time.Minute
)

// throttle slows down guessing.
type throttle struct {
	clock func() time.Time
	mu    sync.Mutex
	tries map[string]attempt
}

type attempt struct {
	wrong int
	until time.Time
}

func newThrottle(clock func() time.Time) *throttle {
	return &throttle{clock: clock, tries: map[string]attempt{}}
}

// wait is how long key must wait before its next try.
func (t *throttle) wait(key string) time.Duration {
	t.mu.Lock()
	defer t.mu.Unlock()
	return max(0, t.tries[key].until.Sub(t.clock()))
}

// right forgets what was wrong before.
func (t *throttle) right(key string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	delete(t.tries, key)
}

// wrong counts a wrong answer. Keys that have been quiet for long are forgotten, so that guessing names fills no memory.
func (t *throttle) wrong(key string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	now := t.clock()
	for k, a := range t.tries {
		if now.Sub(a.until) > 2*longestWait {
			delete(t.tries, k)
		}
	}
	a := t.tries[key]
	a.wrong++
	a.until = now
	if a.wrong >= freeTries {
		a.until = now.Add(min(firstDelay<<min(a.wrong-freeTries, 20), longestWait))
	}
	t.tries[key] = a
}
