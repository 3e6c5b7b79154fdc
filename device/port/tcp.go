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

// A peer that lost its power says nothing. It is asked after an idle time, and is gone when three answers in a row
// are missing: 25 s in all, which is also how long bytes of ours may stay unanswered.
var keepAlive = net.KeepAliveConfig{Enable: true, Idle: 10 * time.Second, Interval: 5 * time.Second, Count: 3}

const silence = 25 * time.Second

// Dial connects to host:port, at most dialWithin later.
func Dial(ctx context.Context, addr string) (Port, error) {
	d := net.Dialer{Timeout: dialWithin, KeepAliveConfig: keepAlive}
	conn, err := d.DialContext(ctx, "tcp", addr)
	if err != nil {
		return nil, fmt.Errorf("reach the wrench at %s%s: %w", dialScheme, addr, err)
	}
	return onWire(dialScheme+addr, conn.(*net.TCPConn), nil)
}

// onWire makes a port of a fresh connection.
func onWire(name string, conn *net.TCPConn, free func()) (Port, error) {
	if err := limitSilence(conn); err != nil {
		return nil, errors.Join(fmt.Errorf("limit the silence of %s: %w", name, err), conn.Close())
	}
	return newLine(name, conn, free), nil
}

// dialled is an address that we dial.
type dialled struct{ addr string }

func (d dialled) Open(ctx context.Context) (Port, error) { return Dial(ctx, d.addr) }
func (dialled) Close() error                             { return nil }

// Listener takes peers one at a time: who comes while a peer is there waits until its port is closed, and what it
// sent meanwhile is not lost.
type Listener struct {
	tcp  *net.TCPListener
	busy chan struct{} // full while a peer is there
	gone chan struct{} // closed with the Listener
	once sync.Once
}

// Listen listens on host:port; an empty host is every address of the computer, port 0 a free one.
func Listen(addr string) (*Listener, error) {
	c := net.ListenConfig{KeepAliveConfig: keepAlive}
	l, err := c.Listen(context.Background(), "tcp", addr)
	if err != nil {
		return nil, fmt.Errorf("wait for a wrench at %s%s: %w", listenScheme, addr, err)
	}
	return &Listener{tcp: l.(*net.TCPListener), busy: make(chan struct{}, 1), gone: make(chan struct{})}, nil
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
	p, err := onWire(listenScheme+l.Addr(), conn, free)
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
	l    *Listener
}

func (p *listening) Open(ctx context.Context) (Port, error) {
	if p.l == nil {
		l, err := Listen(p.addr)
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
