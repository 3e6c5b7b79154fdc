package daemon

import (
	"runtime"
	"slices"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"

	"witnessmark/audit"
	"witnessmark/device"
	"witnessmark/device/link"
)

// metrics counts what happens from this start on; what was journaled before it is history, not an event.
type metrics struct {
	d     *Daemon
	since uint64 // the last entry before this start

	registry *prometheus.Registry
	readings *prometheus.CounterVec
	order    *prometheus.CounterVec
	refused  *prometheus.CounterVec
	resent   *prometheus.CounterVec
	epochs   *prometheus.CounterVec
	skipped  *prometheus.CounterVec
	latency  *latency
	floor    *floor
}

// Metric descriptions of the figures that are read when asked for, so that nothing stale is ever shown.
var (
	wrenchUp   = desc("wrench_up", "1 while the port of the wrench is open.", "wrench")
	wrenchIs   = desc("wrench_state", "1 for the state that the wrench is in: fresh, stale (silent for too long) or gone.", "wrench", "state")
	wrenchSeen = desc("wrench_last_seen_timestamp_seconds", "When bytes last came from the wrench.", "wrench")
	leftOut    = desc("evidence_left_out_bytes_total", "Bytes from the wrench that the disk could not keep as they came.", "wrench")
	entriesIn  = desc("journal_entries", "Entries in the journal.")
	depth      = desc("journal_depth", "Entries of the journal that are not in PostgreSQL yet.")
	databaseUp = desc("database_up", "1 while PostgreSQL takes what is journaled.")
	ledgerSize = desc("ledger_size", "Leaves of the ledger.")
	ledgerSign = desc("ledger_last_signature_timestamp_seconds", "When the ledger was last signed.")
	oldest     = desc("journal_oldest_uncommitted_timestamp_seconds", "When the oldest entry was journaled that is not in PostgreSQL yet; nothing where all are.")
	signedIn   = desc("sessions", "People signed in at the pages, as far as they were there since the start.")
	diskFree   = desc("data_folder_free_bytes", "Bytes that are free on the disk of the data folder.")
	diskSize   = desc("data_folder_size_bytes", "Bytes of the disk of the data folder.")
	backedUp   = desc("backup_last_timestamp_seconds", "When the newest backup was taken that was read back whole; nothing where none is known.")
	buildInfo  = desc("build_info", "Always 1; the labels say which program this is.", "version", "goversion")
)

func desc(name, help string, labels ...string) *prometheus.Desc {
	return prometheus.NewDesc("witnessmark_"+name, help, labels, nil)
}

func newMetrics(d *Daemon) *metrics {
	counter := func(name, help string, labels ...string) *prometheus.CounterVec {
		return prometheus.NewCounterVec(prometheus.CounterOpts{Name: "witnessmark_" + name, Help: help}, labels)
	}
	m := &metrics{d: d, since: d.journal.Last(), registry: prometheus.NewPedanticRegistry(),
		readings: counter("readings_total", "Readings by wrench and verdict as first said.", "wrench", "verdict"),
		order:    counter("out_of_order_readings_total", "Readings of a fastener that was not next.", "wrench"),
		refused:  counter("refused_frames_total", "Frames that did not become a reading.", "wrench", "reason"),
		resent:   counter("resent_readings_total", "Readings that a wrench sent again and that were journaled already.", "wrench"),
		epochs:   counter("wrench_epochs_total", "Times that the count of a wrench began anew.", "wrench"),
		skipped:  counter("skipped_readings_total", "Readings that a wrench counted and that never came.", "wrench"),
		latency:  newLatency(d.opt.Clock),
	}
	m.floor = newFloor(d, counter)
	m.zero()
	m.registry.MustRegister(collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}), m.floor, m.floor.first, m.floor.passed, m.floor.expired, d.clockWatch, d.selfCheck, d.disk, m.readings, m.order, m.refused, m.resent, m.epochs, m.skipped, m.latency.journaled, m.latency.committed, m)
	return m
}

