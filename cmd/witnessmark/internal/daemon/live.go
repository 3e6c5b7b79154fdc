package daemon

import (
	"context"
	"errors"
	"slices"
	"sync"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/store"
)

// batch is how many entries a follower takes from the journal at a time; commitMost is how many the writer commits at once
// where as many wait: each commit has its own sync and its own signature.
const (
	batch      = 500
	commitMost = 4 * batch
)

// entries is what a follower needs of the journal.
type entries interface {
	Read(from uint64, max int) ([]audit.Entry, error)
	Wait(ctx context.Context, after uint64) error
	Last() uint64
}

// live follows the journal for the people: it is at most a moment behind, and never waits for a database or a reader.
type live struct {
	journal entries
	booked  func(audit.Outcome) // called for each outcome in order, by the follower alone; nil: nobody counts

	mu       sync.Mutex
	shop     *bench.Shop
	recent   []audit.Outcome       // the newest ones, which the writer has not in the database
	grown    int64                 // leaves that the journal leads to
	moved    chan struct{}         // closed and replaced whenever an entry was applied
	acted    audit.Outcome         // of the newest entry that somebody did, a person or the daemon for one
	said     map[string]audit.Mark // by wrench: the first mark of its newest reading
	watchers map[*watcher]struct{}
}

func newLive(j entries) *live {
	return &live{journal: j, shop: bench.NewShop(nil), moved: make(chan struct{}), said: map[string]audit.Mark{},
		watchers: map[*watcher]struct{}{}}
}

// follow applies entries until ctx ends or the journal cannot be read.
func (l *live) follow(ctx context.Context) (err error) {
	defer l.dropAll()
	defer shelfLost(&err)
	for {
		seq := l.seq()
		if err := l.journal.Wait(ctx, seq); err != nil {
			return err
		}
		batch, err := l.journal.Read(seq+1, batch)
		if err != nil {
			return err
		}
		for _, e := range batch {
			l.apply(e)
		}
	}
}

func (l *live) apply(e audit.Entry) {
	l.mu.Lock()
	defer l.mu.Unlock()
	out := l.shop.Apply(e)
	l.grown += store.LeavesOf(out)
	l.remember(out)
	switch ev := e.Event.(type) {
	case audit.ReadingTaken:
		for _, m := range out.Marks {
			if m.Reading == e.Seq {
				l.said[ev.Wrench] = m
			}
		}
	case audit.FrameRefused, audit.ClockSet: // may come between what somebody does and its outcome
	default:
		l.acted = out
	}
	if l.booked != nil {
		l.booked(out)
	}
	l.publish(out)
	close(l.moved)
	l.moved = make(chan struct{})
}

// mostRecent bounds what waits in memory for the database, to some 15 MB.
const mostRecent = 20 * batch

func (l *live) remember(out audit.Outcome) {
	if len(l.recent) == mostRecent {
		l.recent = slices.Delete(l.recent, 0, mostRecent/2) // a writer so far behind works them out by itself
	}
	l.recent = append(l.recent, out)
}

// after gives up to so many outcomes behind an entry, and waits for the first of them. false: they are held no more.
func (l *live) after(ctx context.Context, seq uint64, many int) (out []audit.Outcome, held bool, err error) {
	for {
		l.mu.Lock()
		moved := l.moved
		if l.shop.Seq() > seq {
			i := slices.IndexFunc(l.recent, func(o audit.Outcome) bool { return o.Entry.Seq == seq+1 })
			if i >= 0 {
				out = slices.Clone(l.recent[i:min(i+many, len(l.recent))])
			}
			l.mu.Unlock()
			return out, i >= 0, nil
		}
		l.mu.Unlock()
		select {
		case <-moved:
		case <-ctx.Done():
			return nil, false, ctx.Err()
		}
	}
}

// written lets go of the outcomes up to an entry.
func (l *live) written(seq uint64) {
	l.mu.Lock()
	defer l.mu.Unlock()
	n := 0
	for n < len(l.recent) && l.recent[n].Entry.Seq <= seq {
		n++
	}
	l.recent = slices.Delete(l.recent, 0, n)
}

// look gives the present state to f, which must not keep it.
func (l *live) look(f func(*bench.Shop)) {
	l.mu.Lock()
	defer l.mu.Unlock()
	f(l.shop)
}

func (l *live) seq() (n uint64) {
	l.look(func(s *bench.Shop) { n = s.Seq() })
	return n
}

// leaves is how many the entries that were applied make.
func (l *live) leaves() int64 {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.grown
}

// verdict is what was first said of the newest reading of a wrench, once it is entry seq; false if nothing was.
func (l *live) verdict(wrench string, seq uint64) (audit.Verdict, bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	m := l.said[wrench]
	return m.Verdict, m.Reading == seq && m.Verdict != audit.NotJudged
}

// errEnding is why a request has no answer when the daemon ends under it.
var errEnding = errors.New("the daemon is stopping: start it again and look what was recorded")

// await returns when entry seq was applied.
func (l *live) await(ctx, life context.Context, seq uint64) error {
	for {
		l.mu.Lock()
		reached, moved := l.shop.Seq() >= seq, l.moved
		l.mu.Unlock()
		if reached {
			return nil
		}
		select {
		case <-moved:
		case <-ctx.Done():
			return ctx.Err()
		case <-life.Done():
			return errEnding
		}
	}
}
