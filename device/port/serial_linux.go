package port

import (
	"context"
	"errors"
	"fmt"
	"os"
	"syscall"
	"time"

	"go.bug.st/serial"
	"golang.org/x/sys/unix"
)

// OpenSerial opens and sets a serial port, and keeps other programs off it. What the wrench sent before lies in the
// kernel and is read, never thrown away. Opening may raise DTR and RTS, and reset a wrench that listens to them.
//
// The bytes go over a descriptor of our own; the library only sets the line. Its own reads and writes would take a
// descriptor above 1023 with a panic, would hand that descriptor to programs that we start, and could write into
// whatever file gets its number after a close.
func OpenSerial(ctx context.Context, path string, mode Mode) (Port, error) {
	set, err := mode.settings()
	if err != nil {
		return nil, fmt.Errorf("port %q: %w", path, err)
	}
	p, err := await(ctx, func() (*line, error) { return openSerial(path, set) })
	if err != nil {
		return nil, err // not p: a nil *line would be a Port that is not nil
	}
	return p, nil
}

// await gives up on an open when ctx ends: a driver may hang in it, and nothing ends that. Should it come back, the
// port is closed at once.
func await(ctx context.Context, open func() (*line, error)) (*line, error) {
	type outcome struct {
		p   *line
		err error
	}
	opened := make(chan outcome, 1)
	go func() {
		p, err := open()
		opened <- outcome{p, err}
	}()
	select {
	case o := <-opened:
		return o.p, o.err
	case <-ctx.Done():
		go func() {
			if o := <-opened; o.err == nil {
				o.p.Close() // nobody is left to hear of an error
			}
		}()
		return nil, fmt.Errorf("open the port: %w", ctx.Err())
	}
}

func openSerial(path string, set *serial.Mode) (*line, error) {
	p, err := take(path, set)
	if inUse(err) {
		return nil, busy(path, err)
	}
	if err != nil {
		return nil, err
	}
	return p, nil
}

func take(path string, set *serial.Mode) (*line, error) {
	f, err := os.OpenFile(path, os.O_RDWR|unix.O_NOCTTY|unix.O_NONBLOCK, 0)
	if err != nil {
		return nil, plain(path, err)
	}
	raw, err := f.SyscallConn() // Fd would make the descriptor block
	if err == nil {
		var seized error
		err = raw.Control(func(fd uintptr) { seized = seize(int(fd), path, set) })
		err = errors.Join(err, seized)
	}
	if err == nil {
		err = f.SetDeadline(time.Time{}) // fails where a read could not be woken
	}
	if err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return newLine(path, f, nil), nil
}

// seize takes the lock before a setting is touched, so that a port in use is left as it is.
func seize(fd int, path string, set *serial.Mode) error {
	if _, err := unix.IoctlGetTermios(fd, unix.TCGETS); err != nil {
		if gone(err) {
			return plain(path, err)
		}
		return fmt.Errorf("%s is no serial port: name the device that the wrench is plugged into", path)
	}
	if err := unix.Flock(fd, unix.LOCK_EX|unix.LOCK_NB); err != nil {
		return plain(path, err)
	}
	// By the descriptor, not by the path: that may show another device by now.
	other, err := serial.Open(fmt.Sprintf("/proc/self/fd/%d", fd), set)
	if err != nil {
		return fmt.Errorf("set the speed and form of %s: %w", path, err)
	}
	if err := other.Close(); err != nil {
		return fmt.Errorf("set the speed and form of %s: %w", path, err)
	}
	// Closing gave up what keeps out programs that do not look at locks.
	if err := unix.IoctlSetInt(fd, unix.TIOCEXCL, 0); err != nil {
		return plain(path, err)
	}
	return nil
}

// gone tells a device that left while it was being opened.
func gone(err error) bool {
	return errors.Is(err, syscall.EIO) || errors.Is(err, syscall.ENXIO) || errors.Is(err, syscall.ENODEV)
}

// inUse tells a device that somebody else has locked, or keeps for himself.
func inUse(err error) bool {
	return errors.Is(err, syscall.EBUSY) || errors.Is(err, syscall.EWOULDBLOCK)
}

// plain says what to do about an error of the system.
func plain(path string, err error) error {
	var errno syscall.Errno
	if errors.As(err, &errno) {
		err = errno // without the path, which the sentence names
	}
	switch {
	case errors.Is(err, syscall.ENOENT), errors.Is(err, syscall.ENOTDIR), gone(err):
		return fmt.Errorf("nothing is plugged in at %s: plug it in, or correct the port in the configuration: %w", path, err)
	case errors.Is(err, syscall.EACCES), errors.Is(err, syscall.EPERM):
		return fmt.Errorf("this user may not open %s: add the user to the group that owns the device: %w", path, err)
	case inUse(err):
		return err // who uses it is to be found out with our own descriptor closed
	case errors.Is(err, syscall.EISDIR):
		return fmt.Errorf("%s is a folder: name the device that the wrench is plugged into", path)
	}
	return fmt.Errorf("open %s: %w", path, err)
}
