//go:build !linux

package daemon

import (
	"context"
	"errors"
	"time"
)

// SinceBoot is known on Linux only: elsewhere a step of the clock is noticed while the daemon runs, and after a restart where
// it shows less than the newest entry.
func SinceBoot() (boot string, up time.Duration, err error) {
	return "", 0, errors.New("which boot of the computer this is is looked up on Linux only")
}

// Synchronised is known on Linux only.
func Synchronised(context.Context) (bool, error) {
	return false, errors.New("this is looked at on Linux only")
}
