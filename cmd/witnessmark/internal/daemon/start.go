package daemon

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"os"
	"sync"
	"time"

	"witnessmark/audit"
	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/cmd/witnessmark/internal/tend"
	"witnessmark/device/memory"
	"witnessmark/store"
	"witnessmark/store/journal"
	"witnessmark/store/ledger"
)

func (d *Daemon) openFolder(context.Context) error {
	lock, err := d.folder.Lock()
	if err != nil {
		return err
	}
	d.later(func(context.Context) error { return lock.Close() })
	return d.folder.Whole()
}

// slowDisk is how many bytes a second a disk reads at the least, for a service manager that waits until a journal was looked at.
var slowDisk int64 = 10_000_000

func (d *Daemon) openJournal(context.Context) error {
	if there, err := os.Stat(d.folder.Journal()); err == nil && there.Size() > slowDisk { // else it is a new one, or over at once
		tend.Starting(d.opt.Log, "every page of the journal is looked at; readings are taken when that is done",
			startPatience+time.Duration(there.Size()/slowDisk)*time.Second)
	}
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
	d.clockWatch, d.selfCheck = newClockWatch(d), &selfCheck{d: d, asked: make(chan struct{}, 1)}
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
	last, before := d.journal.Last(), d.live.seq()
	for kept := time.Now(); ; {
		short, cancel := context.WithTimeout(ctx, progressEvery)
		err := d.live.await(short, d.life, last)
		cancel()
		if err == nil || ctx.Err() != nil || !errors.Is(err, context.DeadlineExceeded) {
			return err
		}
		at := d.live.seq()
		far := fmt.Sprintf("the journal is worked out, %d %% done; readings are taken when that is done", at*100/last)
		d.opt.Log.Info().Uint64("entry", at).Uint64("of", last).Msg(far)
		if at > before {
			tend.Starting(d.opt.Log, far, startPatience)
		}
		before = at
		if time.Since(kept) > snapshotLook { // who ends it now does not begin anew
			d.snapshots.keep(ctx, snapshotEvery)
			kept = time.Now()
		}
	}
}

// startPatience is how long a service manager should wait after it was told that a start gets on.
const startPatience = time.Minute

// progressEvery is how often a long start says how far it is.
var progressEvery = 5 * time.Second

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
	m.Keep(out.Entry.Seq, r.Reading)
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
