package daemon

import (
	"slices"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"witnessmark/audit"
)

// latency measures how long readings take from the port to the disk and to the database.
type latency struct {
	clock     func() time.Time
	journaled prometheus.Histogram
	committed prometheus.Histogram

	mu   sync.Mutex
	came [remembered]arrival // by entry, modulo its length
}

// arrival is when the frame of an entry came, by the clock that nobody sets.
type arrival struct {
	seq uint64
	at  time.Time
}

// remembered is how many arrivals are held. A reading that waits for the database behind more than these counts from its
// entry, which was made a moment after.
const remembered = 4096

func newLatency(clock func() time.Time) *latency {
	histogram := func(name, help string) prometheus.Histogram {
		return prometheus.NewHistogram(prometheus.HistogramOpts{Name: "witnessmark_" + name, Help: help, Buckets: latencyBuckets()})
	}
	return &latency{clock: clock,
		journaled: histogram("journal_latency_seconds", "From the last byte of a reading's frame to its entry on disk."),
		committed: histogram("commit_latency_seconds", "From the last byte of a reading's frame to its row in PostgreSQL; from its entry where it waited long."),
	}
}

// latencyBuckets are fine where a sync and a commit lie, and reach to a database that was away for a day.
func latencyBuckets() []float64 {
	return slices.Concat(prometheus.ExponentialBuckets(0.00025, 1.25, 32), prometheus.ExponentialBuckets(0.5, 4, 10))
}

// kept books a reading that is on disk.
func (l *latency) kept(seq uint64, came time.Time) {
	l.journaled.Observe(time.Since(came).Seconds())
	l.mu.Lock()
	defer l.mu.Unlock()
	l.came[seq%remembered] = arrival{seq, came}
}

// written books a reading that is in PostgreSQL.
func (l *latency) written(out audit.Outcome) {
	if _, is := out.Entry.Event.(audit.ReadingTaken); !is {
		return
	}
	l.mu.Lock()
	a := l.came[out.Entry.Seq%remembered]
	l.mu.Unlock()
	took := l.clock().Sub(out.Entry.At)
	if a.seq == out.Entry.Seq {
		took = time.Since(a.at)
	}
	l.committed.Observe(took.Seconds())
}
