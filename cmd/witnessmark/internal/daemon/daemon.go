// Package daemon is the running program: readings and people's actions go into the journal, the live follower works them
// out for the people at the benches, and the writer brings what came of them into PostgreSQL.
//
//	wrench → link ─┐                           ┌→ watchers, pages, metrics
//	               ├→ journal (on disk) → live ┤
//	person → desk ─┘             └ ─ ─ ─ ─ ─ ─ ┴→ writer → PostgreSQL and ledger
//
// A writer that is far behind (PostgreSQL was away) works the same entries out by the same function, and still writes what
// the people saw.
package daemon

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"runtime/debug"
	"sync"
	"time"

	"github.com/rs/zerolog"

	"witnessmark/audit"
	"witnessmark/cmd/witnessmark/internal/config"
	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/cmd/witnessmark/internal/web"
	"witnessmark/device/memory"
	"witnessmark/store"
	"witnessmark/store/journal"
	"witnessmark/store/ledger"
)

// Options is what a daemon is made from. Everything but Version and Root must be given.
type Options struct {
	Config  config.Config
	Data    string           // the data folder; made if missing
	Clock   func() time.Time // every time that is recorded comes from here
	NewID   func() string    // a new person's id: 16 random bytes in hex
	Log     zerolog.Logger
	Version string
	Root    string // of /sys and /dev, in which wrenches are looked for; empty: the computer's own
}

// Daemon is one shop's daemon. Its methods may be called from any goroutine after Start.
type Daemon struct {
	opt       Options
	folder    Folder
	journal   *journal.Journal
	live      *live
	writer    *writer
	key       *ledger.Key // the first one of the ledger
	base      *base
	links     *links
	metrics   *metrics
	snapshots *snapshots

	clockWatch *clockWatch
	selfCheck  *selfCheck
	disk       diskWatch

	scanners *scanners

	unproven unproven // belongs to the writer's goroutine

	memories map[string]*memory.Memory // by wrench, of the readings that the live follower has applied; each link has one of its own

	acting sync.Mutex // one person's action at a time, from its check to its effect

	public   net.Listener
	pages    *web.Pages
	accounts *store.Accounts
	pulse    pulse
	unwind   []func(context.Context) error // what Stop undoes, last first

	end  context.CancelCauseFunc
	life context.Context // ends when the daemon stops or cannot go on
	jobs sync.WaitGroup
}

// errStopped is the cause of an end that was asked for.
var errStopped = errors.New("stopped")

// New checks the options; nothing is opened yet.
func New(o Options) (*Daemon, error) {
	if o.Data == "" || o.Clock == nil || o.NewID == nil {
		return nil, errors.New("a daemon needs a data folder, a clock and a source of ids")
	}
	d := &Daemon{opt: o, folder: Folder(o.Data)}
	d.life, d.end = context.WithCancelCause(context.Background())
	return d, nil
}

// Start opens the data folder and begins to work; it returns when wrenches are taken and the sockets answer. PostgreSQL
// may come later. On an error everything that was opened is closed again.
func (d *Daemon) Start(ctx context.Context) error {
	for _, step := range []func(context.Context) error{
		d.openFolder, d.openJournal, d.startLive, d.openKey, d.startBase, d.meetKept, d.startWriter, d.compare,
		d.declareWrenches, d.startLinks, d.startScanners, d.startChecks, d.listen,
	} {
		if err := step(ctx); err != nil {
			return errors.Join(err, d.Stop(ctx))
		}
	}
	d.jobs.Go(debug.FreeOSMemory) // a start takes more than the work after it
	return nil
}

// Stop ends the links first, lets the writer bring in what is journaled while ctx and the database allow, and closes
// everything. A second call does nothing.
func (d *Daemon) Stop(ctx context.Context) error {
	var errs []error
	for len(d.unwind) > 0 {
		last := len(d.unwind) - 1
		undo := d.unwind[last]
		d.unwind = d.unwind[:last]
		errs = append(errs, undo(ctx))
	}
	d.end(errStopped)
	d.jobs.Wait()
	return errors.Join(errs...)
}

