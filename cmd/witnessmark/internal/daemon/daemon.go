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
	"net"
	"runtime/debug"
	"sync"
	"time"

	"github.com/rs/zerolog"

	"witnessmark/cmd/witnessmark/internal/config"
	"witnessmark/cmd/witnessmark/internal/web"
	"witnessmark/device/memory"
	"witnessmark/store"
	"witnessmark/store/journal"
	"witnessmark/store/ledger"
)

// Options is what a daemon is made from. Everything but Uptime, Version and Root must be given.
type Options struct {
	Config  config.Config
	Data    string                                            // the data folder; made if missing
	Clock   func() time.Time                                  // every time that is recorded comes from here
	Uptime  func() (boot string, up time.Duration, err error) // what nobody sets, as SinceBoot; nil: nobody knows
	NewID   func() string                                     // a new person's id: 16 random bytes in hex
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

	memories map[string]*memory.Memory // by wrench; the live follower's, but for each of them, which the wrench's link knows too

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
		d.meetClock, d.declareWrenches, d.startLinks, d.startScanners, d.startChecks, d.listen,
	} {
		if err := step(ctx); err != nil {
			return errors.Join(err, d.Stop(ctx))
		}
	}
	d.jobs.Go(d.slim)
	return nil
}

// slim gives back memory after a start or a snapshot, which take more than the work between them.
func (d *Daemon) slim() {
	if err := d.journal.GiveBack(); err != nil {
		d.opt.Log.Warn().Err(err).Msg("what was read of the journal stays in memory")
	}
	debug.FreeOSMemory()
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
