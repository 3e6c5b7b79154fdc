package daemon

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"strings"
	"time"

	"golang.org/x/sys/unix"
)

// SinceBoot is which boot of the computer this is, and how long ago it began, asleep or awake (clock_gettime(2), CLOCK_BOOTTIME).
func SinceBoot() (boot string, up time.Duration, err error) {
	id, err := os.ReadFile("/proc/sys/kernel/random/boot_id") // random(4)
	if err != nil {
		return "", 0, err
	}
	var t unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_BOOTTIME, &t); err != nil {
		return "", 0, fmt.Errorf("ask the kernel for the time since its boot: %w", err)
	}
	return strings.TrimSpace(string(id)), time.Duration(t.Nano()), nil
}

// mayBeWrongBy is the largest error of a clock that is kept right: from there on the kernel itself says that it is not
// (NTP_PHASE_LIMIT in include/linux/timex.h), which is where it begins after a boot or a step. STA_UNSYNC (adjtimex(2)) is not
// asked: a time service that does not want the hardware clock written leaves it set.
const mayBeWrongBy = 16_000_000 // microseconds

// Synchronised tells whether a time service keeps the clock right. It asks the kernel, and where a service may not, systemd.
func Synchronised(ctx context.Context) (bool, error) {
	var t unix.Timex
	_, err := unix.Adjtimex(&t)
	if errors.Is(err, unix.EPERM) {
		return askSystemd(ctx)
	}
	if err != nil {
		return false, fmt.Errorf("ask the kernel for its clock: %w", err)
	}
	return t.Maxerror < mayBeWrongBy, nil
}

// timedatectlWithin bounds how long it may take to answer.
const timedatectlWithin = 10 * time.Second

// askSystemd has timedatectl(1) say it, for ProtectClock= of systemd.exec(5) keeps adjtimex(2) from its services altogether.
func askSystemd(ctx context.Context) (bool, error) {
	ctx, cancel := context.WithTimeout(ctx, timedatectlWithin)
	defer cancel()
	said, err := exec.CommandContext(ctx, "timedatectl", "show", "--property=NTPSynchronized", "--value").Output()
	switch word := strings.TrimSpace(string(said)); {
	case err != nil:
		return false, fmt.Errorf("the kernel may not be asked for its clock, nor does timedatectl tell: %w", err)
	case word == "yes" || word == "no":
		return word == "yes", nil
	default:
		return false, fmt.Errorf("timedatectl says %q of the clock, and not yes or no", word)
	}
}
