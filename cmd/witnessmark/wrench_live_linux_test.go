package main

import (
	"bytes"
	"context"
	"io"
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	"witnessmark/device/port/plugtest"
)

// screen is an output that can be waited for.
type screen struct {
	mu   sync.Mutex
	all  bytes.Buffer
	more chan struct{}
}

func (s *screen) Write(b []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	select {
	case s.more <- struct{}{}:
	default:
	}
	return s.all.Write(b)
}

func (s *screen) text() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.all.String()
}

// await waits until a text stands on the screen; only a test that fails waits for long.
func (s *screen) await(t *testing.T, text string) {
	t.Helper()
	late := time.After(20 * time.Second)
	for !strings.Contains(s.text(), text) {
		select {
		case <-s.more:
		case <-late:
			t.Fatalf("got %q, want %q in it", s.text(), text)
		}
	}
}

// tried runs the command on a port until the test is through with it.
func triedLive(t *testing.T, args ...string) (out *screen, stop func() (code int)) {
	out = &screen{more: make(chan struct{}, 1)}
	ctx, cancel := context.WithCancel(t.Context())
	codes := make(chan int, 1)
	go func() { codes <- run(ctx, append([]string{"wrench", "try"}, args...), out, io.Discard) }()
	stop = sync.OnceValue(func() int { cancel(); return <-codes })
	t.Cleanup(func() { stop() })
	return out, stop
}

const polled = `format: witnessmark/wrench/1
name: polled
version: "1"
serial: {baud: 9600, bits: 8, parity: none, stop: 1}
frame: {gap: 30 ms, max: 64}
fields:
  separator: ";"
  list:
    - {name: torque, kind: torque, unit: N·m}
    - {name: count, kind: counter}
answers: {accepted: "OK"}
send:
  start: ["MODE 1"]
  poll: {text: "D?", every: 60 s}
`

func TestWrenchTry_Live(t *testing.T) {
	socket := plugtest.New(t)
	socket.Plug()
	out, stop := triedLive(t, write(t, "polled.yaml", polled), socket.Path)
	out.await(t, "the port is open")
	socket.Expect("MODE 1D?")
	socket.Send("45.2;7")
	out.await(t, "✓ 45.2 N·m, tightened, number 7")
	socket.Send("30.1;8")
	out.await(t, "✓ 30.1 N·m, tightened, number 8")
	socket.Unplug()
	out.await(t, "the port went away: ")
	socket.Plug()
	socket.Expect("MODE 1D?") // and no acknowledgement came before it
	socket.Send("60.3;9")
	out.await(t, "✓ 60.3 N·m, tightened, number 9")
	if code := stop(); code != exitOK || !strings.Contains(out.text(), "3 frames: 3 readings, 0 refused") {
		t.Errorf("got %d, %q, want the tally and nothing refused", code, out.text())
	}
}

// TestWrenchTry_Listen: with --listen not a byte goes to the wrench.
func TestWrenchTry_Listen(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	out, stop := triedLive(t, "--listen", "--brief", write(t, "polled.yaml", polled), "tcp://"+l.Addr().String())
	wrench, err := l.Accept()
	if err != nil {
		t.Fatal(err)
	}
	defer wrench.Close()
	out.await(t, "the port is open")
	for _, step := range []struct{ sent, shows string }{{"45.2;7", "✓ 45.2 N·m"}, {"x;8", "✗ refused, form"}} {
		if _, err := io.WriteString(wrench, step.sent); err != nil {
			t.Fatal(err)
		}
		out.await(t, step.shows)
	}
	if code := stop(); code != exitAttention {
		t.Errorf("got %d, want %d after a refused frame", code, exitAttention)
	}
	if err := wrench.SetReadDeadline(time.Now().Add(20 * time.Second)); err != nil {
		t.Fatal(err)
	}
	if got, err := io.ReadAll(wrench); err != nil || len(got) > 0 {
		t.Errorf("got %q, %v, want nothing sent", got, err)
	}
}

func TestWrenchTry_ForATime(t *testing.T) {
	socket := plugtest.New(t)
	socket.Plug()
	code, out, errs := said(t, "wrench", "try", "--for", "1ms", "semicolon-xor", socket.Path)
	if code != exitAttention || !strings.Contains(out, "No frame came.") {
		t.Errorf("got %d, %q, %q, want it to end by itself", code, out, errs)
	}
}
