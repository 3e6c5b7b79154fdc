//go:build linux

// Package disktest gives tests a file system of their own that they can fill, freeze and cut the power of. It takes root;
// a test without it, or without the tools, is skipped and says so.
package disktest

import (
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// Requests of the kernel's include/uapi/linux/fs.h, fs/ext4/ext4.h and fs/xfs/libxfs/xfs_fs.h.
const (
	freeze   = 0xc0045877 // FIFREEZE
	unfreeze = 0xc0045878 // FITHAW
	shutdown = 0x8004587d // EXT4_IOC_SHUTDOWN, XFS_IOC_GOINGDOWN

	withLog    = 1 // the file system's own log is written before: what was changed is there, what was only in memory is not
	withoutLog = 2
)

// Disk is a file system that is mounted at Folder until the test ends.
type Disk struct {
	Folder string
	t      testing.TB
	source string
	args   []string // of mount
	filler string
}

// Kinds are the journaling file systems that Loop makes.
func Kinds() []string { return []string{"ext4", "xfs"} }

// Loop makes a file system of the kind, and of so many bytes (xfs: 300 MiB at least), in a file, and mounts it at folder.
func Loop(t testing.TB, kind, folder string, size int64) *Disk {
	t.Helper()
	image := filepath.Join(t.TempDir(), kind)
	d := &Disk{Folder: folder, t: t, source: image, args: []string{"-o", "loop"}}
	maker := "mkfs." + kind
	d.needs("mount", maker)
	must(t, os.WriteFile(image, nil, 0o600))
	must(t, os.Truncate(image, size))
	args := []string{"-q", image}
	if kind == "ext4" {
		args = []string{"-q", "-m", "0", "-e", "remount-ro", image}
	}
	d.command(maker, args...)
	d.first()
	return d
}

// Memory mounts a file system of so many bytes of memory at folder.
func Memory(t testing.TB, folder, size string) *Disk {
	t.Helper()
	d := &Disk{Folder: folder, t: t, source: "none", args: []string{"-t", "tmpfs", "-o", "size=" + size}}
	d.needs("mount")
	d.first()
	return d
}

// first mounts the file system, where this process may do that at all.
func (d *Disk) first() {
	d.t.Helper()
	if out, err := d.mount(); err != nil {
		d.t.Skipf("no file system may be mounted here: %v: %s", err, out)
	}
	d.t.Cleanup(d.end)
}

func (d *Disk) mount() ([]byte, error) {
	d.filler = filepath.Join(d.Folder, "filler")
	return exec.Command("mount", append(d.args, d.source, d.Folder)...).CombinedOutput()
}

func (d *Disk) needs(tools ...string) {
	d.t.Helper()
	if os.Geteuid() != 0 {
		d.t.Skip("only root may mount a file system")
	}
	for _, tool := range tools {
		if _, err := exec.LookPath(tool); err != nil {
			d.t.Skipf("%s is not installed, it makes the file system", tool)
		}
	}
}

func (d *Disk) command(name string, args ...string) {
	d.t.Helper()
	if out, err := exec.Command(name, args...).CombinedOutput(); err != nil {
		d.t.Fatalf("%s: %v: %s", name, err, out)
	}
}

// Mount mounts the file system, which plays its own log if the power was cut.
func (d *Disk) Mount() {
	d.t.Helper()
	if out, err := d.mount(); err != nil {
		d.t.Fatalf("mount: %v: %s", err, out)
	}
}

// Unmount waits until no file in it is open.
func (d *Disk) Unmount() {
	d.t.Helper()
	for late := time.Now().Add(time.Minute); ; time.Sleep(5 * time.Millisecond) {
		err := unix.Unmount(d.Folder, 0)
		if err == nil {
			return
		}
		if !errors.Is(err, unix.EBUSY) || time.Now().After(late) {
			d.t.Fatal(err)
		}
	}
}

func (d *Disk) end() {
	_ = d.ask(unfreeze, 0) // it may not be frozen
	if err := unix.Unmount(d.Folder, unix.MNT_DETACH); err != nil && !errors.Is(err, unix.EINVAL) {
		d.t.Error(err)
	}
}

// Cut stops the file system as a power cut does: nothing that is only in memory reaches the disk any more, and every
// call from now on fails. withLog: the file system's own log is written before.
func (d *Disk) Cut(log bool) {
	d.t.Helper()
	how := withoutLog
	if log {
		how = withLog
	}
	must(d.t, d.ask(shutdown, how))
}

// Freeze lets nothing write until thaw is called, once or more often: who tries waits.
func (d *Disk) Freeze() (thaw func()) {
	d.t.Helper()
	must(d.t, d.ask(freeze, 0))
	return sync.OnceFunc(func() { must(d.t, d.ask(unfreeze, 0)) })
}

// Check mends an ext4 that is not mounted, as a person does after Break.
func (d *Disk) Check() {
	d.t.Helper()
	out, err := exec.Command("e2fsck", "-f", "-p", d.source).CombinedOutput()
	if wrong := (*exec.ExitError)(nil); err != nil && !(errors.As(err, &wrong) && wrong.ExitCode() == 1) { // 1: faults were mended
		d.t.Fatalf("e2fsck: %v: %s", err, out)
	}
}

// Break has the file system find a fault in itself and turn read-only, as ext4 does with errors=remount-ro. It must be
// unmounted before it takes anything again.
func (d *Disk) Break() { d.t.Helper(); d.command("mount", "-o", "remount,abort", d.Folder) }

func (d *Disk) ask(request uint, how int) error {
	f, err := os.Open(d.Folder)
	if err != nil {
		return err
	}
	return errors.Join(unix.IoctlSetPointerInt(int(f.Fd()), request, how), f.Close())
}

// Fill takes all that is free.
func (d *Disk) Fill() {
	d.t.Helper()
	f, err := os.OpenFile(d.filler, os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	must(d.t, err)
	for _, piece := range []int{1 << 20, 4096, 1} {
		for err = nil; err == nil; {
			_, err = f.Write(make([]byte, piece))
		}
		if !errors.Is(err, unix.ENOSPC) {
			d.t.Fatal(err)
		}
		if err := f.Sync(); err != nil && !errors.Is(err, unix.ENOSPC) {
			d.t.Fatal(err)
		}
	}
	must(d.t, f.Close())
}

// Free gives back what Fill took.
func (d *Disk) Free() { d.t.Helper(); must(d.t, os.Remove(d.filler)) }

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}
