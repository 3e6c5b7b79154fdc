package sim

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"path/filepath"
	"testing"
	"testing/synctest"
	"time"

	"go.uber.org/goleak"

	"witnessmark/device"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// plainForm writes "counter;torque" and wants "ok counter".
type plainForm struct{ silent bool }

func (plainForm) Encode(r device.Reading) []byte {
	return fmt.Appendf(nil, "%d;%s\r\n", *r.Counter, r.TorqueText)
}

func (f plainForm) Ack(r device.Reading) []byte {
	if f.silent {
		return nil
	}
	return fmt.Appendf(nil, "ok %d\r\n", *r.Counter)
}

// piped is a line whose other ends come out of peers.
type piped struct{ peers chan net.Conn }

func (p piped) Open(ctx context.Context) (io.ReadWriteCloser, error) {
	ours, theirs := net.Pipe()
	select {
	case p.peers <- theirs:
		return patient{ours}, nil
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}
func (piped) Addr() string { return "pipe" }
func (piped) Close() error { return nil }

func newWrench(t *testing.T, line Line, form Form) *Wrench {
	t.Helper()
	w := New(Options{Wrench: "w1", Form: form, Line: line, Resend: time.Second,
		Meter: Meter{TorqueStep: "0.1", AngleStep: "1", First: 7}})
	t.Cleanup(func() {
		if err := w.Close(); err != nil {
			t.Errorf("close: %v", err)
		}
	})
	return w
}

func reading(t *testing.T, w *Wrench, torque float64) device.Reading {
	t.Helper()
	r, err := w.Take(Pull{Torque: torque, Angle: 31.4}, "")
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// sending sends in the background and gives the end of it.
func sending(ctx context.Context, w *Wrench, r device.Reading) <-chan error {
	end := make(chan error, 1)
	go func() { end <- w.Send(ctx, r) }()
	return end
}

func wantLine(t *testing.T, from *bufio.Reader, want string) {
	t.Helper()
	if got, err := from.ReadString('\n'); err != nil || got != want {
		t.Fatalf("got line %q (%v), want %q", got, err, want)
	}
}

func say(t *testing.T, to io.Writer, text string) {
	t.Helper()
	if _, err := io.WriteString(to, text); err != nil {
		t.Fatal(err)
	}
}

func TestWrench_ResendUntilAcknowledged(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		line := piped{make(chan net.Conn)}
		w := newWrench(t, line, plainForm{})
		if err := w.Plug(t.Context()); err != nil {
			t.Fatal(err)
		}
		peer := <-line.peers
		end := sending(t.Context(), w, reading(t, w, 45.24))
		hears := bufio.NewReader(peer)
		wantLine(t, hears, "8;45.2\r\n")
		say(t, peer, "ok 7\r\nok 81\r\nok\r\n")
		wantLine(t, hears, "8;45.2\r\n")
		wantLine(t, hears, "8;45.2\r\n")
		select {
		case err := <-end:
			t.Fatalf("Send ended with %v before the acknowledgement", err)
		default:
		}
		say(t, peer, "ok 8\r\n")
		if err := <-end; err != nil {
			t.Errorf("got %v, want an acknowledged reading", err)
		}
		if got, want := w.Counts(), (Counts{Sent: 1, Resent: 2, Acked: 1}); got != want {
			t.Errorf("got %+v, want %+v", got, want)
		}
	})
}

func TestWrench_MemoryOutlivesTheLine(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		line := piped{make(chan net.Conn)}
		w := newWrench(t, line, plainForm{})
		early := sending(t.Context(), w, reading(t, w, 30))
		synctest.Wait()
		if err := w.Plug(t.Context()); err != nil {
			t.Fatal(err)
		}
		peer := <-line.peers
		wantLine(t, bufio.NewReader(peer), "8;30.0\r\n")
		late := sending(t.Context(), w, reading(t, w, 31))
		wantLine(t, bufio.NewReader(peer), "9;31.0\r\n")
		if err := peer.Close(); err != nil {
			t.Fatal(err)
		}
		peer = <-line.peers
		hears := bufio.NewReader(peer)
		wantLine(t, hears, "8;30.0\r\n")
		wantLine(t, hears, "9;31.0\r\n")
		say(t, peer, "ok 9\rok 8\n")
		if err := errors.Join(<-early, <-late); err != nil {
			t.Errorf("got %v, want both acknowledged", err)
		}
	})
}

