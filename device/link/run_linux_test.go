package link

import (
	"context"
	"fmt"
	"net"
	"strings"
	"testing"

	"witnessmark/device/memory"
	"witnessmark/device/port"
	"witnessmark/device/port/plugtest"
)

// bench is a link at work on a real port.
type bench struct {
	*diary
	*states
	stop func()
}

// start runs a link until the test ends.
func start(t *testing.T, spec string, change ...func(*Link)) *bench {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	b := &bench{diary: newDiary(), states: newStates()}
	place, err := port.At(spec, port.Mode(form(t).Mode()))
	if err != nil {
		t.Fatal(err)
	}
	l := Link{Wrench: "TW-01", Place: place, Profile: form(t), Sink: b, Notice: b.notice}
	for _, c := range change {
		c(&l)
	}
	done := make(chan struct{})
	go func() {
		defer close(done)
		if err := Run(ctx, l); err != nil {
			t.Errorf("got %v, want no error at the end", err)
		}
	}()
	b.stop = func() { cancel(); <-done }
	t.Cleanup(b.stop)
	return b
}

func TestRun_PlugAndUnplug(t *testing.T) {
	s := plugtest.New(t)
	b := start(t, s.Path)
	if st := b.until(down); !strings.Contains(st.Reason, "nothing is plugged in at "+s.Path) {
		t.Fatalf("got reason %q, want to be told what to plug in", st.Reason)
	}
	var devices []string
	for n := int64(1); n <= 3; n++ {
		s.Plug()
		devices = append(devices, s.Device())
		if st := b.until(up); st.Reason != "" {
			t.Errorf("got reason %q while up, want none", st.Reason)
		}
		s.Send(pull(t, n))
		s.Expect(ack(n))
		s.Unplug()
		if st := b.until(down); !strings.Contains(st.Reason, port.ErrUnplugged.Error()) || st.Seen.IsZero() {
			t.Errorf("got %+v, want it unplugged and seen before", st)
		}
	}
	t.Logf("the one name showed %v", devices)
	b.expect(t, "reading 1", "reading 2", "reading 3")
}

func TestRun_SplitWrites(t *testing.T) {
	s := plugtest.New(t)
	s.Plug()
	b := start(t, s.Path)
	for _, c := range []byte(pull(t, 1) + pull(t, 2)) {
		s.Send(string([]byte{c}))
	}
	s.Expect(ack(1) + ack(2))
	b.expect(t, "reading 1", "reading 2")
}

func TestRun_FlippedBits(t *testing.T) {
	s := plugtest.New(t)
	s.Plug()
	b := start(t, s.Path)
	line := pull(t, 1)
	n := int64(1)
	for i := range len(line) - 2 { // each byte but the ending, which is the framer's own test
		spoilt := []byte(line)
		spoilt[i] ^= 1
		n++
		s.Send(string(spoilt) + pull(t, n))
		s.Expect(ack(n)) // and nothing before it
		got := b.read()
		refusal, reading := got[len(got)-2], got[len(got)-1]
		if !strings.HasPrefix(refusal, "refusal ") || !strings.HasSuffix(refusal, fmt.Sprintf("%q", spoilt)) {
			t.Errorf("got %q, want a refusal of %q", refusal, spoilt)
		}
		if reading != fmt.Sprintf("reading %d", n) {
			t.Errorf("got %q, want reading %d", reading, n)
		}
	}
}

func TestRun_Resent(t *testing.T) {
	s := plugtest.New(t)
	s.Plug()
	b := start(t, s.Path)
	s.Send(pull(t, 7))
	s.Expect(ack(7))
	s.Send(pull(t, 7)) // its acknowledgement was lost
	s.Expect(ack(7))
	b.until(func(st State) bool { return st.Resent == 1 })
	b.stop()

	// The next run knows what this one kept.
	known := memory.New()
	known.Keep(1, *form(t).Decode("TW-01", frameOf(pull(t, 7))).Reading)
	again := start(t, s.Path, func(l *Link) { l.Memory = known })
	s.Send(pull(t, 7) + pull(t, 8))
	s.Expect(ack(7) + ack(8))
	again.expect(t, "reading 8")
	b.expect(t, "reading 7")
}

func TestRun_TCP(t *testing.T) {
	t.Run("we dial, and dial again", func(t *testing.T) {
		l, err := port.Listen("127.0.0.1:0")
		if err != nil {
			t.Fatal(err)
		}
		defer l.Close()
		b := start(t, "tcp://"+l.Addr())
		for n := int64(1); n <= 2; n++ {
			wrench, err := l.Accept(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			tell(t, wrench, n)
			wrench.Close()
			b.until(down)
		}
		b.expect(t, "reading 1", "reading 2")
	})
	t.Run("we are dialled, and dialled again", func(t *testing.T) {
		addr := freeAddr(t)
		b := start(t, "tcp-listen://"+addr)
		for n := int64(1); n <= 2; n++ {
			var wrench port.Port
			for wrench == nil { // until it listens
				wrench, _ = port.Dial(t.Context(), addr)
			}
			tell(t, wrench, n)
			wrench.Close()
			b.until(down)
		}
		b.expect(t, "reading 1", "reading 2")
	})
}

// freeAddr is an address that nobody listens on just now.
func freeAddr(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().String()
}

// tell sends a pull and waits until it is acknowledged.
func tell(t *testing.T, wrench port.Port, n int64) {
	t.Helper()
	if _, err := wrench.Write([]byte(pull(t, n))); err != nil {
		t.Fatal(err)
	}
	want := ack(n)
	got := make([]byte, 0, len(want))
	for len(got) < len(want) {
		k, err := wrench.Read(got[len(got):cap(got)])
		if err != nil {
			t.Fatal(err)
		}
		got = got[:len(got)+k]
	}
	if string(got) != want {
		t.Fatalf("got %q, want %q", got, want)
	}
}
