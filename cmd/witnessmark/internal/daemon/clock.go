package daemon

import (
	"context"
	"time"

	"github.com/prometheus/client_golang/prometheus"
)

// Every clockEvery the two clocks of the computer are compared. A clock that is led slowly to the right time gains less
// than 1 ms in a second (adjtimex(2)); a difference of stepFrom is a step.
const (
	clockEvery = 10 * time.Second
	stepFrom   = 500 * time.Millisecond
)

// clockWatch counts how often the time of day was set while the daemon ran. Nothing else comes of it: the order of
// readings is that of the journal, whatever the clock shows.
type clockWatch struct {
	clock func() time.Time
	steps prometheus.Counter
}

func newClockWatch(clock func() time.Time) *clockWatch {
	return &clockWatch{clock, prometheus.NewCounter(prometheus.CounterOpts{Name: "witnessmark_clock_steps_total",
		Help: "Times that the clock of this computer was set by half a second or more while the daemon ran."})}
}

// run compares until ctx ends.
func (c *clockWatch) run(ctx context.Context) {
	tick := time.NewTicker(clockEvery)
	defer tick.Stop()
	for last := c.clock(); ; {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		now := c.clock()
		c.look(now.Round(0).Sub(last.Round(0)), now.Sub(last))
		last = now
	}
}

// look takes what has passed by the time of day and by the monotonic clock, which nobody sets.
func (c *clockWatch) look(shown, passed time.Duration) {
	if (shown - passed).Abs() >= stepFrom {
		c.steps.Inc()
	}
}
