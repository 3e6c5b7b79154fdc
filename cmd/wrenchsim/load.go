package main

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"golang.org/x/sync/errgroup"

	"witnessmark/cmd/wrenchsim/sim"
	"witnessmark/device/profile"
)

// loadCommand lets many wrenches send at once.
type loadCommand struct {
	Wrenches int           `default:"4" help:"Number of wrenches, called w1, w2 …"`
	Rate     float64       `default:"4" help:"Readings a second, of all wrenches together; 0: as fast as they are acknowledged."`
	Count    int           `default:"100" help:"Readings in all."`
	Profile  string        `default:"semicolon-xor" help:"Built-in wrench profile, or the file of one."`
	Seed     uint64        `default:"1" help:"The same seed gives the same readings."`
	Resend   time.Duration `default:"2s" help:"A reading without acknowledgement is sent again after this long."`
	Every    time.Duration `default:"1s" help:"Tell the progress this often; 0: at the end only."`
	placeFlags
}

// Help is shown below the flags.
func (loadCommand) Help() string {
	return `One place serves for all wrenches: --pty /tmp/w makes the links /tmp/w-1, /tmp/w-2 …,
--listen 127.0.0.1:7001 and --dial 127.0.0.1:7001 count the ports on from there.`
}

// load is one run: what the wrenches share.
type load struct {
	next  atomic.Int64 // readings handed out
	acked atomic.Int64
	mu    sync.Mutex
	waits []time.Duration // from pull to acknowledgement
}

// Run sends all readings and sums up.
func (c *loadCommand) Run(ctx context.Context, to streams) (err error) {
	if c.Wrenches < 1 || c.Count < 1 || c.Rate < 0 {
		return inputError{errors.New("give at least one wrench, at least one reading, and a rate of 0 or more")}
	}
	wrenches, err := c.wrenches()
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, putAway(wrenches)) }()
	for id, w := range wrenches {
		if err := w.Plug(ctx); err != nil {
			return fmt.Errorf("plug in wrench %s: %w", id, err)
		}
	}
	l := &load{}
	begin := time.Now()
	stop := c.progress(ctx, l, to)
	group, ctx := errgroup.WithContext(ctx)
	for i := range c.Wrenches {
		group.Go(func() error { return c.send(ctx, l, wrenches[fmt.Sprintf("w%d", i+1)], uint64(i)) })
	}
	err = group.Wait()
	stop()
	l.sum(to, c.Count, time.Since(begin), wrenches)
	return err
}

func (c *loadCommand) wrenches() (map[string]*sim.Wrench, error) {
	f, err := form(c.Profile)
	if err != nil {
		return nil, err
	}
	places, err := c.counted(c.Wrenches)
	if err != nil {
		return nil, err
	}
	lines, spoken, err := places.lines(slices.Repeat([]*profile.Profile{f}, c.Wrenches))
	if err != nil {
		return nil, err
	}
	wrenches := map[string]*sim.Wrench{}
	for i, line := range lines {
		id := fmt.Sprintf("w%d", i+1)
		meter := sim.CommonMeter()
		meter.Serial = fmt.Sprintf("%06d", i+1) // there are forms with room for six digits only
		wrenches[id] = sim.New(sim.Options{Wrench: id, Form: spoken[i], Line: line, Clock: time.Now, Resend: c.Resend, Meter: meter})
	}
	return wrenches, nil
}

// send lets one wrench pull fresh bolts at its share of the rate until the readings are used up.
func (c *loadCommand) send(ctx context.Context, l *load, w *sim.Wrench, no uint64) error {
	source := rand.New(rand.NewPCG(c.Seed, no))
	tick := func() error { return ctx.Err() }
	if c.Rate > 0 {
		t := time.NewTicker(time.Duration(float64(c.Wrenches) / c.Rate * float64(time.Second)))
		defer t.Stop()
		tick = func() error {
			select {
			case <-ctx.Done():
				return ctx.Err()
			case <-t.C:
				return nil
			}
		}
	}
	for l.next.Add(1) <= int64(c.Count) {
		if err := tick(); err != nil {
			return err
		}
		pull := sim.NewBolt(sim.CommonBolt(), source).TightenTo(30+source.Float64()*60, sim.CommonMeter().Gauge, sim.CommonHand(), source)
		r, err := w.Take(pull, "")
		if err != nil {
			return err
		}
		begin := time.Now()
		if err := w.Send(ctx, r); err != nil {
			return err
		}
		l.book(time.Since(begin))
	}
	return nil
}

func (l *load) book(wait time.Duration) {
	l.acked.Add(1)
	l.mu.Lock()
	l.waits = append(l.waits, wait)
	l.mu.Unlock()
}

// progress tells how far the run is until the function that it gives is called.
func (c *loadCommand) progress(ctx context.Context, l *load, to streams) (stop func()) {
	if c.Every <= 0 {
		return func() {}
	}
	ctx, cancel := context.WithCancel(ctx)
	done := make(chan struct{})
	go func() {
		defer close(done)
		t := time.NewTicker(c.Every)
		defer t.Stop()
		for {
			select {
			case <-ctx.Done():
				return
			case <-t.C:
				fmt.Fprintf(to.notes, "%d of %d readings acknowledged\n", l.acked.Load(), c.Count)
			}
		}
	}()
	return func() { cancel(); <-done }
}

// sum prints what the run came to, also when it was broken off.
func (l *load) sum(to streams, count int, took time.Duration, wrenches map[string]*sim.Wrench) {
	resent := 0
	for _, w := range wrenches {
		resent += w.Counts().Resent
	}
	slices.Sort(l.waits)
	fmt.Fprintf(to.out, "%d of %d readings acknowledged in %.1f s, %.1f a second, %d sent again\n",
		len(l.waits), count, took.Seconds(), float64(len(l.waits))/took.Seconds(), resent)
	if len(l.waits) > 0 {
		at := func(share float64) time.Duration { return l.waits[int(share*float64(len(l.waits)-1))] }
		fmt.Fprintf(to.out, "from pull to acknowledgement: half within %v, 99 of 100 within %v, the longest %v\n",
			at(0.5).Round(time.Microsecond), at(0.99).Round(time.Microsecond), at(1).Round(time.Microsecond))
	}
}
