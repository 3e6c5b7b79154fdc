// Package tend tells the service manager, and its watchdog, how the daemon fares.
package tend

import (
	"cmp"
	"context"
	"fmt"
	"time"

	"github.com/coreos/go-systemd/v22/daemon"
	"github.com/rs/zerolog"

	"witnessmark/cmd/witnessmark/internal/control"
)

// Tended is what a service manager is told about.
type Tended interface {
	Alive(limit time.Duration) error
	Status() control.Status
}

// Run tells the service manager that readings are taken, and goes on telling it for as long as work gets done. Without
// one it does nothing. A daemon that hangs falls silent and is restarted; one whose database is away is not. It returns when
// ctx has ended and that was told.
func Run(ctx context.Context, d Tended, log zerolog.Logger) {
	every, err := daemon.SdWatchdogEnabled(false)
	if err != nil {
		log.Warn().Err(err).Msg("the watchdog's settings cannot be read")
	}
	tell(log, daemon.SdNotifyReady)
	period := every / 2
	if period == 0 {
		period = statusEvery
	}
	tick := time.NewTicker(period)
	defer tick.Stop()
	for {
		select {
		case <-tick.C:
			st := d.Status()
			tell(log, fmt.Sprintf("STATUS=%d entries, %d in the database; database: %s; disk: %s", st.Entries, st.Position, st.Database, cmp.Or(st.Disk, "in order")))
			if err := d.Alive(hangsAfter); err != nil {
				log.Error().Err(err).Msg("work does not get on: the watchdog is not told to wait")
				continue
			}
			tell(log, daemon.SdNotifyWatchdog)
		case <-ctx.Done():
			tell(log, daemon.SdNotifyStopping)
			return
		}
	}
}

// Starting tells the service manager how far a start is that gets on, and asks it to wait for so much longer.
func Starting(log zerolog.Logger, far string, longer time.Duration) {
	tell(log, fmt.Sprintf("STATUS=%s\nEXTEND_TIMEOUT_USEC=%d", far, longer.Microseconds()))
}

const (
	statusEvery = 15 * time.Second // where no watchdog asks
	hangsAfter  = 20 * time.Second // a slow disk is no reason to kill a daemon, one that hangs is
)

func tell(log zerolog.Logger, what string) {
	if _, err := daemon.SdNotify(false, what); err != nil {
		log.Warn().Err(err).Msg("the service manager cannot be told")
	}
}
