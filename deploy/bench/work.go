package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"golang.org/x/sync/errgroup"
)

// worked is what some benches did together.
type worked struct {
	readings int
	took     time.Duration // from the first frame until the last reading was in PostgreSQL
	acked    time.Duration // … until it was acknowledged, that is on the disk
	used     used
	before   map[string]float64 // figures of /metrics
	after    map[string]float64
	from, to uint64 // entries of the journal, both included
}

// work has the first n benches do something at once, and waits until it is recorded.
func (s *shop) work(ctx context.Context, n int, do func(context.Context, *bench) error) (w worked, err error) {
	if err := s.settled(ctx); err != nil {
		return w, err
	}
	if w.before, err = s.api.figures(ctx); err != nil {
		return w, err
	}
	before, err := s.used()
	if err != nil {
		return w, err
	}
	sent := s.sent()
	began := time.Now()
	group, inside := errgroup.WithContext(ctx)
	for _, b := range s.benches[:n] {
		group.Go(func() error {
			if err := do(inside, b); err != nil {
				return err
			}
			return b.wait(inside)
		})
	}
	if err := group.Wait(); err != nil {
		return w, s.wrong(err)
	}
	w.acked = time.Since(began)
	if err := s.settled(ctx); err != nil {
		return w, err
	}
	w.took, w.readings = time.Since(began), s.sent()-sent
	after, err := s.used()
	if err != nil {
		return w, err
	}
	w.used = after.since(before)
	if w.after, err = s.api.figures(ctx); err != nil {
		return w, err
	}
	const count = "witnessmark_commit_latency_seconds_count"
	if kept := int(w.after[count] - w.before[count]); kept != w.readings {
		return w, s.wrong(fmt.Errorf("%d readings were sent and %d were recorded", w.readings, kept))
	}
	w.from, w.to = uint64(w.before["witnessmark_journal_entries"])+1, uint64(w.after["witnessmark_journal_entries"])
	return w, nil
}

// release releases the builds that are done, as a lead does; one with something to decide stays as it is.
func (s *shop) release(ctx context.Context) (released, of int, err error) {
	for _, b := range s.benches {
		for _, build := range b.done {
			of++
			var no refusal
			err := s.api.post(ctx, fmt.Sprintf("/api/v1/builds/%d/release", build), map[string]any{"person": "Lead"}, nil)
			switch {
			case err == nil:
				released++
			case !errors.As(err, &no):
				return released, of, err
			}
		}
		b.done = nil
	}
	return released, of, nil
}

// sent is how many readings the record has.
func (s *shop) sent() (sum int) {
	sum = s.had
	for _, b := range s.benches {
		sum += int(b.sent)
	}
	return sum
}

// flatOut does joint after joint until the time is over, each as fast as the port takes it.
func flatOut(long time.Duration) func(context.Context, *bench) error {
	end := time.Now().Add(long)
	return func(ctx context.Context, b *bench) error {
		for time.Now().Before(end) {
			if err := b.whole(ctx); err != nil {
				return err
			}
		}
		return nil
	}
}

// whole does what is left of the joint on the bench, or the next one.
func (b *bench) whole(ctx context.Context) error {
	if len(b.left) == 0 {
		if err := b.begin(ctx); err != nil {
			return err
		}
	}
	if err := b.send(ctx, b.left); err != nil {
		return err
	}
	b.left = nil
	if err := b.wait(ctx); err != nil {
		return err
	}
	return b.end(ctx)
}

// paced sends one reading each interval until the time is over, whether those before are acknowledged or not. A
// joint that is done is taken off and the next one begun, in which time the wrench rests.
func paced(every, long time.Duration) func(context.Context, *bench) error {
	began := time.Now()
	return func(ctx context.Context, b *bench) error {
		due := began.Add(time.Duration(b.draw.Int64N(int64(every))))
		for due.Before(began.Add(long)) {
			if len(b.left) == 0 {
				if err := b.begin(ctx); err != nil {
					return err
				}
				due = later(due, time.Now())
			}
			time.Sleep(time.Until(due))
			if err := b.send(ctx, b.left[:1]); err != nil {
				return err
			}
			due, b.left = due.Add(every), b.left[1:]
			if len(b.left) > 0 {
				continue
			}
			if err := b.wait(ctx); err != nil {
				return err
			}
			if err := b.end(ctx); err != nil {
				return err
			}
		}
		return ctx.Err()
	}
}

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}