func TestWrench_SendGivesUp(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		line := piped{make(chan net.Conn)}
		w := newWrench(t, line, plainForm{})
		ctx, cancel := context.WithCancel(t.Context())
		end := sending(ctx, w, reading(t, w, 30))
		synctest.Wait()
		cancel()
		if err := <-end; !errors.Is(err, context.Canceled) {
			t.Errorf("got %v, want the cancellation", err)
		}
		if err := w.Plug(t.Context()); err != nil {
			t.Fatal(err)
		}
		peer := <-line.peers
		wantLine(t, bufio.NewReader(peer), "8;30.0\r\n")
		closing := sending(t.Context(), w, reading(t, w, 31))
		wantLine(t, bufio.NewReader(peer), "9;31.0\r\n")
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		if err := <-closing; !errors.Is(err, ErrClosed) {
			t.Errorf("got %v, want %v", err, ErrClosed)
		}
	})
}

func TestWrench_FormWithoutAcknowledgement(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		line := piped{make(chan net.Conn)}
		w := newWrench(t, line, plainForm{silent: true})
		if err := w.Plug(t.Context()); err != nil {
			t.Fatal(err)
		}
		peer := <-line.peers
		end := sending(t.Context(), w, reading(t, w, 30))
		synctest.Wait()
		wantLine(t, bufio.NewReader(peer), "8;30.0\r\n")
		if err := <-end; err != nil {
			t.Errorf("got %v, want it done when written", err)
		}
	})
}

func TestFault_Write(t *testing.T) {
	frame := []byte("8;30.0\r\n")
	for name, c := range map[string]struct {
		fault *Fault
		want  []string
		whole bool
	}{
		"no fault, one write":                {nil, []string{"8;30.0\r\n"}, true},
		"noise goes first":                   {&Fault{Noise: []byte{0xff, 0}}, []string{"\xff\x00", "8;30.0\r\n"}, true},
		"one bit turned over":                {&Fault{Flip: 9}, []string{"8:30.0\r\n"}, true},
		"pieces":                             {&Fault{Split: 3}, []string{"8;3", "0.0", "\r\n"}, true},
		"a cut frame is not whole":           {&Fault{Cut: 4}, []string{"8;30"}, false},
		"a bit beyond the frame is no fault": {&Fault{Flip: 65}, []string{"8;30.0\r\n"}, true},
	} {
		t.Run(name, func(t *testing.T) {
			var got writes
			whole, err := c.fault.write(&got, frame)
			if fmt.Sprintf("%q", got) != fmt.Sprintf("%q", c.want) || whole != c.whole || err != nil {
				t.Errorf("got %q, whole %v, %v, want %q, whole %v", got, whole, err, c.want, c.whole)
			}
		})
	}
	if !bytes.Equal(frame, []byte("8;30.0\r\n")) {
		t.Errorf("the frame in memory became %q: a re-send would be spoiled too", frame)
	}
}

type writes []string

func (w *writes) Write(b []byte) (int, error) { *w = append(*w, string(b)); return len(b), nil }

