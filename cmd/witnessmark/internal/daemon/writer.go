package daemon

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"github.com/rs/zerolog"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/store"
	"witnessmark/store/ledger"
)

// database is what the writer needs of a store.
type database interface {
	Position() uint64                              // the last entry that is in the database
	Commit(context.Context, []audit.Outcome) error // all or nothing, skipping what is in already
	Publish() error                                // puts the newest checkpoint outside the database
	Reload(context.Context) error                  // looks at the database again after an error
	Ledger() (size uint64, signed time.Time)       // leaves, and when they were last signed
	Checkpoint() (ledger.Checkpoint, error)        // the newest one
	Close() error
}

// fresh is what a writer needs of the live follower.
type fresh interface {
	after(ctx context.Context, seq uint64, many int) (out []audit.Outcome, held bool, err error)
	written(seq uint64)
}

// writer brings into PostgreSQL what the live follower made of the journal. Where it is so far behind that this is held no
// more, it makes it anew in a shop of its own, and lets go of that one when it has caught up; what it holds in memory is at
// most that shop and one batch, however long the database is away.
type writer struct {
	journal entries
	address func(context.Context) (string, error)
	open    func(ctx context.Context, url string) (database, error)
	booked  func(audit.Outcome) // called once for each outcome that is in the database; nil: nobody counts
	log     zerolog.Logger

	fresh   fresh
	shopAt  func(seq uint64) *bench.Shop // one that stands at an entry or before it
	shop    *bench.Shop                  // its own; nil: the live one is near enough
	taken   uint64                       // the last entry of which it has the outcome
	pending []audit.Outcome              // up to that one, not known to be in the database

	mu    sync.Mutex
	at    reach
	moved chan struct{} // closed and replaced whenever at changes
}

// reach is how far the writer has got, as far as is known.
type reach struct {
	known      bool // a database was looked at since the start
	position   uint64
	ledger     uint64            // leaves
	signed     time.Time         // zero: not known
	checkpoint ledger.Checkpoint // the newest one, of these leaves
	trouble    error             // why entries are not written at present; nil: they are
}

// commitWithin bounds one commit. One that takes longer may happen all the same; Reload finds out.
const commitWithin = time.Minute

func newWriter(d *Daemon) *writer {
	open := func(ctx context.Context, url string) (database, error) {
		st, err := store.Open(ctx, d.storeOptions(url))
		if err != nil {
			return nil, err
		}
		if err := d.bringAgain(st); err != nil {
			return nil, errors.Join(err, st.Close())
		}
		return st, nil
	}
	return &writer{journal: d.journal, address: d.base.address, open: open, booked: d.metrics.latency.written, log: d.opt.Log,
		fresh: d.live, shopAt: d.snapshots.shopAt, at: reach{trouble: errNotYet}, moved: make(chan struct{})}
}

func (d *Daemon) storeOptions(url string) store.Options {
	return store.Options{URL: url, Shop: d.opt.Config.Shop.ID, Key: d.key, Outside: d.folder.Outside(), Clock: d.opt.Clock}
}

// errNotYet is the state of a writer before its first look at the database.
var errNotYet = errors.New("not connected yet")

// run writes until ctx ends. Whatever fails is tried again for ever, a little later each time: the journal keeps what
// has not been written.
func (w *writer) run(ctx context.Context) {
	var wait backoff
	for ctx.Err() == nil {
		url, err := w.address(ctx)
		if err != nil {
			return
		}
		before := w.reach().position
		err = w.session(ctx, url)
		if ctx.Err() != nil {
			return
		}
		if w.reach().position > before {
			wait = backoff{}
		}
		w.note(err)
		w.log.Warn().Err(err).Uint64("position", w.reach().position).Msg("database not written; the journal keeps the entries")
		wait.sleep(ctx)
	}
}

