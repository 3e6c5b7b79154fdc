package sim

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"syscall"

	"github.com/creack/pty"
	"golang.org/x/sys/unix"
)

// terminal is a wrench on a pseudo-terminal under a stable name.
type terminal struct{ link string }

// Pty is a line over a pseudo-terminal. link is the stable name: a symbolic link that Open points to a fresh device
// and that vanishes when the wrench is unplugged, as the names under /dev/serial/by-id do.
// A file or a folder at that name is left alone and refused.
func Pty(link string) (Line, error) {
	link, err := filepath.Abs(link)
	if err != nil {
		return nil, fmt.Errorf("find the folder of %s: %w", link, err)
	}
	if fi, err := os.Lstat(link); err == nil && fi.Mode().Type() != os.ModeSymlink {
		return nil, fmt.Errorf("%s exists and is no link of a simulated wrench: choose another name", link)
	}
	return terminal{link}, nil
}

// Open makes a device and points the link to it. The slave side is set raw and kept open: a line discipline that
// echoes or turns CR into LF would spoil frames sent before the daemon opens it, and a slave nobody holds hangs up.
func (t terminal) Open(context.Context) (io.ReadWriteCloser, error) {
	master, slave, err := pty.Open()
	if err != nil {
		return nil, fmt.Errorf("open a pseudo-terminal: %w", err)
	}
	m, err := pollable(master)
	if err == nil {
		err = setRaw(slave)
	}
	if err == nil {
		err = point(t.link, slave.Name())
	}
	if err != nil {
		return nil, errors.Join(err, slave.Close(), master.Close())
	}
	return patient{&plugged{File: m, slave: slave, link: t.link}}, nil
}

// atOnce: a pseudo-terminal is there before anybody opens it.
func (t terminal) atOnce() {}

// Addr is the stable name.
func (t terminal) Addr() string { return t.link }

// Close has nothing to give up: the link went with the connection.
func (t terminal) Close() error { return nil }

// plugged is one device between plug and unplug.
type plugged struct {
	*os.File
	slave *os.File
	link  string
}

// Close unplugs: the link goes first, so that nobody opens a device that is about to vanish.
func (p *plugged) Close() error {
	err := os.Remove(p.link)
	if errors.Is(err, os.ErrNotExist) {
		err = nil
	}
	return errors.Join(err, p.slave.Close(), p.File.Close())
}

// pollable gives the master under a descriptor that does not block: Close then ends a Read, and a write can time out.
func pollable(master *os.File) (*os.File, error) {
	fd, err := unix.FcntlInt(master.Fd(), unix.F_DUPFD_CLOEXEC, 0)
	if err != nil {
		return nil, fmt.Errorf("duplicate the pseudo-terminal: %w", err)
	}
	if err := syscall.SetNonblock(fd, true); err != nil {
		return nil, errors.Join(fmt.Errorf("unblock the pseudo-terminal: %w", err), syscall.Close(fd))
	}
	if err := master.Close(); err != nil {
		return nil, errors.Join(fmt.Errorf("close the blocking side: %w", err), syscall.Close(fd))
	}
	return os.NewFile(uintptr(fd), master.Name()), nil
}

func setRaw(slave *os.File) error {
	fd := int(slave.Fd())
	t, err := unix.IoctlGetTermios(fd, unix.TCGETS)
	if err != nil {
		return fmt.Errorf("read the terminal's settings: %w", err)
	}
	t.Iflag &^= unix.IGNBRK | unix.BRKINT | unix.PARMRK | unix.ISTRIP | unix.INLCR | unix.IGNCR | unix.ICRNL | unix.IXON
	t.Oflag &^= unix.OPOST
	t.Lflag &^= unix.ECHO | unix.ECHONL | unix.ICANON | unix.ISIG | unix.IEXTEN
	t.Cflag = t.Cflag&^(unix.CSIZE|unix.PARENB) | unix.CS8
	t.Cc[unix.VMIN], t.Cc[unix.VTIME] = 1, 0
	if err := unix.IoctlSetTermios(fd, unix.TCSETS, t); err != nil {
		return fmt.Errorf("set the terminal raw: %w", err)
	}
	return nil
}

// point makes the link show the device in one step: a peer sees the old name, or the new one, never half of one.
// A crash in between leaves a link ending in .new, which the next call replaces.
func point(link, device string) error {
	fresh := link + ".new"
	if err := os.Remove(fresh); err != nil && !errors.Is(err, os.ErrNotExist) {
		return fmt.Errorf("clear the stable name: %w", err)
	}
	if err := os.Symlink(device, fresh); err != nil {
		return fmt.Errorf("make the stable name: %w", err)
	}
	if err := os.Rename(fresh, link); err != nil {
		return fmt.Errorf("make the stable name: %w", err)
	}
	return nil
}
