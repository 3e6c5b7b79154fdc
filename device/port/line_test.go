package port

import (
	"errors"
	"fmt"
	"io"
	"os"
	"sync"
	"testing"
	"testing/synctest"
	"time"
)

// fakeChannel reads what it is given, and closes when it is let.
type fakeChannel struct {
	chunks  []chunk
	closing chan struct{} // nil: closes at once
	woken   chan struct{} // nil: a read waits for nothing; else for a deadline

	mu     sync.Mutex
	closed int
}

type chunk struct {
	text string
	err  error
}

func (f *fakeChannel) Read(p []byte) (int, error) {
	if f.woken != nil {
		<-f.woken
		return 0, os.ErrDeadlineExceeded
	}
	if len(f.chunks) == 0 {
		return 0, io.EOF
	}
	c := f.chunks[0]
	f.chunks = f.chunks[1:]
	return copy(p, c.text), c.err
}

func (f *fakeChannel) Write(p []byte) (int, error)      { return len(p), nil }
func (f *fakeChannel) SetWriteDeadline(time.Time) error { return nil }

func (f *fakeChannel) SetDeadline(time.Time) error {
	if f.woken != nil {
		close(f.woken)
	}
	return nil
}

func (f *fakeChannel) Close() error {
	if f.closing != nil {
		<-f.closing
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	f.closed++
	return nil
}

// expect reads text from a port.
func expect(t *testing.T, p io.Reader, want string) {
	t.Helper()
	got := make([]byte, len(want))
	if n, err := io.ReadFull(p, got); err != nil || string(got) != want {
		t.Fatalf("got %q, %v, want %q", got[:n], err, want)
	}
}

// ends reads from a port in which nothing lies until it ends.
func ends(p Port) <-chan error {
	ended := make(chan error, 1)
	go func() {
		n, err := p.Read(make([]byte, 8))
		if n != 0 {
			err = fmt.Errorf("got %d bytes", n)
		}
		ended <- err
	}()
	return ended
}

func TestLine_Read(t *testing.T) {
	tick := chunk{}
	l := newLine("wrench", &fakeChannel{chunks: []chunk{tick, tick, {"#1", nil}, tick, {"\r\n", io.EOF}, {"", io.EOF}}}, nil)
	p := make([]byte, 8)
	for _, want := range []string{"#1", "\r\n"} {
		n, err := l.Read(p)
		if err != nil || string(p[:n]) != want {
			t.Errorf("got %q, %v, want %q", p[:n], err, want)
		}
	}
	if n, err := l.Read(p); n != 0 || !errors.Is(err, ErrUnplugged) {
		t.Errorf("got %d, %v, want %v", n, err, ErrUnplugged)
	}
}

func TestLine_CloseHangs(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := &fakeChannel{closing: make(chan struct{}), chunks: []chunk{{"late", nil}}}
		freed := make(chan struct{})
		l := newLine("wrench", f, func() { close(freed) })
		began := time.Now()
		if err := l.Close(); !errors.Is(err, ErrStuck) {
			t.Errorf("got %v, want %v", err, ErrStuck)
		}
		if took := time.Since(began); took != CloseWithin {
			t.Errorf("got an answer after %s, want it after %s", took, CloseWithin)
		}
		if _, err := l.Write([]byte("x")); !errors.Is(err, ErrClosed) {
			t.Errorf("write: got %v, want %v", err, ErrClosed)
		}
		if n, err := l.Read(make([]byte, 8)); n != 0 || !errors.Is(err, ErrClosed) {
			t.Errorf("read: got %d, %v, want %v", n, err, ErrClosed)
		}
		if err := l.Close(); !errors.Is(err, ErrStuck) {
			t.Errorf("second close: got %v, want the same %v", err, ErrStuck)
		}
		select {
		case <-freed:
			t.Error("got the place freed while the system holds the port")
		default:
		}
		close(f.closing)
		<-freed
		if f.closed != 1 {
			t.Errorf("got %d closes of the channel, want 1", f.closed)
		}
	})
}

func TestLine_CloseWakes(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := newLine("wrench", &fakeChannel{woken: make(chan struct{})}, nil)
		ended := ends(l)
		synctest.Wait() // the reader waits for bytes
		if err := l.Close(); err != nil {
			t.Errorf("got %v, want the reader woken and the port closed", err)
		}
		if err := <-ended; !errors.Is(err, ErrClosed) {
			t.Errorf("read: got %v, want %v", err, ErrClosed)
		}
	})
}

func TestLine_Because(t *testing.T) {
	l := newLine("wrench", &fakeChannel{}, nil)
	if err := l.because("write", os.ErrDeadlineExceeded); errors.Is(err, ErrUnplugged) || errors.Is(err, ErrClosed) {
		t.Errorf("got %v, want neither unplugged nor closed for a wrench that takes nothing", err)
	}
	if err := l.because("read", errors.New("odd")); !errors.Is(err, ErrUnplugged) {
		t.Errorf("got %v, want anything unknown to count as unplugged", err)
	}
}
