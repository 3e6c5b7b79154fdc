package daemon

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"github.com/rs/zerolog"

	"witnessmark/cmd/witnessmark/internal/config"
	"witnessmark/store/cluster"
)

// base is the database that the writer writes to: one of the shop's own, or a private server that is kept running.
type base struct {
	folder string // of the private server; empty: the shop's own database
	log    zerolog.Logger

	mu      sync.Mutex
	url     string // empty: not up
	trouble error  // why it is not up
	moved   chan struct{}
}

// stopGrace bounds how long a private server may take to stop.
const stopGrace = 20 * time.Second

// errStarting is the trouble of a private server that has not answered yet.
var errStarting = errors.New("the private database is starting")

func newBase(d *Daemon) *base {
	b := &base{log: d.opt.Log, moved: make(chan struct{})}
	if d.opt.Config.Database != config.Private {
		b.url = d.opt.Config.Database
		return b
	}
	b.folder, b.trouble = d.folder.Postgres(), errStarting
	return b
}

// run keeps a private server running until ctx ends: whenever it ends by itself it is started again, each time a little
// later while it keeps ending.
func (b *base) run(ctx context.Context) {
	if b.folder == "" {
		return
	}
	var wait backoff
	for ctx.Err() == nil {
		began := time.Now()
		err := b.once(ctx)
		if ctx.Err() != nil {
			break
		}
		if time.Since(began) > longEnough {
			wait = backoff{}
		}
		b.set("", err)
		b.log.Error().Err(err).Msg("the private database is not running; readings are journaled meanwhile")
		wait.sleep(ctx)
	}
	b.set("", errEnding)
}

// once runs the server until it ends by itself or ctx ends; the error is never nil.
func (b *base) once(ctx context.Context) error {
	c, err := cluster.Start(ctx, b.folder)
	if err != nil {
		return fmt.Errorf("start private database: %w", err)
	}
	b.set(c.ConnString(), nil)
	b.log.Info().Msg("private database runs")
	select {
	case err := <-c.Done():
		return errors.Join(fmt.Errorf("the private database ended by itself: %w", orEnded(err)), stop(c))
	case <-ctx.Done():
		b.set("", errEnding)
		return errors.Join(ctx.Err(), stop(c))
	}
}

func orEnded(err error) error {
	if err == nil {
		return errors.New("no reason given")
	}
	return err
}

// stop is given its own time: the context of the daemon has ended by then.
func stop(c *cluster.Cluster) error {
	ctx, cancel := context.WithTimeout(context.Background(), stopGrace)
	defer cancel()
	return c.Stop(ctx)
}

func (b *base) set(url string, trouble error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.url, b.trouble = url, trouble
	close(b.moved)
	b.moved = make(chan struct{})
}

// address waits until there is one.
func (b *base) address(ctx context.Context) (string, error) {
	for {
		b.mu.Lock()
		url, moved := b.url, b.moved
		b.mu.Unlock()
		if url != "" {
			return url, nil
		}
		select {
		case <-moved:
		case <-ctx.Done():
			return "", ctx.Err()
		}
	}
}

// Back-off between tries: from firstWait, doubling up to lastWait.
const (
	firstWait = 100 * time.Millisecond
	lastWait  = 5 * time.Second
	// longEnough is how long something must have worked for its next failure to count as the first.
	longEnough = time.Minute
)

// backoff is the pause before the next try; the zero value is the first one.
type backoff struct{ next time.Duration }

func (b *backoff) sleep(ctx context.Context) {
	if b.next == 0 {
		b.next = firstWait
	}
	t := time.NewTimer(b.next)
	defer t.Stop()
	b.next = min(2*b.next, lastWait)
	select {
	case <-t.C:
	case <-ctx.Done():
	}
}