// Done is closed when the daemon has stopped or cannot go on; Err then says why, and Stop must still be called.
func (d *Daemon) Done() <-chan struct{} { return d.life.Done() }

// Err is why the daemon cannot go on; nil while it works and after a Stop.
func (d *Daemon) Err() error {
	if err := context.Cause(d.life); !errors.Is(err, errStopped) {
		return err
	}
	return nil
}

// Addr is the address of the public page and the metrics, with the real port where :0 was asked for.
func (d *Daemon) Addr() string {
	if d.public == nil {
		return ""
	}
	return d.public.Addr().String()
}

// Socket is the path of the control socket.
func (d *Daemon) Socket() string { return d.folder.Socket() }

// later notes what Stop has to undo.
func (d *Daemon) later(undo func(context.Context) error) { d.unwind = append(d.unwind, undo) }

func (d *Daemon) openFolder(context.Context) error {
	lock, err := d.folder.Lock()
	if err != nil {
		return err
	}
	d.later(func(context.Context) error { return lock.Close() })
	return d.folder.Whole()
}

func (d *Daemon) openJournal(context.Context) error {
	j, err := journal.Open(d.folder.Journal(), d.opt.Clock)
	if err != nil {
		return fmt.Errorf("open journal: %w", err)
	}
	d.journal, d.disk = j, diskWatch{j}
	d.later(func(context.Context) error {
		d.end(errStopped)
		d.jobs.Wait() // nobody reads the journal any more
		return j.Close()
	})
	d.jobs.Go(d.guardJournal)
	return nil
}

// guardJournal ends the daemon when the journal cannot be written any more: after a failed sync nobody knows what is
// on the disk, and a reading must not be acknowledged. The next start reads back what really is there.
func (d *Daemon) guardJournal() {
	select {
	case <-d.journal.Failed():
		d.end(fmt.Errorf("the journal %s can no longer be written, so no reading is acknowledged: see to the disk and start again: %w",
			d.folder.Journal(), d.journal.Err()))
	case <-d.life.Done():
	}
}

// journalFailed is true when guardJournal says why the daemon ends; what others meet then is the consequence.
func (d *Daemon) journalFailed() bool {
	select {
	case <-d.journal.Failed():
		return true
	default:
		return false
	}
}

func (d *Daemon) startLive(ctx context.Context) error {
	d.live = newLive(d.journal)
	d.clockWatch, d.selfCheck = newClockWatch(d.opt.Clock, d.noteClock), &selfCheck{d: d, asked: make(chan struct{}, 1)}
	d.metrics = newMetrics(d)
	d.memories = map[string]*memory.Memory{}
	for _, w := range d.opt.Config.Wrenches {
		d.memories[w.Declared.Wrench] = memory.New()
	}
	if err := d.openSnapshot(); err != nil {
		return err
	}
	d.live.booked = func(out audit.Outcome) { d.recall(out); d.metrics.outcome(out) }
	d.jobs.Go(func() {
		if err := d.live.follow(d.life); err != nil && d.life.Err() == nil {
			d.end(fmt.Errorf("follow journal: %w", err))
		}
	})
	return d.caughtUp(ctx)
}

// caughtUp waits until the live follower has worked out what was journaled before this start, and says how far it is.
func (d *Daemon) caughtUp(ctx context.Context) error {
	last := d.journal.Last()
	for kept := time.Now(); ; {
		short, cancel := context.WithTimeout(ctx, progressEvery)
		err := d.live.await(short, d.life, last)
		cancel()
		if err == nil || ctx.Err() != nil || !errors.Is(err, context.DeadlineExceeded) {
			return err
		}
		at := d.live.seq()
		d.opt.Log.Info().Uint64("entry", at).Uint64("of", last).Msgf("the journal is worked out, %d %% done; readings are taken when that is done", at*100/last)
		if time.Since(kept) > snapshotLook { // who ends it now does not begin anew
			d.snapshots.keep(ctx, snapshotEvery)
			kept = time.Now()
		}
	}
}

