package daemon

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"sync"

	"github.com/prometheus/client_golang/prometheus"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/cmd/witnessmark/internal/config"
	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/device/label"
	"witnessmark/device/port"
	"witnessmark/device/scanner"
)

// scanners are the connections to the barcode scanners and how each fares; they are also the figures about them.
type scanners struct {
	list  []config.Scanner
	scans *prometheus.CounterVec

	mu    sync.Mutex
	state map[string]scanner.State // by scanner
}

// notUnderstood stands among the kinds of label in the figures.
const notUnderstood = "not understood"

var (
	scannerUp   = desc("scanner_up", "1 while the port of the scanner is open.", "scanner")
	scannerSeen = desc("scanner_last_seen_timestamp_seconds", "When bytes last came from the scanner.", "scanner")
)

func newScanners(list []config.Scanner) *scanners {
	s := &scanners{list: list, state: map[string]scanner.State{}, scans: prometheus.NewCounterVec(
		prometheus.CounterOpts{Name: "witnessmark_scans_total", Help: "Labels scanned by scanner and kind."}, []string{"scanner", "kind"})}
	for _, one := range list {
		s.state[one.ID] = scanner.State{Reason: "not opened yet"}
		for _, k := range label.Kinds() {
			s.scans.WithLabelValues(one.ID, string(k))
		}
		s.scans.WithLabelValues(one.ID, notUnderstood)
	}
	return s
}

// startScanners opens every scanner. One that cannot be opened is tried again for ever and stops no other.
func (d *Daemon) startScanners(context.Context) error {
	d.scanners = newScanners(d.opt.Config.Scanners)
	d.metrics.registry.MustRegister(d.scanners, d.scanners.scans)
	ctx, cancel := context.WithCancel(d.life)
	var running sync.WaitGroup
	d.later(func(context.Context) error { cancel(); running.Wait(); return nil })
	for _, s := range d.opt.Config.Scanners {
		place, err := port.At(s.Port, s.Mode)
		if err != nil {
			return fmt.Errorf("scanner %s: %w", s.ID, err)
		}
		running.Go(func() { d.holdScanner(ctx, s, place) })
	}
	return nil
}

// holdScanner keeps one scanner connected until ctx ends.
func (d *Daemon) holdScanner(ctx context.Context, s config.Scanner, place port.Place) {
	log := d.opt.Log.With().Str("scanner", s.ID).Logger()
	err := scanner.Run(ctx, scanner.Scanner{Place: place, Labels: s.Labels, Clock: d.opt.Clock,
		Take: func(ctx context.Context, got scanner.Scan) error { return d.scanned(ctx, s, got) },
		Notice: func(now scanner.State) {
			before := d.scanners.note(s.ID, now)
			switch {
			case ctx.Err() != nil: // what the end of a scanner says is no news
			case now.Up && !before.Up:
				log.Info().Msg("scanner is there")
			case !now.Up && before.Reason != now.Reason:
				log.Warn().Str("reason", now.Reason).Msg("scanner is not there")
			}
		}})
	switch {
	case err == nil:
	case ctx.Err() != nil:
		log.Error().Err(err).Msg("scanner is not let go in good order")
	case !d.journalFailed():
		d.end(fmt.Errorf("scanner %s: %w", s.ID, err))
	}
}

// scanned records a label, and then the action that it asks for as one of the person who is signed in. A crash between
// the two leaves a label that did nothing more: whoever sees that scans it again, and it then asks for the same.
func (d *Daemon) scanned(ctx context.Context, s config.Scanner, got scanner.Scan) (err error) {
	defer shelfLost(&err)
	ev := audit.LabelScanned{Bench: s.Bench, Scanner: s.ID, Label: got.Label.Kind, Value: got.Label.Value, Text: got.Text,
		Note: cmp.Or(got.Refused, got.Label.Note), More: got.More}
	if ev.Label == label.Engine {
		ev.Family = cmp.Or(got.Label.Family, s.Family)
	}
	if ev.Label != "" {
		d.scanners.scans.WithLabelValues(s.ID, string(ev.Label)).Inc()
	}
	d.acting.Lock()
	defer d.acting.Unlock()
	if err := d.live.await(ctx, d.life, d.journal.Last()); err != nil {
		return err
	}
	d.live.look(func(sh *bench.Shop) { ev = sh.Scanned(ev) })
	if err := d.record(ctx, ev); err == errDiskFull {
		d.opt.Log.Error().Str("scanner", s.ID).Err(err).Msg("a scanned label has no effect")
		return nil
	} else if err != nil {
		return err
	}
	var follows audit.Event
	if d.live.lastAct().Refused == "" {
		d.live.look(func(sh *bench.Shop) { follows = sh.Follows(ev) })
	}
	if follows == nil {
		return nil
	}
	_, err = d.do(ctx, "", func(*bench.Shop, string) (audit.Event, error) { return follows, nil })
	var refused *control.Error
	if errors.As(err, &refused) { // something came in between; the bench shows how things are
		d.opt.Log.Warn().Str("scanner", s.ID).Err(err).Msg("a scanned label could not do what it asks for")
		return nil
	}
	return err
}

// note takes what a scanner says of itself and gives what it said before.
func (s *scanners) note(id string, now scanner.State) scanner.State {
	s.mu.Lock()
	defer s.mu.Unlock()
	before := s.state[id]
	s.state[id] = now
	s.scans.WithLabelValues(id, notUnderstood).Add(float64(now.Refused - before.Refused))
	return before
}

func (s *scanners) of(id string) scanner.State {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.state[id]
}

// Describe implements prometheus.Collector.
func (s *scanners) Describe(ch chan<- *prometheus.Desc) {
	ch <- scannerUp
	ch <- scannerSeen
}

// Collect implements prometheus.Collector.
func (s *scanners) Collect(ch chan<- prometheus.Metric) {
	for _, one := range s.list {
		st := s.of(one.ID)
		ch <- prometheus.MustNewConstMetric(scannerUp, prometheus.GaugeValue, truth(st.Up), one.ID)
		if !st.Seen.IsZero() {
			ch <- prometheus.MustNewConstMetric(scannerSeen, prometheus.GaugeValue, seconds(st.Seen), one.ID)
		}
	}
}

// Scanners implements control.Desk.
func (d *Daemon) Scanners() []control.Scanner {
	list := []control.Scanner{}
	for _, s := range d.opt.Config.Scanners {
		st := d.scanners.of(s.ID)
		c := control.Scanner{ID: s.ID, Bench: s.Bench, Port: s.Port, Up: st.Up, Reason: st.Reason, Refused: st.Refused}
		if !st.Seen.IsZero() {
			c.LastSeen = &st.Seen
		}
		list = append(list, c)
	}
	return list
}
