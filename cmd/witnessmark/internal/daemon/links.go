package daemon

import (
	"context"
	"fmt"
	"sync"
	"time"

	"github.com/rs/zerolog"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/device"
	"witnessmark/device/link"
)

// links are the connections to the wrenches and how each fares.
type links struct {
	mu    sync.Mutex
	state map[string]health // by wrench
}

// health is how a wrench fares.
type health struct {
	up     bool
	reason string    // why it is not up
	seen   time.Time // when bytes last came; zero: not since the start
	resent int       // readings that came again since the start
}

func (l *links) health(wrench string) health {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.state[wrench]
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
		d.links.set(w.Declared.Wrench, func(h *health) { h.reason = "not opened yet" })
		var same bool
		d.live.look(func(s *bench.Shop) {
			now, known := s.Wrench(w.Declared.Wrench)
			same = known && equal(now, w.Declared)
		})
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
	for _, w := range d.opt.Config.Wrenches {
		id := w.Declared.Wrench
		s := sink{d: d, wrench: id, bench: d.opt.Config.BenchOf(id), over: ctx.Done(), log: d.opt.Log.With().Str("wrench", id).Logger()}
		l := link.Link{Wrench: id, Spec: w.Port, Profile: w.Profile, Sink: s, Notice: s.notice}
		d.live.look(func(sh *bench.Shop) { l.Last = sh.LastReading(id) })
		running.Go(func() {
			if err := link.Run(ctx, l); err != nil && ctx.Err() == nil && !d.journalFailed() {
				d.end(fmt.Errorf("wrench %s: %w", id, err))
			}
		})
	}
	d.later(func(context.Context) error { cancel(); running.Wait(); return nil })
	return nil
}

// notice takes what a link says about its wrench: whenever that changes, and whenever bytes came.
func (s sink) notice(now link.State) {
	var before health
	s.d.links.set(s.wrench, func(h *health) {
		before = *h
		*h = health{up: now.Up, reason: now.Reason, seen: now.Seen, resent: now.Resent}
	})
	s.d.metrics.resent.WithLabelValues(s.wrench).Add(float64(now.Resent - before.resent))
	switch {
	case s.ended():
	case now.Up && !before.up:
		s.log.Info().Msg("wrench is there")
	case !now.Up && before.reason != now.Reason:
		s.log.Warn().Str("reason", now.Reason).Msg("wrench is not there")
	}
}

// sink is where the link of one wrench brings what came.
type sink struct {
	d      *Daemon
	wrench string
	bench  string
	over   <-chan struct{} // closed when the link is to end: what it says then is no news
	log    zerolog.Logger
}

func (s sink) ended() bool {
	select {
	case <-s.over:
		return true
	default:
		return false
	}
}

// Reading returns when the reading is on disk. Only then may the wrench forget it.
func (s sink) Reading(ctx context.Context, r device.Reading) error {
	began := s.d.opt.Clock()
	if _, err := s.d.journal.Append(ctx, audit.ReadingTaken{Bench: s.bench, Reading: r}); err != nil {
		return err
	}
	s.d.metrics.journaled.Observe(s.d.opt.Clock().Sub(began).Seconds())
	return nil
}

// Refusal returns when the refused frame is on disk.
func (s sink) Refusal(ctx context.Context, r device.Refusal) error {
	s.log.Warn().Str("reason", r.Reason).Str("detail", r.Detail).Msg("frame refused")
	_, err := s.d.journal.Append(ctx, audit.FrameRefused{Bench: s.bench, Refusal: r})
	return err
}
