package port

import (
	"context"
	"errors"
	"net"
	"testing"
	"time"
)

// hear listens on a free port.
func hear(t *testing.T) *Listener {
	t.Helper()
	l, err := Listen("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	return l
}

func mustDial(t *testing.T, addr string) Port {
	t.Helper()
	p, err := Dial(t.Context(), addr)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { p.Close() })
	return p
}

func mustAccept(t *testing.T, l *Listener) Port {
	t.Helper()
	p, err := l.Accept(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { p.Close() })
	return p
}

func TestTCP_BothWays(t *testing.T) {
	l := hear(t)
	wrench := mustDial(t, l.Addr())
	p := mustAccept(t, l)
	if _, err := wrench.Write([]byte("#1\r\n")); err != nil {
		t.Fatal(err)
	}
	expect(t, p, "#1\r\n")
	if _, err := p.Write([]byte("=1\r\n")); err != nil {
		t.Fatal(err)
	}
	expect(t, wrench, "=1\r\n")
}

func TestTCP_Ends(t *testing.T) {
	for _, c := range []struct {
		rule  string
		hurry bool // the peer leaves without a goodbye
	}{{"a peer that hangs up is told", false}, {"a peer that crashes is told", true}} {
		t.Run(c.rule, func(t *testing.T) {
			l := hear(t)
			conn, err := net.Dial("tcp", l.Addr())
			if err != nil {
				t.Fatal(err)
			}
			p := mustAccept(t, l)
			ended := ends(p)
			if c.hurry {
				if err := conn.(*net.TCPConn).SetLinger(0); err != nil {
					t.Fatal(err)
				}
			}
			conn.Close()
			if err := <-ended; !errors.Is(err, ErrUnplugged) || errors.Is(err, ErrClosed) {
				t.Errorf("got %v, want %v", err, ErrUnplugged)
			}
		})
	}
	t.Run("our own close is told", func(t *testing.T) {
		l := hear(t)
		mustDial(t, l.Addr())
		p := mustAccept(t, l)
		ended := ends(p)
		if err := p.Close(); err != nil {
			t.Error(err)
		}
		if err := <-ended; !errors.Is(err, ErrClosed) || errors.Is(err, ErrUnplugged) {
			t.Errorf("got %v, want %v", err, ErrClosed)
		}
	})
}

func TestDial_NobodyThere(t *testing.T) {
	l := hear(t)
	addr := l.Addr()
	l.Close()
	if p, err := Dial(t.Context(), addr); p != nil || err == nil {
		t.Errorf("got %v, %v, want an error", p, err)
	}
}

func TestListener_OnePeerAtATime(t *testing.T) {
	l := hear(t)
	first := mustDial(t, l.Addr())
	p := mustAccept(t, l)
	second := mustDial(t, l.Addr())
	if _, err := second.Write([]byte("#2\r\n")); err != nil {
		t.Fatal(err)
	}
	next := make(chan Port, 1)
	go func() {
		p, err := l.Accept(t.Context())
		if err != nil {
			t.Error(err)
		}
		next <- p
	}()
	if _, err := first.Write([]byte("#1\r\n")); err != nil {
		t.Fatal(err)
	}
	expect(t, p, "#1\r\n")
	select {
	case <-next:
		t.Fatal("got a second peer while the first is there")
	default:
	}
	if err := p.Close(); err != nil {
		t.Fatal(err)
	}
	p = <-next
	defer p.Close()
	expect(t, p, "#2\r\n")
}

func TestListener_Accept(t *testing.T) {
	t.Run("ends with its ctx and works again", func(t *testing.T) {
		l := hear(t)
		ctx, cancel := context.WithCancel(t.Context())
		cancel()
		if p, err := l.Accept(ctx); p != nil || !errors.Is(err, context.Canceled) {
			t.Fatalf("got %v, %v, want %v", p, err, context.Canceled)
		}
		if p, err := l.accept(ctx); p != nil || !errors.Is(err, context.Canceled) {
			t.Fatalf("got %v, %v, want %v", p, err, context.Canceled)
		}
		mustDial(t, l.Addr())
		mustAccept(t, l)
	})
	t.Run("ends with the listener", func(t *testing.T) {
		l := hear(t)
		time.AfterFunc(time.Millisecond, func() { l.Close() }) // before or in Accept: the answer is the same
		if p, err := l.Accept(t.Context()); p != nil || !errors.Is(err, ErrClosed) {
			t.Errorf("got %v, %v, want %v", p, err, ErrClosed)
		}
	})
	t.Run("ends with the listener while a peer is there", func(t *testing.T) {
		l := hear(t)
		mustDial(t, l.Addr())
		mustAccept(t, l)
		l.Close()
		if p, err := l.Accept(t.Context()); p != nil || !errors.Is(err, ErrClosed) {
			t.Errorf("got %v, %v, want %v", p, err, ErrClosed)
		}
	})
}

func TestOpen_Listening(t *testing.T) {
	l := hear(t)
	addr := l.Addr()
	l.Close()
	opened := make(chan Port, 1)
	go func() {
		p, err := Open(t.Context(), "tcp-listen://"+addr, Mode{})
		if err != nil {
			t.Error(err)
		}
		opened <- p
	}()
	var wrench Port
	for wrench == nil { // until it listens
		wrench, _ = Dial(t.Context(), addr)
	}
	defer wrench.Close()
	p := <-opened
	if err := p.Close(); err != nil {
		t.Fatal(err)
	}
	if late, err := Dial(t.Context(), addr); err == nil {
		late.Close()
		t.Error("got an answer after the close, want nobody to listen any more")
	}
}
