package port

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
)

// Holders lists the programs that have the device at path open, ourselves included, by their numbers. Of the programs
// of other users only root sees what they have open, so an empty list proves nothing.
func Holders(path string) []Holder {
	number, ok := deviceNumber(path)
	if !ok {
		return nil
	}
	var all []Holder
	processes, _ := os.ReadDir("/proc") // without /proc there is nothing to tell
	for _, p := range processes {
		pid, err := strconv.Atoi(p.Name())
		if err == nil && holds(pid, number) {
			all = append(all, Holder{PID: pid, Name: nameOf(pid)})
		}
	}
	slices.SortFunc(all, func(a, b Holder) int { return a.PID - b.PID })
	return all
}

// holds looks through the descriptors of a process. Only what lies under /dev is looked at more closely: to ask for
// the state of any file might wait for a network drive.
func holds(pid int, number uint64) bool {
	dir := fmt.Sprintf("/proc/%d/fd", pid)
	descriptors, _ := os.ReadDir(dir) // of another user, or gone meanwhile
	for _, d := range descriptors {
		name := filepath.Join(dir, d.Name())
		if to, err := os.Readlink(name); err != nil || !strings.HasPrefix(to, "/dev/") {
			continue
		}
		if n, ok := deviceNumber(name); ok && n == number {
			return true
		}
	}
	return false
}

// deviceNumber tells one character device from another, whatever names lead to it.
func deviceNumber(path string) (uint64, bool) {
	fi, err := os.Stat(path)
	if err != nil || fi.Mode()&os.ModeCharDevice == 0 {
		return 0, false
	}
	st, ok := fi.Sys().(*syscall.Stat_t)
	if !ok {
		return 0, false
	}
	return st.Rdev, true
}

func nameOf(pid int) string {
	name, err := os.ReadFile(fmt.Sprintf("/proc/%d/comm", pid))
	if err != nil {
		return "a program"
	}
	return strings.TrimSpace(string(name))
}

// busy says who uses the port, after our own descriptor is closed.
func busy(path string, err error) error {
	holders := Holders(path)
	others := slices.DeleteFunc(slices.Clone(holders), func(h Holder) bool { return h.PID == os.Getpid() })
	switch {
	case len(others) > 0:
		return fmt.Errorf("another program uses %s: end %s: %w", path, listed(others), err)
	case len(holders) > 0:
		return fmt.Errorf("this program has %s open already: give every wrench and scanner a port of its own: %w", path, err)
	}
	return fmt.Errorf("another program uses %s: end that program (root sees which: fuser -v %s): %w", path, path, err)
}

// listed writes the holders one after the other; who holds a port is one program, seldom more.
func listed(all []Holder) string {
	names := make([]string, len(all))
	for i, h := range all {
		names[i] = h.String()
	}
	return strings.Join(names, " and ")
}
