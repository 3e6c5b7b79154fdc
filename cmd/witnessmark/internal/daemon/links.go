package daemon

import (
	"context"
	"fmt"
	"maps"
	"sync"
	"time"

	"github.com/rs/zerolog"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/cmd/witnessmark/internal/config"
	"witnessmark/device"
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
	s := sink{d: d, wrench: id, bench: d.opt.Config.BenchOf(id), over: ctx.Done(), log: d.opt.Log.With().Str("wrench", id).Logger()}
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

// notice takes what a link says about its wrench: whenever that changes, and whenever bytes came.
func (s sink) notice(now link.State) {
	var before link.State
	s.d.links.set(s.wrench, func(h *health) { before, h.State = h.State, now })
	s.d.metrics.resent.WithLabelValues(s.wrench).Add(float64(now.Resent - before.Resent))
	switch news := now.Phase != before.Phase || now.Reason != before.Reason; {
	case !news, s.ended():
	case now.Phase == link.Fresh:
		s.log.Info().Str("found_by", now.Where).Msg("wrench is there")
	case now.Up:
		s.log.Warn().Str("state", string(now.Phase)).Str("reason", now.Reason).Msg("wrench is silent")
	default:
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
	s.count(r)
	return nil
}

// count says what the wrench's counter tells: that it began anew, or that readings never came.
func (s sink) count(r device.Reading) {
	anew := false
	s.d.links.set(s.wrench, func(h *health) {
		anew, h.epoch = r.Epoch > h.epoch, r.Epoch
		h.skipped += r.Skipped
	})
	if anew {
		s.d.metrics.epochs.WithLabelValues(s.wrench).Inc()
		s.log.Warn().Int64("epoch", r.Epoch).Msg("the wrench's counter began anew")
	}
	if r.Skipped > 0 {
		s.d.metrics.skipped.WithLabelValues(s.wrench).Add(float64(r.Skipped))
		s.log.Warn().Int64("skipped", r.Skipped).Msg("readings that the wrench counted never came")
	}
}

// Refusal returns when the refused frame is on disk.
func (s sink) Refusal(ctx context.Context, r device.Refusal) error {
	s.log.Warn().Str("reason", r.Reason).Str("detail", r.Detail).Int64("more", r.More).Msg("frame refused")
	s.d.links.set(s.wrench, func(h *health) { h.refused[r.Reason] += 1 + r.More })
	_, err := s.d.journal.Append(ctx, audit.FrameRefused{Bench: s.bench, Refusal: r})
	return err
}
