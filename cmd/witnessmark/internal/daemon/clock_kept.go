package daemon

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"time"

	"witnessmark/audit"
	"witnessmark/cmd/witnessmark/internal/whole"
)

// keepClock writes down a moment up to which every step of the clock is recorded, for the next start: while the computer is not
// booted anew, any such moment tells it of every step since, so it is written at a start and after a step only. A crash leaves
// the one before. It is in no backup, and where it is missing a start knows what the journal tells.
func (d *Daemon) keepClock(at instant) {
	if at.Boot == "" {
		return
	}
	text, err := json.Marshal(at)
	if err == nil {
		err = whole.Keep(d.folder.Clock(), text)
	}
	if err != nil {
		d.opt.Log.Warn().Err(err).Msg("what the clock shows cannot be kept; a step of it while the daemon stands may not be noticed")
	}
}

// keptClock is what was written down; nothing where that is of no use.
func (d *Daemon) keptClock() (at instant) {
	text, err := os.ReadFile(d.folder.Clock())
	if err == nil {
		err = json.Unmarshal(text, &at)
	}
	if err != nil {
		if !errors.Is(err, fs.ErrNotExist) {
			d.opt.Log.Warn().Err(err).Msg("what the clock showed was not kept well; a step of it while the daemon stood may not be noticed")
		}
		return instant{}
	}
	return at
}

// meetClock looks at a start whether the clock was set since it was looked at last, before anything is recorded by it.
func (d *Daemon) meetClock(ctx context.Context) error {
	c := d.clockWatch
	now := c.now()
	set, err := d.setMeanwhile(now)
	if err != nil {
		return err
	}
	c.last = now
	switch {
	case set.By == 0:
		c.keep(now)
	case d.noteClock(ctx, set) == nil:
		c.found = true
		c.stepped(now)
	}
	return nil
}

// setMeanwhile is by how much the clock was set while the daemon stood. On the same boot that is known; after another one only
// that a clock was set back that shows less than the newest entry. By 0: not, as far as is known.
func (d *Daemon) setMeanwhile(now instant) (set audit.ClockSet, err error) {
	by := time.Duration(0)
	if kept := d.keptClock(); kept.Boot != "" && kept.Boot == now.Boot {
		by = kept.step(now)
	} else if last := d.journal.Last(); last > 0 {
		newest, err := d.journal.Read(last, 1)
		if err != nil {
			return set, fmt.Errorf("read the newest entry: %w", err)
		}
		by, set.AtLeast = min(0, now.Shown.Round(0).Sub(newest[0].At)), true
	}
	if by.Abs() < stepFrom {
		return audit.ClockSet{}, nil
	}
	set.By = by.Milliseconds()
	return set, nil
}

// noteClock journals that the clock was set, some seconds after it was or at the next start.
func (d *Daemon) noteClock(ctx context.Context, ev audit.ClockSet) error {
	said := d.opt.Log.Warn().Dur("by_ms", time.Duration(ev.By)*time.Millisecond).Bool("at_least", ev.AtLeast)
	if _, err := d.journal.Append(ctx, ev); err != nil {
		if ctx.Err() == nil {
			said.Err(err).Msg("the clock of this computer was set, and that could not be recorded")
		}
		return err
	}
	said.Msg("the clock of this computer was set: times recorded before may be wrong, their order is not")
	return nil
}

// past is when something was, by the clock as it shows now; false: it was then wrong or was set back since, as that lies ahead,
// and how long ago it was cannot be said.
func (d *Daemon) past(t time.Time) (float64, bool) {
	now := d.opt.Clock()
	at := now.Add(-now.Sub(t)) // by what this process counted, if it was there
	return seconds(at), !t.IsZero() && !at.After(now)
}
