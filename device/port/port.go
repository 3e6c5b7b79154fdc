// Package port opens what a wrench is plugged into: a serial port, a TCP address that is dialled or listened on, or a
// capture. A Port behaves the same whatever it is: Read waits for bytes, Write gives up, Close ends both, and a plug
// that was pulled is told from a port that we closed.
//
//	/dev/serial/by-id/usb-…        a serial port by its path, best one that names the adapter
//	tcp://192.0.2.7:4001           a serial server or a wrench on the network, which we dial
//	tcp-listen://:4001             a wrench that dials us, one at a time
//	capture:///srv/one.capture     a capture, played as if it came from a port
//
// A crash leaves nothing behind: the lock on a serial port and the sockets go with the process.
package port

import (
	"context"
	"errors"
	"fmt"
	"net"
	"path/filepath"
	"strconv"
	"strings"
	"time"
)

// Port is an open connection to a wrench. One goroutine may read while others write and close.
type Port interface {
	// Read waits until at least one byte has come and never returns 0 bytes without an error, unless p is empty.
	// Its error wraps ErrUnplugged when the other side is gone, ErrClosed when Close was called on our side.
	Read(p []byte) (int, error)
	// Write returns once all of p is with the system, at most WriteWithin later. After an error some of p may have
	// gone out: the port is then good for nothing but Close. After Close no byte of p goes anywhere.
	Write(p []byte) (int, error)
	// Close ends a Read and a Write under way and gives the port back. It returns within CloseWithin, with ErrStuck
	// if the system still holds the port then. A second call changes nothing and gives the same error.
	Close() error
}

// Why a port gives no more bytes.
var (
	ErrUnplugged = errors.New("the device was unplugged or hung up")
	ErrClosed    = errors.New("the port was closed on our side")
	ErrStuck     = errors.New("the system does not let go of the port: pull the plug, or restart the computer if it stays so")
)

// Place is where a wrench is plugged in, time and again. It belongs to one goroutine.
type Place interface {
	// Open waits for no plug but the one of a listening place, where it waits for a peer until ctx ends.
	Open(ctx context.Context) (Port, error)
	// Close stops listening. Ports that were opened stay open.
	Close() error
}

// Mode is how a serial port is set; TCP ignores it.
type Mode struct {
	Baud     int    // bits a second
	DataBits int    // 5 to 8
	Parity   string // none, odd, even, mark or space
	StopBits string // 1, 1.5 or 2
}

// The beginnings of a spec that is no path.
const (
	dialScheme   = "tcp://"
	listenScheme = "tcp-listen://"
)

// Option is a wish about a place beside its mode; kinds of place that it does not concern pass it over.
type Option func(*options)

type options struct {
	idle   time.Duration
	pauses bool
}

// Idle is how long the other side of a TCP connection may be dead before it counts as unplugged: Idle seconds without
// a sign of life, bytes or answers to keep-alive questions. A wrench that is only silent stays. At least MinIdle;
// DefaultIdle if the option is not given.
func Idle(limit time.Duration) Option { return func(o *options) { o.idle = limit } }

// Pauses has a capture played with its own pauses, each of at most LongestPause, instead of as fast as it is taken:
// where a silent gap ends a frame, the frames of a capture have no other end.
func Pauses(play bool) Option { return func(o *options) { o.pauses = play } }

// At understands a spec: an absolute path, tcp://host:port, tcp-listen://host:port or capture:///path. It touches no
// device: its error says that the spec or the mode can never work, however often it is tried.
func At(spec string, mode Mode, wishes ...Option) (Place, error) {
	o := options{idle: DefaultIdle}
	for _, w := range wishes {
		w(&o)
	}
	if o.idle < MinIdle {
		return nil, fmt.Errorf("port %q: found an idle limit of %s, expected at least %s", spec, o.idle, MinIdle)
	}
	if addr, ok := strings.CutPrefix(spec, dialScheme); ok {
		if err := checkAddr(addr, true); err != nil {
			return nil, fmt.Errorf("port %q: %w", spec, err)
		}
		return dialled{addr, o.idle}, nil
	}
	if addr, ok := strings.CutPrefix(spec, listenScheme); ok {
		if err := checkAddr(addr, false); err != nil {
			return nil, fmt.Errorf("port %q: %w", spec, err)
		}
		return &listening{addr: addr, idle: o.idle}, nil
	}
	if path, ok := strings.CutPrefix(spec, captureScheme); ok {
		return recording(path, o.pauses)
	}
	if !filepath.IsAbs(spec) {
		return nil, fmt.Errorf("port %q: write an absolute path, %shost:port or %shost:port", spec, dialScheme, listenScheme)
	}
	if _, err := mode.settings(); err != nil {
		return nil, fmt.Errorf("port %q: %w", spec, err)
	}
	return node{spec, mode}, nil
}

// checkAddr wants host:port; to dial, both must be said.
func checkAddr(addr string, dial bool) error {
	host, number, err := net.SplitHostPort(addr)
	if err != nil {
		return errors.New("write host:port after the two slashes, an IPv6 host in square brackets")
	}
	n, err := strconv.ParseUint(number, 10, 16)
	if err != nil || dial && n == 0 {
		return fmt.Errorf("found %q after the last colon, write a port number from 1 to 65535", number)
	}
	if dial && host == "" {
		return errors.New("write the host to dial before the colon")
	}
	return nil
}

// Open opens a spec once. Of a listening one the port holds the listener too, and Close ends both.
func Open(ctx context.Context, spec string, mode Mode, wishes ...Option) (Port, error) {
	place, err := At(spec, mode, wishes...)
	if err != nil {
		return nil, err
	}
	p, err := place.Open(ctx)
	if err != nil {
		return nil, errors.Join(err, place.Close())
	}
	return owner{p, place}, nil
}

// owner is a port that nobody else keeps the place of.
type owner struct {
	Port
	place Place
}

func (o owner) Close() error { return errors.Join(o.Port.Close(), o.place.Close()) }

// node is a serial port by its path.
type node struct {
	path string
	mode Mode
}

func (n node) Open(ctx context.Context) (Port, error) { return OpenSerial(ctx, n.path, n.mode) }
func (node) Close() error                             { return nil }
