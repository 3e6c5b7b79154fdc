package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"golang.org/x/sys/unix"
)

// used is what the program and its database have taken of the processor.
type used struct{ program, database time.Duration }

func (u used) since(before used) used {
	return used{u.program - before.program, u.database - before.database}
}

// tick is what /proc counts processor time in: USER_HZ, which is 100 on every Linux (proc(5)).
const tick = 10 * time.Millisecond

// stat is the fields of /proc/PID/stat behind the name, which may hold blanks; the first is the state.
func stat(pid int) ([]string, error) {
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		return nil, err
	}
	_, rest, _ := strings.Cut(string(text), ") ")
	return strings.Fields(rest), nil
}

// ticks sums fields of stat, numbered as in proc(5).
func ticks(f []string, fields ...int) (sum time.Duration) {
	for _, no := range fields {
		n, err := strconv.Atoi(f[no-3])
		if err == nil { // the kernel writes numbers
			sum += time.Duration(n) * tick
		}
	}
	return sum
}

// cpu is what a process has used.
func cpu(pid int) (time.Duration, error) {
	f, err := stat(pid)
	if err != nil {
		return 0, err
	}
	return ticks(f, 14, 15), nil
}

// family is what a server has used with its children, also with those that have ended.
func family(parent int) (time.Duration, error) {
	f, err := stat(parent)
	if err != nil {
		return 0, err
	}
	sum := ticks(f, 14, 15, 16, 17)
	for _, pid := range children(parent) {
		if f, err := stat(pid); err == nil { // else it has just ended
			sum += ticks(f, 14, 15)
		}
	}
	return sum, nil
}

func children(parent int) (pids []int) {
	all, err := filepath.Glob("/proc/[0-9]*")
	if err != nil {
		return nil // the pattern is right
	}
	for _, name := range all {
		pid, err := strconv.Atoi(filepath.Base(name))
		if err != nil {
			continue
		}
		if f, err := stat(pid); err == nil && f[1] == strconv.Itoa(parent) {
			pids = append(pids, pid)
		}
	}
	return pids
}

// resident is the memory of a process in bytes, VmRSS of proc(5).
func resident(pid int) (int64, error) {
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		return 0, err
	}
	for line := range strings.Lines(string(text)) {
		if kb, is := strings.CutPrefix(line, "VmRSS:"); is {
			n, err := strconv.ParseInt(strings.Fields(kb)[0], 10, 64)
			return n << 10, err
		}
	}
	return 0, fmt.Errorf("process %d has no memory: it has ended", pid)
}

// size is what the files in a folder, or one file, take of the disk.
func size(path string) (sum int64, err error) {
	err = filepath.WalkDir(path, func(_ string, d fs.DirEntry, err error) error {
		if errors.Is(err, fs.ErrNotExist) {
			return nil
		}
		if err != nil {
			return err
		}
		if info, err := d.Info(); err == nil && info.Mode().IsRegular() { // else PostgreSQL has removed it meanwhile
			sum += info.Size()
		}
		return nil
	})
	return sum, err
}

// fileSystem names what the folder lies on.
func fileSystem(dir string) string {
	var st unix.Statfs_t
	if err := unix.Statfs(dir, &st); err != nil {
		return "unknown"
	}
	switch st.Type {
	case unix.EXT4_SUPER_MAGIC:
		return "ext4"
	case unix.XFS_SUPER_MAGIC:
		return "xfs"
	case unix.BTRFS_SUPER_MAGIC:
		return "btrfs"
	case unix.OVERLAYFS_SUPER_MAGIC:
		return "overlay"
	case unix.TMPFS_MAGIC:
		return "tmpfs, which is memory: nothing here tells of a disk"
	}
	return fmt.Sprintf("%#x", st.Type)
}
