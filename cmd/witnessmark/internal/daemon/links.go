package daemon

import (
	"context"
	"fmt"
	"maps"
	"sync"
	"time"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/cmd/witnessmark/internal/config"
	"witnessmark/device/link"
	"witnessmark/device/port"
)

// links are the connections to the wrenches and how each fares.
type links struct {
	mu    sync.Mutex
	state map[string]health // by wrench
}

// health is how a wrench fares, and what happened to it since the start.
type health struct {
	link.State
	epoch   int64            // of its newest reading, from whichever start
	skipped int64            // counts that never came
	refused map[string]int64 // frames by reason
}

func (l *links) health(wrench string) health {
	l.mu.Lock()
	defer l.mu.Unlock()
	h := l.state[wrench]
	h.refused = maps.Clone(h.refused)
	return h
}

func (l *links) set(wrench string, change func(*health)) {
	l.mu.Lock()
	defer l.mu.Unlock()
	h := l.state[wrench]
	change(&h)
	l.state[wrench] = h
}

// declareWrenches journals what the configuration says about a wrench, where that is not what was last declared.
func (d *Daemon) declareWrenches(ctx context.Context) error {
	d.links = &links{state: map[string]health{}}
	for _, w := range d.opt.Config.Wrenches {
		h := health{State: link.State{Phase: link.Gone, Reason: "not opened yet", Since: time.Now().UTC()}, refused: map[string]int64{}}
		var same bool
		d.live.look(func(s *bench.Shop) {
			now, known := s.Wrench(w.Declared.Wrench)
			same = known && equal(now, w.Declared)
			if last := s.LastReading(w.Declared.Wrench); last != nil {
				h.epoch = last.Epoch
			}
		})
		d.links.set(w.Declared.Wrench, func(was *health) { *was = h })
		if same {
			continue
		}
		if err := d.record(ctx, w.Declared); err != nil {
			return fmt.Errorf("declare wrench %s: %w", w.Declared.Wrench, err)
		}
	}
	return nil
}

// equal compares two declarations by what they say.
func equal(a, b audit.WrenchDeclared) bool {
	if !sameTime(a.Calibrated, b.Calibrated) || !sameTime(a.Due, b.Due) {
		return false
	}
	a.Calibrated, a.Due, b.Calibrated, b.Due = nil, nil, nil, nil
	return a == b
}

func sameTime(a, b *time.Time) bool {
	if a == nil || b == nil {
		return a == b
	}
	return a.Equal(*b)
}

// startLinks opens every wrench. A wrench that cannot be opened is tried again for ever and stops no other; a reading
// that cannot be journaled ends the daemon, because its wrench would look well and be deaf.
func (d *Daemon) startLinks(context.Context) error {
	ctx, cancel := context.WithCancel(d.life)
	var running sync.WaitGroup
	d.later(func(context.Context) error { cancel(); running.Wait(); return nil })
	for _, w := range d.opt.Config.Wrenches {
		place, err := d.place(w)
		if err != nil {
			return fmt.Errorf("wrench %s: %w", w.Declared.Wrench, err)
		}
		running.Go(func() { d.hold(ctx, w, place) })
	}
	return nil
}

// place is where a wrench is plugged in. It opens nothing.
func (d *Daemon) place(w config.Wrench) (port.Place, error) {
	return port.At(w.Port, port.Mode(w.Profile.Mode()))
}

// hold keeps one wrench connected until ctx ends.
func (d *Daemon) hold(ctx context.Context, w config.Wrench, place port.Place) {
	id := w.Declared.Wrench
	s := &sink{d: d, wrench: id, bench: d.opt.Config.BenchOf(id), over: ctx.Done(), log: d.opt.Log.With().Str("wrench", id).Logger()}
	err := link.Run(ctx, link.Link{Wrench: id, Place: place, Profile: w.Profile, Sink: s, Notice: s.notice,
		Memory: d.memories[id], Stale: w.Stale, Gone: w.Gone})
	switch {
	case err == nil:
	case ctx.Err() != nil:
		s.log.Error().Err(err).Msg("wrench is not let go in good order")
	case !d.journalFailed():
		d.end(fmt.Errorf("wrench %s: %w", id, err))
	}
}
