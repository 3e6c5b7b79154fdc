package daemon

import (
	"fmt"
	"sync"
	"time"
)

// pulse tells whether the daemon gets on with its work, for a watchdog. A database that is away is no reason to be
// restarted, and neither is a wrench: a reader that waits for its wrench works.
type pulse struct {
	mu    sync.Mutex
	seq   uint64    // that the live follower had reached
	since time.Time // when it reached it
}

// Alive is nil while the journal takes what comes and the benches follow it, each within limit; else it says what hangs.
func (d *Daemon) Alive(limit time.Duration) error {
	if busy := d.journal.Busy(); busy > limit {
		return fmt.Errorf("the journal has been writing one batch for %s: the disk does not answer", busy.Round(time.Second))
	}
	if behind := d.pulse.behind(d.live.seq(), d.journal.Last(), time.Now()); behind > limit {
		return fmt.Errorf("the benches have not followed the journal for %s", behind.Round(time.Second))
	}
	return nil
}

// behind is how long a follower at seq has not got on, though there is more up to last.
func (p *pulse) behind(seq, last uint64, now time.Time) time.Duration {
	p.mu.Lock()
	defer p.mu.Unlock()
	if seq != p.seq || p.since.IsZero() || seq >= last {
		p.seq, p.since = seq, now
		return 0
	}
	return now.Sub(p.since)
}
