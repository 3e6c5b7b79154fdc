package daemon

import (
	"context"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"witnessmark/audit"
)

// Every clockEvery the two clocks of the computer are compared. A clock that is led slowly to the right time gains less
// than 1 ms in a second (adjtimex(2)); a difference of stepFrom is a step.
const (
	clockEvery = 10 * time.Second
	stepFrom   = 500 * time.Millisecond
)

// clockWatch counts how often the time of day was set while the daemon ran, and has it recorded. Nothing else comes of it: the
// order of readings is that of the journal, whatever the clock shows.
type clockWatch struct {
	clock  func() time.Time
	record func(context.Context, audit.ClockSet)
	steps  prometheus.Counter
}

func newClockWatch(clock func() time.Time, record func(context.Context, audit.ClockSet)) *clockWatch {
	return &clockWatch{clock, record, prometheus.NewCounter(prometheus.CounterOpts{Name: "witnessmark_clock_steps_total",
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
		c.look(ctx, now.Round(0).Sub(last.Round(0)), now.Sub(last))
		last = now
	}
}

// look takes what has passed by the time of day and by the monotonic clock, which nobody sets.
func (c *clockWatch) look(ctx context.Context, shown, passed time.Duration) {
	if step := shown - passed; step.Abs() >= stepFrom {
		c.steps.Inc()
		c.record(ctx, audit.ClockSet{By: step.Milliseconds()})
	}
}

// noteClock journals that the clock was set, some seconds after it was. A crash before leaves a record whose times jump, and no word
// about it.
func (d *Daemon) noteClock(ctx context.Context, ev audit.ClockSet) {
	by := time.Duration(ev.By) * time.Millisecond
	d.opt.Log.Warn().Dur("by_ms", by).Msg("the clock of this computer was set: times recorded before may be wrong, their order is not")
	if _, err := d.journal.Append(ctx, ev); err != nil && ctx.Err() == nil {
		d.opt.Log.Error().Err(err).Msg("it was not recorded that the clock was set")
	}
}
