package port

import (
	"context"
	"errors"
	"fmt"
	"net"
	"sync"
	"time"
)

// dialWithin bounds one attempt, so that an address that swallows packets is reported and tried again.
const dialWithin = 5 * time.Second

// How long a peer may give no sign of life.
const (
	DefaultIdle = 30 * time.Second
	MinIdle     = 3 * time.Second // keep-alive counts in whole seconds, and rounds up
)

// keepAlive asks a peer that says nothing, because one that lost its power says nothing either: after a third of the
// limit for the first time, and until the limit three times more. A peer that answers none of these is gone when the
// limit is over, or one question later. An answer is the peer's system's own: the wrench hears of none of it.
func keepAlive(idle time.Duration) net.KeepAliveConfig {
	return net.KeepAliveConfig{Enable: true, Idle: idle / 3, Interval: idle / 6, Count: 4}
}

// Dial connects to host:port, at most dialWithin later. The peer may be dead for DefaultIdle.
func Dial(ctx context.Context, addr string) (Port, error) { return dial(ctx, addr, DefaultIdle) }

func dial(ctx context.Context, addr string, idle time.Duration) (Port, error) {
	d := net.Dialer{Timeout: dialWithin, KeepAliveConfig: keepAlive(idle)}
	conn, err := d.DialContext(ctx, "tcp", addr)
	if err != nil {
		return nil, fmt.Errorf("reach the wrench at %s%s: %w", dialScheme, addr, err)
	}
	return onWire(dialScheme+addr, conn.(*net.TCPConn), idle, nil)
}

// onWire makes a port of a fresh connection.
func onWire(name string, conn *net.TCPConn, idle time.Duration, free func()) (Port, error) {
	if err := limitSilence(conn, idle); err != nil {
		return nil, errors.Join(fmt.Errorf("limit the silence of %s: %w", name, err), conn.Close())
	}
	return newLine(name, conn, free), nil
}

// dialled is an address that we dial.
type dialled struct {
	addr string
	idle time.Duration
}

func (d dialled) Open(ctx context.Context) (Port, error) { return dial(ctx, d.addr, d.idle) }
func (dialled) Close() error                             { return nil }

// Listener takes peers one at a time: who comes while a peer is there waits until its port is closed, and what it
// sent meanwhile is not lost.
type Listener struct {
	tcp  *net.TCPListener
	idle time.Duration
	busy chan struct{} // full while a peer is there
	gone chan struct{} // closed with the Listener
	once sync.Once
}

// Listen listens on host:port; an empty host is every address of the computer, port 0 a free one. A peer may be dead
// for DefaultIdle.
func Listen(addr string) (*Listener, error) { return listen(addr, DefaultIdle) }

func listen(addr string, idle time.Duration) (*Listener, error) {
	c := net.ListenConfig{KeepAliveConfig: keepAlive(idle)}
	l, err := c.Listen(context.Background(), "tcp", addr)
	if err != nil {
		return nil, fmt.Errorf("wait for a wrench at %s%s: %w", listenScheme, addr, err)
	}
	return &Listener{tcp: l.(*net.TCPListener), idle: idle, busy: make(chan struct{}, 1), gone: make(chan struct{})}, nil
}

// Addr is the host:port that is listened on.
func (l *Listener) Addr() string { return l.tcp.Addr().String() }

// Accept waits for the peer before to be closed, and for the next one, until ctx ends or the Listener is closed.
func (l *Listener) Accept(ctx context.Context) (Port, error) {
	select {
	case l.busy <- struct{}{}:
	case <-ctx.Done():
		return nil, fmt.Errorf("wait for a wrench: %w", ctx.Err())
	case <-l.gone:
		return nil, fmt.Errorf("wait for a wrench: %w", ErrClosed)
	}
	free := func() { <-l.busy }
	conn, err := l.accept(ctx)
	if err != nil {
		free()
		return nil, fmt.Errorf("wait for a wrench: %w", err)
	}
	p, err := onWire(listenScheme+l.Addr(), conn, l.idle, free)
	if err != nil {
		free()
	}
	return p, err
}

func (l *Listener) accept(ctx context.Context) (*net.TCPConn, error) {
	woken := make(chan error, 1)
	stop := context.AfterFunc(ctx, func() { woken <- l.tcp.SetDeadline(past) })
	conn, err := l.tcp.AcceptTCP()
	if !stop() {
		// The deadline is taken back only once it has been set, or the next Accept would find it.
		errs := []error{ctx.Err(), <-woken, l.tcp.SetDeadline(time.Time{})}
		if err == nil {
			errs = append(errs, conn.Close())
		}
		return nil, errors.Join(errs...)
	}
	if errors.Is(err, net.ErrClosed) {
		return nil, ErrClosed
	}
	return conn, err
}

// Close stops listening and ends a waiting Accept. A peer that is there stays.
func (l *Listener) Close() error {
	var err error
	l.once.Do(func() {
		close(l.gone)
		err = l.tcp.Close()
	})
	return err
}

// listening is an address that we listen on from the first Open on.
type listening struct {
	addr string
	idle time.Duration
	l    *Listener
}

func (p *listening) Open(ctx context.Context) (Port, error) {
	if p.l == nil {
		l, err := listen(p.addr, p.idle)
		if err != nil {
			return nil, err
		}
		p.l = l
	}
	return p.l.Accept(ctx)
}

func (p *listening) Close() error {
	if p.l == nil {
		return nil
	}
	return p.l.Close()
}
