package daemon

import (
	"testing"
	"time"

	dto "github.com/prometheus/client_model/go"

	"witnessmark/audit"
)

func TestLatency_CommitCountsFromTheFrame(t *testing.T) {
	now := time.Now()
	l := newLatency(func() time.Time { return now })
	reading := func(seq uint64) audit.Outcome {
		return audit.Outcome{Entry: audit.Entry{Seq: seq, At: now.Add(-time.Second), Event: audit.ReadingTaken{}}}
	}
	sum := func() (uint64, float64) {
		var m dto.Metric
		if err := l.committed.Write(&m); err != nil {
			t.Fatal(err)
		}
		return m.Histogram.GetSampleCount(), m.Histogram.GetSampleSum()
	}
	l.kept(7, now.Add(-time.Hour))
	l.written(reading(7))
	if n, s := sum(); n != 1 || s < 3600 {
		t.Errorf("got %d of %v s, want one from the frame an hour ago", n, s)
	}
	l.written(reading(7 + remembered))
	if n, s := sum(); n != 2 || s > 3700 {
		t.Errorf("got %d of %v s, want the second from its entry: another's frame stands in its place", n, s)
	}
	l.written(audit.Outcome{Entry: audit.Entry{Seq: 8, Event: audit.JointClosed{}}})
	if n, _ := sum(); n != 2 {
		t.Errorf("got %d, want what is no reading left out", n)
	}
}