func TestPty_ReadBackThroughThePath(t *testing.T) {
	link := filepath.Join(t.TempDir(), "wrench")
	line, err := Pty(link)
	if err != nil {
		t.Fatal(err)
	}
	w := newWrench(t, line, plainForm{})
	if err := w.Plug(t.Context()); err != nil {
		t.Fatal(err)
	}
	before, err := os.Readlink(link)
	if err != nil {
		t.Fatal(err)
	}
	// Sent before anybody opened the device: it must arrive whole, unechoed, CR kept.
	end := sending(t.Context(), w, reading(t, w, 45.24))
	port, err := os.OpenFile(w.Addr(), os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	wantLine(t, bufio.NewReader(port), "8;45.2\r\n")
	say(t, port, "ok 8\r\n")
	if err := <-end; err != nil {
		t.Fatal(err)
	}

	w.Unplug()
	if _, err := os.Lstat(link); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("unplugged: got %v at the stable name, want nothing there", err)
	}
	if n, err := port.Read(make([]byte, 8)); err == nil {
		t.Errorf("unplugged: got %d bytes, want the end of the device", n)
	}
	later := sending(t.Context(), w, reading(t, w, 46))
	if err := w.Plug(t.Context()); err != nil {
		t.Fatal(err)
	}
	if after, err := os.Readlink(link); err != nil || after == before {
		t.Errorf("plugged in again: got device %q (%v), want another than %q while that one is held open", after, err, before)
	}
	if err := port.Close(); err != nil {
		t.Fatal(err)
	}
	if port, err = os.OpenFile(link, os.O_RDWR, 0); err != nil {
		t.Fatal(err)
	}
	defer port.Close()
	wantLine(t, bufio.NewReader(port), "9;46.0\r\n")
	say(t, port, "ok 9\r\n")
	if err := <-later; err != nil {
		t.Error(err)
	}
}

func TestPty_LeavesFilesAlone(t *testing.T) {
	file := filepath.Join(t.TempDir(), "wrench")
	if err := os.WriteFile(file, []byte("mine"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Pty(file); err == nil {
		t.Error("got a line over somebody's file, want a refusal")
	}
}

func TestTCP_ListenAndDial(t *testing.T) {
	served, err := Listen("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	daemon, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer daemon.Close()
	for name, c := range map[string]struct {
		line Line
		meet func() (net.Conn, error)
	}{
		"the wrench is called": {served, func() (net.Conn, error) { return net.Dial("tcp", served.Addr()) }},
		"the wrench calls":     {Dial(daemon.Addr().String()), daemon.Accept},
	} {
		t.Run(name, func(t *testing.T) {
			w := newWrench(t, c.line, plainForm{})
			if err := w.Plug(t.Context()); err != nil {
				t.Fatal(err)
			}
			end := sending(t.Context(), w, reading(t, w, 20))
			for range 2 { // the second time after a hang-up without acknowledgement
				peer, err := c.meet()
				if err != nil {
					t.Fatal(err)
				}
				wantLine(t, bufio.NewReader(peer), "8;20.0\r\n")
				if err := peer.Close(); err != nil {
					t.Fatal(err)
				}
			}
			peer, err := c.meet()
			if err != nil {
				t.Fatal(err)
			}
			defer peer.Close()
			wantLine(t, bufio.NewReader(peer), "8;20.0\r\n")
			say(t, peer, "ok 8\r\n")
			if err := <-end; err != nil {
				t.Error(err)
			}
		})
	}
}

func TestTCP_ListensAgainAfterUnplug(t *testing.T) {
	line, err := Listen("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer line.Close()
	unplugged, unplug := context.WithCancel(t.Context())
	unplug()
	if _, err := line.Open(unplugged); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v, want the end of the wait", err)
	}
	peer, err := net.Dial("tcp", line.Addr())
	if err != nil {
		t.Fatal(err)
	}
	defer peer.Close()
	conn, err := line.Open(t.Context())
	if err != nil {
		t.Fatalf("got %v, want the next caller", err)
	}
	if err := conn.Close(); err != nil {
		t.Error(err)
	}
}

// bareForm wants a single ACK character, which is no line.
type bareForm struct{ plainForm }

func (bareForm) Ack(device.Reading) []byte { return []byte("\x06") }

func TestWrench_AcknowledgementThatIsNoLine(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		line := piped{make(chan net.Conn)}
		w := newWrench(t, line, bareForm{})
		if err := w.Plug(t.Context()); err != nil {
			t.Fatal(err)
		}
		peer := <-line.peers
		hears := bufio.NewReader(peer)
		for _, want := range []string{"8;45.2\r\n", "9;45.2\r\n"} {
			end := sending(t.Context(), w, reading(t, w, 45.24))
			wantLine(t, hears, want)
			say(t, peer, "?\x06")
			if err := <-end; err != nil {
				t.Errorf("got %v, want an acknowledged reading", err)
			}
		}
		if got, want := w.Counts(), (Counts{Sent: 2, Acked: 2}); got != want {
			t.Errorf("got %+v, want %+v", got, want)
		}
	})
}