// progressEvery is how often a long start says how far it is.
const progressEvery = 5 * time.Second

// recall remembers a reading of any wrench: one that the configuration does not name now may come back to it.
func (d *Daemon) recall(out audit.Outcome) {
	r, is := out.Entry.Event.(audit.ReadingTaken)
	if !is {
		return
	}
	m := d.memories[r.Wrench]
	if m == nil {
		m = memory.New()
		d.memories[r.Wrench] = m
	}
	m.Keep(r.Reading)
}

// openKey reads the shop's signing key, which is made on the first start.
func (d *Daemon) openKey(context.Context) (err error) {
	if d.key, err = ledger.LoadOrCreateKey(d.folder.Key(), store.Origin(d.opt.Config.Shop.ID)); err != nil {
		return fmt.Errorf("open signing key: %w", err)
	}
	return nil
}

// startBase begins to keep the database running. It is stopped after the writer, and before the journal is closed.
func (d *Daemon) startBase(context.Context) error {
	d.base = newBase(d)
	ctx, cancel := context.WithCancel(d.life)
	var done sync.WaitGroup
	done.Go(func() { d.base.run(ctx) })
	d.later(func(context.Context) error { cancel(); done.Wait(); return nil })
	return nil
}

func (d *Daemon) startWriter(context.Context) error {
	d.writer = newWriter(d)
	d.startCopier()
	ctx, cancel := context.WithCancel(d.life)
	var done sync.WaitGroup
	done.Go(func() { d.writer.run(ctx) })
	d.later(func(ctx context.Context) error {
		d.writer.drain(ctx)
		d.snapshots.keep(ctx, snapshotAtEnd)
		cancel()
		done.Wait()
		return nil
	})
	return nil
}

// startCopier is stopped after the writer, so that the last checkpoint of all is copied too.
func (d *Daemon) startCopier() {
	if d.opt.Config.Witness == "" {
		return
	}
	ctx, cancel := context.WithCancel(d.life)
	c := &copier{from: d.folder.Outside(), to: d.opt.Config.Witness, log: d.opt.Log}
	var done sync.WaitGroup
	done.Go(func() { c.run(ctx) })
	d.later(func(context.Context) error { cancel(); done.Wait(); return nil })
}

// startChecks begins to look after the computer's clock, the disk and the record.
func (d *Daemon) startChecks(context.Context) error {
	ctx, cancel := context.WithCancel(d.life)
	var running sync.WaitGroup
	running.Go(func() { d.clockWatch.run(ctx) })
	running.Go(func() { d.disk.run(ctx, d.tellDisk) })
	running.Go(func() { d.selfCheck.run(ctx, d.selfCheck.pass) })
	running.Go(func() { d.snapshots.run(ctx) })
	d.later(func(context.Context) error { cancel(); running.Wait(); return nil })
	return nil
}

func (d *Daemon) listen(context.Context) error {
	d.accounts = store.NewAccounts(d.opt.Config.Shop.ID, d.base.address)
	d.later(func(context.Context) error { return d.accounts.Close() })
	if err := d.openPages(); err != nil {
		return err
	}
	// Last of all: who gets an answer there is told where the pages are.
	socket, err := control.Listen(d.folder.Socket())
	if err != nil {
		return err
	}
	d.serve(socket, control.SocketHandler(d))
	return nil
}

// serve answers on a listener until Stop. Requests end with the daemon's life: a watch has no end of its own.
func (d *Daemon) serve(l net.Listener, h http.Handler) {
	s := &http.Server{
		Handler:           h,
		ReadHeaderTimeout: 10 * time.Second,
		IdleTimeout:       2 * time.Minute,
		MaxHeaderBytes:    64 << 10,
	}
	d.jobs.Go(func() {
		if err := s.Serve(l); !errors.Is(err, http.ErrServerClosed) {
			d.end(fmt.Errorf("serve %s: %w", l.Addr(), err))
		}
	})
	d.later(func(context.Context) error { return s.Close() })
}
