package sim

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"time"
)

// Line is what a wrench is plugged into. One wrench owns one line.
type Line interface {
	// Open plugs in and returns once a peer can hear; it may be called again after the connection was closed.
	Open(ctx context.Context) (io.ReadWriteCloser, error)
	// Addr is where the peer finds the wrench: a device path, or host:port.
	Addr() string
	// Close gives up what outlives a connection: a listener, a link.
	Close() error
}

// writeWithin bounds a write on a line whose peer has stopped reading; the reading stays in the wrench's memory.
const writeWithin = 2 * time.Second

// listening is a wrench that waits to be called.
type listening struct{ net.Listener }

// Listen is a line of a wrench that serves TCP at host:port; port 0 takes a free one, see Addr.
func Listen(addr string) (Line, error) {
	l, err := net.Listen("tcp", addr)
	if err != nil {
		return nil, fmt.Errorf("listen for the daemon at %s: %w", addr, err)
	}
	return listening{l}, nil
}

// Open waits for the next caller.
func (l listening) Open(ctx context.Context) (io.ReadWriteCloser, error) {
	ended := make(chan struct{})
	stop := context.AfterFunc(ctx, func() {
		defer close(ended)
		l.deadline(time.Unix(1, 0))
	})
	defer func() {
		if !stop() {
			<-ended
			l.deadline(time.Time{}) // for the next Open
		}
	}()
	c, err := l.Accept()
	if err != nil {
		return nil, errors.Join(ctx.Err(), err)
	}
	return patient{c}, nil
}

func (l listening) deadline(t time.Time) {
	if tcp, ok := l.Listener.(*net.TCPListener); ok {
		tcp.SetDeadline(t) // fails on a closed listener only, and Accept says so too
	}
}

// Addr is the address listened at.
func (l listening) Addr() string { return l.Listener.Addr().String() }

// dialling is a wrench that calls the daemon.
type dialling string

// Dial is a line of a wrench that calls host:port, and calls again after the peer hung up.
func Dial(addr string) Line { return dialling(addr) }

// Open calls once.
func (d dialling) Open(ctx context.Context) (io.ReadWriteCloser, error) {
	var n net.Dialer
	c, err := n.DialContext(ctx, "tcp", string(d))
	if err != nil {
		return nil, fmt.Errorf("call the daemon: %w", err)
	}
	return patient{c}, nil
}

// Addr is the address called.
func (d dialling) Addr() string { return string(d) }

// Close has nothing to give up.
func (d dialling) Close() error { return nil }

// deadliner is what both a connection and a pseudo-terminal are.
type deadliner interface {
	io.ReadWriteCloser
	SetWriteDeadline(time.Time) error
}

// patient gives up a write that nobody reads.
type patient struct{ deadliner }

func (p patient) Write(b []byte) (int, error) {
	if err := p.SetWriteDeadline(time.Now().Add(writeWithin)); err != nil {
		return 0, fmt.Errorf("set the write deadline: %w", err)
	}
	return p.deadliner.Write(b)
}
