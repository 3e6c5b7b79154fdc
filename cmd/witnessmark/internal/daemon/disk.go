package daemon

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"syscall"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"witnessmark/audit"
	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/store/journal"
)

const (
	// diskSilent is how long the disk may take for one write before people are told.
	diskSilent = 2 * time.Second
	// diskLook is how often the disk of the journal is looked after.
	diskLook = time.Second
)

// diskWatch tells how the disk of the journal fares: on the pages, in the log and as figures.
type diskWatch struct{ j *journal.Journal }

var (
	diskShort   = desc("journal_reserve_short", "1 while the disk has no room for the journal's reserve; readings are kept as long as there is some of it.")
	diskRefuses = desc("journal_refusing", "1 while the disk takes nothing more: nothing is recorded, no wrench is acknowledged.")
	diskCut     = desc("journal_cut_back", "1 if a head page of the journal was damaged at this start, and the last write before it was lost.")
	diskWaits   = desc("journal_disk_silent_seconds", "For how long the disk has not answered the journal; 0: it does.")
)

// errDiskFull is what a person is told whose action could not be recorded.
var errDiskFull = &control.Error{Status: http.StatusServiceUnavailable,
	Sentence: "the disk takes nothing more, so this was not recorded: make room on it, and try again"}

// trouble is what is wrong with the disk, for people; empty: nothing.
func (w diskWatch) trouble() string {
	short, silent := w.j.Short(), w.j.Busy()
	switch {
	case silent > diskSilent:
		return fmt.Sprintf("The disk has not answered since %s: readings wait in memory and are not acknowledged; see whether it hangs or is very busy",
			audit.When(time.Now().Add(-silent)))
	case short == nil:
		return ""
	case errors.Is(short.Why, syscall.EROFS):
		return fmt.Sprintf("The disk has been read-only since %s: nothing is recorded and no wrench is acknowledged; "+
			"it most likely found a fault in itself, have it looked at", audit.When(short.Since))
	case short.Refusing:
		return fmt.Sprintf("The disk has been short of room since %s and takes nothing more (%s): nothing is recorded and no wrench is acknowledged; "+
			"make room on it, work then goes on by itself", audit.When(short.Since), short.Why)
	}
	return fmt.Sprintf("The disk has been short of room since %s (%s): readings are still kept, in a reserve for some thousands; make room on it",
		audit.When(short.Since), short.Why)
}

// run puts every change of the disk into the log.
func (w diskWatch) run(ctx context.Context, tell func(trouble string)) {
	tick := time.NewTicker(diskLook)
	defer tick.Stop()
	before := ""
	for {
		select {
		case <-tick.C:
			if now := w.trouble(); now != before {
				before = now
				tell(now)
			}
		case <-ctx.Done():
			return
		}
	}
}

// tellDisk logs how the disk fares.
func (d *Daemon) tellDisk(trouble string) {
	if trouble == "" {
		d.opt.Log.Info().Msg("the disk of the journal is in order again")
	} else {
		d.opt.Log.Error().Msg(trouble)
	}
}

// keep journals what came from a wrench. While the disk takes nothing more it tries again until ctx ends, and the wrench,
// which is not acknowledged meanwhile, goes on having it too.
func (s *sink) keep(ctx context.Context, ev audit.Event) (audit.Entry, error) {
	for {
		e, err := s.d.journal.Append(ctx, ev)
		if !errors.Is(err, journal.ErrNoRoom) {
			return e, err
		}
		select {
		case <-time.After(diskLook):
		case <-ctx.Done():
			return e, err
		}
	}
}

// Describe implements prometheus.Collector.
func (w diskWatch) Describe(ch chan<- *prometheus.Desc) {
	ch <- diskShort
	ch <- diskRefuses
	ch <- diskCut
	ch <- diskWaits
}

// Collect implements prometheus.Collector.
func (w diskWatch) Collect(ch chan<- prometheus.Metric) {
	short := w.j.Short()
	ch <- prometheus.MustNewConstMetric(diskShort, prometheus.GaugeValue, truth(short != nil))
	ch <- prometheus.MustNewConstMetric(diskRefuses, prometheus.GaugeValue, truth(short != nil && short.Refusing))
	ch <- prometheus.MustNewConstMetric(diskCut, prometheus.GaugeValue, truth(w.j.CutBack() != ""))
	ch <- prometheus.MustNewConstMetric(diskWaits, prometheus.GaugeValue, w.j.Busy().Seconds())
}
