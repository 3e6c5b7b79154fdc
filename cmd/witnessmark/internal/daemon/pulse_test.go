package daemon

import (
	"testing"
	"time"
)

func TestPulse(t *testing.T) {
	var p pulse
	begin := time.Now()
	for _, c := range []struct {
		after     time.Duration
		seq, last uint64
		want      time.Duration
	}{
		{0, 5, 5, 0},
		{time.Hour, 5, 5, 0}, // nothing to do is no hanging
		{time.Hour + time.Second, 5, 6, time.Second},
		{time.Hour + 9*time.Second, 5, 7, 9 * time.Second},
		{time.Hour + 10*time.Second, 6, 7, 0},
		{time.Hour + 12*time.Second, 6, 7, 2 * time.Second},
		{time.Hour + 13*time.Second, 7, 7, 0},
	} {
		if got := p.behind(c.seq, c.last, begin.Add(c.after)); got != c.want {
			t.Errorf("at %s, %d of %d: got %s, want %s", c.after, c.seq, c.last, got, c.want)
		}
	}
}