// zero makes the series of every wrench appear at once, so that the first event is seen as an increase.
func (m *metrics) zero() {
	for _, w := range m.d.opt.Config.Wrenches {
		id := w.Declared.Wrench
		for _, v := range audit.Verdicts() {
			m.readings.WithLabelValues(id, string(v))
		}
		for _, reason := range device.Reasons() {
			m.refused.WithLabelValues(id, reason)
		}
		m.order.WithLabelValues(id)
		m.resent.WithLabelValues(id)
		m.epochs.WithLabelValues(id)
		m.skipped.WithLabelValues(id)
	}
}

// outcome books what the live follower made of an entry.
func (m *metrics) outcome(out audit.Outcome) {
	old := out.Entry.Seq <= m.since
	switch ev := out.Entry.Event.(type) {
	case audit.BuildReleased:
		m.floor.released(ev.Build)
	case audit.FrameRefused:
		if !old {
			m.refused.WithLabelValues(ev.Wrench, ev.Reason).Add(float64(1 + ev.More))
		}
	case audit.ReadingTaken:
		for _, mark := range out.Marks {
			if mark.Reading != out.Entry.Seq {
				continue
			}
			m.floor.marked(ev.Wrench, &mark, old)
			if !old {
				m.judged(ev.Wrench, &mark)
			}
		}
	}
}

func (m *metrics) judged(wrench string, mark *audit.Mark) {
	m.readings.WithLabelValues(wrench, string(mark.Verdict)).Inc()
	if slices.Contains(mark.Flags, audit.OutOfOrder) {
		m.order.WithLabelValues(wrench).Inc()
	}
}

// Describe implements prometheus.Collector.
func (m *metrics) Describe(ch chan<- *prometheus.Desc) {
	for _, d := range []*prometheus.Desc{wrenchUp, wrenchIs, wrenchSeen, leftOut, entriesIn, depth, databaseUp, ledgerSize, ledgerSign,
		oldest, signedIn, diskFree, diskSize, backedUp, buildInfo} {
		ch <- d
	}
}

// Collect implements prometheus.Collector. A figure that is not known is left out, never shown as 0.
func (m *metrics) Collect(ch chan<- prometheus.Metric) {
	gauge := func(d *prometheus.Desc, v float64, labels ...string) {
		ch <- prometheus.MustNewConstMetric(d, prometheus.GaugeValue, v, labels...)
	}
	when := func(d *prometheus.Desc, t time.Time, labels ...string) {
		if at, known := m.d.past(t); known {
			gauge(d, at, labels...)
		}
	}
	gauge(buildInfo, 1, m.d.opt.Version, runtime.Version())
	for _, w := range m.d.opt.Config.Wrenches {
		id := w.Declared.Wrench
		h := m.d.links.health(id)
		gauge(wrenchUp, truth(h.Up), id)
		for _, phase := range []link.Phase{link.Fresh, link.Stale, link.Gone} {
			gauge(wrenchIs, truth(h.Phase == phase), id, string(phase))
		}
		if !h.Seen.IsZero() { // which is by the process's own clock, whoever sets the other one
			gauge(wrenchSeen, seconds(time.Now().Add(-time.Since(h.Seen))), id)
		}
		if h.tape != nil {
			ch <- prometheus.MustNewConstMetric(leftOut, prometheus.CounterValue, float64(h.tape.LeftOut()), id)
		}
	}
	if m.d.pages != nil {
		gauge(signedIn, float64(m.d.pages.SignedIn()))
	}
	if free, size, err := Space(m.d.opt.Data); err == nil {
		gauge(diskFree, float64(free))
		gauge(diskSize, float64(size))
	}
	at, _ := m.d.folder.LastBackup()
	when(backedUp, at)
	last := m.d.journal.Last()
	gauge(entriesIn, float64(last))
	s := m.d.writer.reach()
	gauge(databaseUp, truth(s.trouble == nil))
	if !s.known {
		return
	}
	gauge(depth, float64(last-min(last, s.position)))
	if waits, err := m.d.journal.Read(s.position+1, 1); err == nil && len(waits) > 0 {
		when(oldest, waits[0].At)
	}
	gauge(ledgerSize, float64(s.ledger))
	when(ledgerSign, s.signed)
}

func truth(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

func seconds(t time.Time) float64 { return float64(t.UnixMicro()) / 1e6 }