// session opens the database and writes until something fails; the error is never nil. One failed commit is looked into
// with Reload, because a commit whose answer was lost may have happened; the second opens the database anew.
func (w *writer) session(ctx context.Context, url string) (err error) {
	db, err := w.open(ctx, url)
	if err != nil {
		return fmt.Errorf("open database: %w", err)
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	reloaded := false
	for {
		err := w.round(ctx, db)
		switch {
		case err == nil:
			reloaded = false
		case reloaded || ctx.Err() != nil:
			return err
		default:
			w.note(err)
			w.log.Warn().Err(err).Msg("commit failed; looking what the database holds")
			if again := db.Reload(ctx); again != nil {
				return errors.Join(err, fmt.Errorf("reload: %w", again))
			}
			reloaded = true
		}
	}
}

// round brings the next entries into the database.
func (w *writer) round(ctx context.Context, db database) error {
	if err := w.meet(db.Position()); err != nil {
		return err
	}
	w.reached(db)
	if len(w.pending) == 0 {
		if err := db.Publish(); err != nil { // what failed after the last commit: it may be long until the next one
			return err
		}
		if err := w.take(ctx); err != nil {
			return err
		}
	}
	short, cancel := context.WithTimeout(ctx, commitWithin)
	defer cancel()
	if err := db.Commit(short, w.pending); err != nil {
		return err
	}
	w.settle(db.Position())
	w.reached(db)
	return db.Publish()
}

// meet makes sure that what is pending begins behind position. The database may have been put back to an older state, or hold
// what this writer never wrote.
func (w *writer) meet(position uint64) error {
	if last := w.journal.Last(); position > last {
		return &beyond{position, last}
	}
	w.settle(position)
	if w.taken != position+uint64(len(w.pending)) {
		w.taken, w.pending = position, nil
	}
	return nil
}

// beyond is a database that holds more than the journal.
type beyond struct{ position, last uint64 }

func (b *beyond) Error() string {
	return fmt.Sprintf("the database holds entry %d but the journal ends at %d: this data folder belongs to another database, give the right one; or the journal is lost, then witnessmark ledger rebuild-journal writes it anew from the database",
		b.position, b.last)
}

// take waits for new outcomes.
func (w *writer) take(ctx context.Context) error {
	out, held, err := w.fresh.after(ctx, w.taken, commitMost)
	if held {
		w.shop = nil
	} else if err == nil {
		out, err = w.makeAnew(ctx)
	}
	if errors.Is(err, errShelf) {
		w.shop = nil // it stopped within an entry
	}
	if err != nil {
		return err
	}
	w.pending, w.taken = out, out[len(out)-1].Entry.Seq
	return nil
}

// makeAnew works out in the writer's own shop what follows the entry that was taken last.
func (w *writer) makeAnew(ctx context.Context) (out []audit.Outcome, err error) {
	defer shelfLost(&err)
	if w.shop == nil || w.shop.Seq() > w.taken {
		w.shop = w.shopAt(w.taken)
	}
	for ctx.Err() == nil {
		entries, err := w.journal.Read(w.shop.Seq()+1, batch)
		if err != nil {
			return nil, err
		}
		for _, e := range entries {
			if o := w.shop.Apply(e); e.Seq > w.taken {
				out = append(out, o)
			}
		}
		if len(out) > 0 {
			return out, nil
		}
	}
	return nil, ctx.Err()
}

// settle lets go of the outcomes that are in the database.
func (w *writer) settle(position uint64) {
	n := 0
	for n < len(w.pending) && w.pending[n].Entry.Seq <= position {
		if w.booked != nil {
			w.booked(w.pending[n])
		}
		n++
	}
	w.pending = w.pending[n:]
	if len(w.pending) == 0 {
		w.pending = nil
	}
	w.fresh.written(position)
}

// reached notes how far db has got.
func (w *writer) reached(db database) {
	size, signed := db.Ledger()
	at := reach{known: true, position: db.Position(), ledger: size, signed: signed}
	if c, err := db.Checkpoint(); err == nil { // else there is nothing that a release could sign
		at.checkpoint = c
	}
	w.set(at)
}

// note keeps what was reached and says why it goes no further.
func (w *writer) note(trouble error) {
	at := w.reach()
	at.trouble = trouble
	w.set(at)
}

func (w *writer) set(at reach) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.at = at
	close(w.moved)
	w.moved = make(chan struct{})
}

func (w *writer) reach() reach {
	at, _ := w.look()
	return at
}

// look gives the reach and a channel that is closed when it changes.
func (w *writer) look() (reach, <-chan struct{}) {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.at, w.moved
}

// drain waits until the journal is in the database, but no longer than ctx or drainGrace, and not at all while the
// database is in trouble: what is left is written at the next start.
func (w *writer) drain(ctx context.Context) {
	ctx, cancel := context.WithTimeout(ctx, drainGrace)
	defer cancel()
	for {
		at, moved := w.look()
		if at.position >= w.journal.Last() || at.trouble != nil {
			return
		}
		select {
		case <-moved:
		case <-ctx.Done():
			return
		}
	}
}

const drainGrace = 10 * time.Second
