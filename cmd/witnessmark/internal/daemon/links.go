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
	"witnessmark/audit/judge"
	"witnessmark/cmd/witnessmark/internal/config"
	"witnessmark/device/evidence"
	"witnessmark/device/finder"
	"witnessmark/device/link"
	"witnessmark/device/memory"
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
	epoch    int64            // of its newest reading, from whichever start
	skipped  int64            // counts that never came
	readings int64            // that were recorded
	last     string           // the newest of these, for people
	refused  map[string]int64 // frames by reason
	tape     *evidence.Tape   // nil until the links start
	place    port.Place       // likewise
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
		h := health{State: link.State{Phase: link.Gone, Reason: "it has not been there since the start", Since: time.Now().UTC()}, refused: map[string]int64{}}
		var same bool
		d.live.look(func(s *bench.Shop) {
			now, known := s.Wrench(w.Declared.Wrench)
			same = known && equal(now, w.Declared)
			if last := s.LastReading(w.Declared.Wrench); last != nil {
				h.epoch = last.Epoch
			}
		})
		d.links.set(w.Declared.Wrench, func(was *health) { *was = h })
		if !same {
			if err := d.record(ctx, w.Declared); err != nil {
				return fmt.Errorf("declare wrench %s: %w", w.Declared.Wrench, err)
			}
		}
		d.tellUncalibrated(w.Declared)
	}
	return nil
}

// tellUncalibrated warns of a wrench whose readings will all be flagged.
func (d *Daemon) tellUncalibrated(w audit.WrenchDeclared) {
	var pulls int64
	d.live.look(func(s *bench.Shop) { pulls = s.Pulls(w.Wrench) })
	if why := judge.Uncalibrated(w, d.opt.Clock(), pulls+1); why != "" {
		d.opt.Log.Warn().Str("wrench", w.Wrench).Msg("wrench is out of calibration: " + why)
	}
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
	board := d.board()
	d.later(func(context.Context) error { return board.Close() })
	d.later(func(context.Context) error { cancel(); running.Wait(); return nil })
	if err := d.place(board); err != nil {
		return err
	}
	for _, w := range d.opt.Config.Wrenches {
		id := w.Declared.Wrench
		log := d.opt.Log.With().Str("wrench", id).Logger()
		tape, err := d.tape(w, log)
		if err != nil {
			return fmt.Errorf("wrench %s: %w", id, err)
		}
		s := &sink{d: d, wrench: id, bench: d.opt.Config.BenchOf(id), over: ctx.Done(), log: log}
		l := link.Link{Wrench: id, Place: d.links.health(id).place, Profile: w.Profile, Sink: s, Notice: s.notice,
			Memory: d.memoryOf(id), Serial: w.Find.Speaks, Evidence: tape, Stale: w.Stale, Gone: w.Gone, Reopen: w.OnNetwork()}
		running.Go(func() { d.hold(ctx, l, log); d.closeTape(tape, log) })
	}
	return nil
}

// memoryOf is what is remembered of a wrench. Its link and the live follower both tell it of a reading, whichever comes first.
func (d *Daemon) memoryOf(wrench string) (m *memory.Memory) {
	d.live.look(func(*bench.Shop) { m = d.memories[wrench] })
	return m
}

// board is where wrenches are looked for. The ports that the configuration names are none of its business.
func (d *Daemon) board() *finder.Board {
	b := finder.NewBoard(d.opt.Root)
	b.Heard = func(s finder.Stranger) { d.opt.Log.Warn().Str("port", s.Node).Str("serial", s.Serial).Msg(s.String()) }
	for _, w := range d.opt.Config.Wrenches {
		b.Keep(w.Port)
	}
	for _, s := range d.opt.Config.Scanners {
		b.Keep(s.Port)
	}
	return b
}

// place gives every wrench its place, before any of them is opened: what one may take depends on what the others want.
func (d *Daemon) place(b *finder.Board) error {
	for _, w := range d.opt.Config.Wrenches {
		p, err := w.Place(b)
		if err != nil {
			return fmt.Errorf("wrench %s: %w", w.Declared.Wrench, err)
		}
		d.links.set(w.Declared.Wrench, func(h *health) { h.place = p })
	}
	return nil
}

// where says by which rule the wrench was found, as far as its place tells. That may change while the port is open: a
// wrench that was found by its socket says its serial number.
func (h health) where() string {
	if p, tells := h.place.(interface{ Where() string }); tells {
		if now := p.Where(); now != "" {
			return now
		}
	}
	return h.Where
}

// hold keeps one wrench connected until ctx ends.
func (d *Daemon) hold(ctx context.Context, l link.Link, log zerolog.Logger) {
	err := link.Run(ctx, l)
	switch {
	case err == nil:
	case ctx.Err() != nil:
		log.Error().Err(err).Msg("wrench is not let go in good order")
	case !d.journalFailed():
		d.end(fmt.Errorf("wrench %s: %w", l.Wrench, err))
	}
}

// tape is where everything that a wrench sends is kept.
func (d *Daemon) tape(w config.Wrench, log zerolog.Logger) (*evidence.Tape, error) {
	t, err := evidence.Open(d.folder.Evidence(), w.Declared.Wrench, evidence.Options{
		Profile: w.Profile.Name + " " + w.Profile.Version,
		Limits:  evidence.Limits{Total: d.opt.Config.Evidence},
		Trouble: func(err error) {
			if err != nil {
				log.Error().Err(err).Msg("what comes from the wrench cannot be kept as it came")
			} else {
				log.Info().Msg("what comes from the wrench is kept as it comes again")
			}
		},
	})
	if err == nil {
		d.links.set(w.Declared.Wrench, func(h *health) { h.tape = t })
	}
	return t, err
}

func (d *Daemon) closeTape(t *evidence.Tape, log zerolog.Logger) {
	if err := t.Close(); err != nil {
		log.Error().Err(err).Msg("not all that came from the wrench is kept as it came")
	}
}
