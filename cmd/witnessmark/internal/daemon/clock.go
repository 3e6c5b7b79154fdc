package daemon

import (
	"context"
	"errors"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"witnessmark/audit"
)

// Every clockEvery it is looked whether the clock was set. A clock that is led slowly to the right time takes what counts since
// the boot along (clock_gettime(2), CLOCK_BOOTTIME is CLOCK_MONOTONIC with the time asleep); a difference of stepFrom is a step.
// Every keptRightEvery it is asked whether somebody keeps it right.
const (
	stepFrom       = 500 * time.Millisecond
	keptRightEvery = 15 * time.Minute
)

// clockEvery is shorter in this package's tests.
var clockEvery = 10 * time.Second

// clockWatch has it recorded when the time of day was set. Nothing else comes of it: the order of readings is that of the
// journal, whatever the clock shows.
type clockWatch struct {
	clock  func() time.Time
	uptime func() (boot string, up time.Duration, err error) // nil: nobody knows
	record func(context.Context, audit.ClockSet) error
	keep   func(instant) // see keepClock
	synced func(context.Context) (bool, error)
	steps  prometheus.Counter
	last   instant // up to which every step is recorded; of one goroutine at a time

	mu    sync.Mutex
	found bool  // it was seen at the start that it had been set
	right bool  // somebody keeps it right
	why   error // why that is not known
}

// instant is one moment by two clocks, of which nobody sets the second.
type instant struct {
	Shown time.Time     `json:"shown"`
	Boot  string        `json:"boot"` // which boot of the computer; empty: not known
	Up    time.Duration `json:"up"`   // nanoseconds since then, asleep or awake
}

// step is by how much the clock was set from here on to a later moment: 0 where that cannot be known, as nothing counted both.
func (a instant) step(b instant) time.Duration {
	passed := b.Shown.Sub(a.Shown) // as this process counted, if it was there
	if a.Boot != "" && a.Boot == b.Boot {
		passed = b.Up - a.Up
	}
	return b.Shown.Round(0).Sub(a.Shown.Round(0)) - passed
}

func newClockWatch(d *Daemon) *clockWatch {
	return &clockWatch{clock: d.opt.Clock, uptime: d.opt.Uptime, record: d.noteClock, keep: d.keepClock, synced: Synchronised, why: errNotAsked,
		steps: prometheus.NewCounter(prometheus.CounterOpts{Name: "witnessmark_clock_steps_total",
			Help: "Times that the clock of this computer was set by half a second or more, with the one that was seen at the start."})}
}

// now looks at both clocks at once: what was held up in between is done again.
func (c *clockWatch) now() (at instant) {
	for c.uptime != nil {
		boot, before, err := c.uptime()
		at.Shown = c.clock()
		again, up, err2 := c.uptime()
		if err != nil || err2 != nil {
			break
		}
		if again == boot && up-before < stepFrom/2 {
			at.Boot, at.Up = boot, up
			return at
		}
	}
	return instant{Shown: c.clock()}
}

// run looks at the clock until ctx ends.
func (c *clockWatch) run(ctx context.Context) {
	tick := time.NewTicker(clockEvery)
	defer tick.Stop()
	c.ask(ctx)
	for asked := time.Now(); ; {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		if c.look(ctx, c.now()) || time.Since(asked) >= keptRightEvery { // who keeps it right has set it just now
			c.ask(ctx)
			asked = time.Now()
		}
	}
}

// look compares with the moment before. A step that cannot be recorded is found again by the next look, or the next start.
func (c *clockWatch) look(ctx context.Context, now instant) (stepped bool) {
	by := c.last.step(now)
	if by.Abs() < stepFrom {
		c.last = now
		return false
	}
	if c.record(ctx, audit.ClockSet{By: by.Milliseconds()}) == nil {
		c.stepped(now)
	}
	return true
}

// stepped goes on from a step that is recorded. A crash before it is kept has the next start record it once more.
func (c *clockWatch) stepped(now instant) {
	c.steps.Inc()
	c.last = now
	c.keep(now)
}

// errNotAsked is the state before the first answer.
var errNotAsked = errors.New("it was not asked yet")

// ask finds out whether somebody keeps the clock right.
func (c *clockWatch) ask(ctx context.Context) {
	right, err := c.synced(ctx)
	c.mu.Lock()
	defer c.mu.Unlock()
	c.right, c.why = right, err
}

// KeptRight implements web.Shop.
func (d *Daemon) KeptRight() (bool, error) {
	d.clockWatch.mu.Lock()
	defer d.clockWatch.mu.Unlock()
	return d.clockWatch.right, d.clockWatch.why
}

// clockTrouble is what is to be known of the clock, for people; empty: it is kept right.
func (d *Daemon) clockTrouble() string {
	switch right, why := d.KeptRight(); {
	case why != nil:
		return "Whether the clock of this computer is kept right is not known (" + why.Error() + "): compare it with another one now and then"
	case !right:
		return "The clock of this computer is not synchronised: the order of what is recorded holds, but its times may be wrong; let a time service run, or compare it with another one now and then"
	}
	return ""
}

var (
	clockFound = desc("clock_found_set", "1 if it was seen at this start that the clock of this computer had been set, 0 if not.")
	clockRight = desc("clock_synchronised", "1 while a time service keeps the clock of this computer right, 0 while none does; nothing where that is not known.")
)

// Describe implements prometheus.Collector.
func (c *clockWatch) Describe(ch chan<- *prometheus.Desc) {
	c.steps.Describe(ch)
	ch <- clockFound
	ch <- clockRight
}

// Collect implements prometheus.Collector.
func (c *clockWatch) Collect(ch chan<- prometheus.Metric) {
	c.steps.Collect(ch)
	c.mu.Lock()
	defer c.mu.Unlock()
	ch <- prometheus.MustNewConstMetric(clockFound, prometheus.GaugeValue, truth(c.found))
	if c.why == nil {
		ch <- prometheus.MustNewConstMetric(clockRight, prometheus.GaugeValue, truth(c.right))
	}
}
