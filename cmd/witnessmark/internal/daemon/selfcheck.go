package daemon

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"witnessmark/cmd/witnessmark/internal/web"
	"witnessmark/store"
	"witnessmark/store/ledger"
)

// The ledger is checked once a day while the daemon runs. The first pass comes soon after the start, since some boxes are
// switched off every evening; one that could not be made is made again after checkAgain.
const (
	checkFirst = 5 * time.Minute
	checkEvery = 24 * time.Hour
	checkAgain = 10 * time.Minute
	// checkRest is how long it rests for each while of work, so that a pass over years takes a part of the disk only.
	checkRest = 4
)

// selfCheck proves now and then that the record in PostgreSQL was not changed, as `witnessmark verify` does.
type selfCheck struct {
	d     *Daemon
	asked chan struct{} // a person wants a pass now
	mu    sync.Mutex
	state web.Check // of the pass that runs, or of the last one
	good  time.Time // end of the last pass that found all in order; zero: none since the start
	bad   error     // what the last pass found wrong; nil: nothing
	over  bool      // a pass came to an end since the start
}

var (
	checkedAt    = desc("ledger_verified_timestamp_seconds", "When the ledger was last checked against all rows and was in order.")
	checkFailed  = desc("ledger_verify_failed", "1 if the last check of the ledger found something changed, 0 if it was in order.")
	checkFigures = []*prometheus.Desc{checkedAt, checkFailed}
)

// run makes pass after pass until ctx ends.
func (c *selfCheck) run(ctx context.Context, pass func(context.Context, func(done, all int64)) error) {
	for wait := checkFirst; ; {
		progress := resting(ctx)
		select {
		case <-ctx.Done():
			return
		case <-c.asked:
			progress = func(int64, int64) {} // somebody waits for it
		case <-time.After(wait):
		}
		wait = checkEvery
		if err := c.shown(ctx, pass, progress); err != nil && ctx.Err() == nil {
			wait = checkAgain
			c.d.opt.Log.Warn().Err(err).Msg("the ledger could not be checked; it is tried again later")
		}
	}
}

// shown makes a pass whose progress people can see.
func (c *selfCheck) shown(ctx context.Context, pass func(context.Context, func(done, all int64)) error, progress func(done, all int64)) error {
	c.set(func() { c.state = web.Check{Running: true, Last: c.state.Last, At: c.state.At, Good: c.state.Good} })
	err := pass(ctx, func(done, all int64) {
		c.set(func() { c.state.Done, c.state.All = done, all })
		progress(done, all)
	})
	c.set(func() {
		c.state.Running = false
		if err != nil && ctx.Err() == nil {
			c.state.Last, c.state.Good, c.state.At = "it could not be checked: "+err.Error(), false, c.d.opt.Clock()
		}
	})
	return err
}

// VerifyLedger implements web.Shop. One that runs already is not begun anew.
func (d *Daemon) VerifyLedger() {
	if d.selfCheck.check().Running {
		return
	}
	select {
	case d.selfCheck.asked <- struct{}{}:
	default:
	}
}

// check is how far the check of the ledger is.
func (c *selfCheck) check() web.Check {
	c.mu.Lock()
	defer c.mu.Unlock()
	s := c.state
	s.Running = s.Running || len(c.asked) > 0
	return s
}

// resting gives a progress function that sleeps for checkRest times as long as the work since the last call took.
func resting(ctx context.Context) func(done, all int64) {
	began := time.Now()
	return func(int64, int64) {
		select {
		case <-time.After(checkRest * time.Since(began)):
		case <-ctx.Done():
		}
		began = time.Now()
	}
}

// pass makes one check. Its error says that the check could not be made; what was found is kept for the metrics, and told
// in the log where something was changed.
func (c *selfCheck) pass(ctx context.Context, progress func(done, all int64)) error {
	found, err := c.verify(ctx, progress)
	var mismatch *store.Mismatch
	if errors.As(err, &mismatch) || errors.Is(err, store.ErrOlder) {
		c.d.opt.Log.Error().Err(err).Msg("the ledger does not fit its rows: run witnessmark verify and keep a copy of the database")
		c.set(func() {
			c.over, c.bad = true, err
			c.state.Last, c.state.Good, c.state.At = err.Error(), false, c.d.opt.Clock()
		})
		return nil
	}
	if err != nil {
		return err
	}
	c.d.opt.Log.Info().Int64("leaves", found.Leaves).Msg("the ledger was checked and is in order")
	c.set(func() {
		c.over, c.bad, c.good = true, nil, c.d.opt.Clock()
		c.state.Last = fmt.Sprintf("%d leaves made anew from their rows, signed checkpoints: %d, root %s; %s", found.Leaves, found.Checkpoints, found.Root, goesOn(found.Kept))
		for _, l := range found.Losses {
			c.state.Last += fmt.Sprintf("; break: %v", l)
		}
		c.state.Good, c.state.At = true, c.good
	})
	return nil
}

func goesOn(kept int) string {
	if kept == 0 {
		return "no checkpoint was kept outside, so that an older state of the whole database would not have been noticed"
	}
	return fmt.Sprintf("checkpoints kept outside from which it goes on: %d", kept)
}

// verify reads the checkpoint outside before the database, which can only be further.
func (c *selfCheck) verify(ctx context.Context, progress func(done, all int64)) (found store.Verified, err error) {
	key, err := c.d.LedgerKey()
	if err != nil {
		return found, err
	}
	var kept []store.Kept
	switch outside, err := ledger.ReadOutside(c.d.folder.Outside()); {
	case err != nil:
		return found, err
	case outside != nil:
		kept = append(kept, store.Kept{Where: c.d.folder.Outside(), Note: outside})
	}
	reader, err := c.d.openReader(ctx)
	if err != nil {
		return found, fmt.Errorf("reach the database: %w", err)
	}
	defer func() { err = errors.Join(err, reader.Close()) }()
	return reader.Verify(ctx, key, kept, progress)
}

func (c *selfCheck) set(change func()) {
	c.mu.Lock()
	defer c.mu.Unlock()
	change()
}

// Describe implements prometheus.Collector.
func (c *selfCheck) Describe(ch chan<- *prometheus.Desc) {
	for _, d := range checkFigures {
		ch <- d
	}
}

// Collect implements prometheus.Collector. Before the first pass there is nothing to tell.
func (c *selfCheck) Collect(ch chan<- prometheus.Metric) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.over {
		ch <- prometheus.MustNewConstMetric(checkFailed, prometheus.GaugeValue, truth(c.bad != nil))
	}
	if at, known := c.d.past(c.good); known {
		ch <- prometheus.MustNewConstMetric(checkedAt, prometheus.GaugeValue, at)
	}
}
