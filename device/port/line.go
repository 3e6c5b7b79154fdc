package port

import (
	"errors"
	"fmt"
	"io"
	"os"
	"sync"
	"sync/atomic"
	"syscall"
	"time"
)

// Bounds on what may hang: a wrench that takes no bytes, and a kernel that drains a port before it closes it.
const (
	WriteWithin = 2 * time.Second
	CloseWithin = 5 * time.Second
)

// past wakes whoever waits for a deadline.
var past = time.Unix(1, 0)

// channel is what *os.File of a terminal and *net.TCPConn have in common.
type channel interface {
	io.ReadWriteCloser
	SetDeadline(time.Time) error
	SetWriteDeadline(time.Time) error
}

// line is a Port over a channel whose reads and writes a deadline can end.
type line struct {
	name string
	ch   channel
	free func() // called when the system has let go; may be nil

	closed  atomic.Bool
	reading sync.Mutex // held through every read, and
	writing sync.Mutex // through every write: a late one could else land in a file that got the same descriptor

	once   sync.Once
	result error // of Close
}

func newLine(name string, ch channel, free func()) *line {
	return &line{name: name, ch: ch, free: free}
}

func (l *line) Read(p []byte) (int, error) {
	l.reading.Lock()
	defer l.reading.Unlock()
	for !l.closed.Load() {
		n, err := l.ch.Read(p)
		if err != nil && n == 0 {
			return 0, l.because("read", err)
		}
		if n > 0 || len(p) == 0 {
			return n, nil // an error beside bytes comes back with the next call
		}
	}
	return 0, l.because("read", ErrClosed)
}

func (l *line) Write(p []byte) (int, error) {
	l.writing.Lock()
	defer l.writing.Unlock()
	if l.closed.Load() {
		return 0, l.because("write", ErrClosed)
	}
	if err := l.ch.SetWriteDeadline(time.Now().Add(WriteWithin)); err != nil {
		return 0, l.because("write", err)
	}
	n, err := l.ch.Write(p)
	if err != nil {
		return n, l.because("write", err)
	}
	return n, nil
}

// because says who ended a read or a write: ourselves, a wrench that takes nothing, or the other side.
func (l *line) because(verb string, err error) error {
	var errno syscall.Errno
	switch {
	case l.closed.Load():
		return fmt.Errorf("%s %s: %w", verb, l.name, ErrClosed)
	case errors.Is(err, os.ErrDeadlineExceeded):
		return fmt.Errorf("%s %s: nothing was taken within %s: %w", verb, l.name, WriteWithin, os.ErrDeadlineExceeded)
	case errors.As(err, &errno):
		return fmt.Errorf("%s %s: %w: %w", verb, l.name, ErrUnplugged, errno)
	case errors.Is(err, io.EOF):
		return fmt.Errorf("%s %s: %w", verb, l.name, ErrUnplugged)
	}
	return fmt.Errorf("%s %s: %w: %w", verb, l.name, ErrUnplugged, err)
}

func (l *line) Close() error {
	l.once.Do(func() { l.result = l.shut() })
	return l.result
}

// shut closes on a goroutine of its own, because a kernel may take half a minute to drain a serial port that nobody
// listens to. When it is abandoned, that goroutine ends, and frees the port, whenever the kernel does.
func (l *line) shut() error {
	l.closed.Store(true)
	done := make(chan error, 1)
	go func() {
		woken := l.ch.SetDeadline(past)
		settle(&l.reading)
		settle(&l.writing)
		err := errors.Join(woken, l.ch.Close())
		if l.free != nil {
			l.free()
		}
		done <- err
	}()
	limit := time.NewTimer(CloseWithin)
	defer limit.Stop()
	select {
	case err := <-done:
		if err != nil {
			return fmt.Errorf("close %s: %w", l.name, err)
		}
		return nil
	case <-limit.C:
		return fmt.Errorf("close %s: %w", l.name, ErrStuck)
	}
}

// settle returns when nobody uses the channel. Who takes the lock later finds the port closed.
func settle(use *sync.Mutex) {
	use.Lock()
	defer use.Unlock()
}
