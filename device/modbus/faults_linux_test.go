package modbus

import (
	"bytes"
	"errors"
	"fmt"
	"net"
	"slices"
	"strings"
	"testing"

	"github.com/simonvetter/modbus"
	"witnessmark/device/port"
	"witnessmark/device/port/plugtest"
)

// Everything that a person must put right comes as a sentence that says what.
func TestPlace_Misfit(t *testing.T) {
	for _, c := range []struct {
		deny error
		says string
	}{
		{modbus.ErrIllegalFunction, "knows no holding registers: write table: input in the profile"},
		{modbus.ErrIllegalDataAddress, "has no holding registers 100 to 102: correct from, count or table in the profile"},
		{modbus.ErrIllegalDataValue, "does not give 3 registers at once: correct count in the profile"},
		{modbus.ErrServerDeviceFailure, "cannot answer for a fault of its own: switch it off and on again"},
		{modbus.ErrAcknowledge, "cannot answer for a fault of its own"},
		{modbus.ErrServerDeviceBusy, "cannot answer for a fault of its own"},
		{modbus.ErrMemoryParityError, "cannot answer for a fault of its own"},
		{modbus.ErrGWPathUnavailable, "the gateway does not reach unit 1"},
		{modbus.ErrGWTargetFailedToRespond, "the gateway does not reach unit 1"},
	} {
		t.Run(c.deny.Error(), func(t *testing.T) {
			t.Parallel()
			u, s := newUnit(), plugtest.New(t)
			u.deny = c.deny
			u.plug(s, nil)
			for _, spec := range []string{"tcp://" + u.serveTCP(t), s.Path} {
				p, err := mustAt(t, spec, three()).Open(t.Context())
				if p != nil || err == nil || !strings.Contains(err.Error(), c.says) {
					t.Fatalf("got %v, %v, want an error that says %q", p, err, c.says)
				}
				if strings.ContainsAny(err.Error(), "\n") || !strings.Contains(err.Error(), "unit 1 at "+spec) {
					t.Errorf("got %q, want one sentence that names unit 1 at %s", err, spec)
				}
			}
		})
	}
	t.Run("a register that takes no acknowledgement", func(t *testing.T) {
		u := newUnit()
		u.set(100, 41, 5, 5)
		place := mustAt(t, "tcp://"+u.serveTCP(t), three())
		p := mustOpen(t, place)
		expect(t, p, 41, 5, 5)
		n, err := p.Write([]byte{0, 200, 0, 41, 0x03, 0x84, 0, 1})
		if want := "does not let 1 be written to register 900: correct accepted, pass or fail in the profile"; n != 4 || err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("got %d, %v, want an error that says %q", n, err, want)
		}
		if !p.(*Port).misfit.Load() {
			t.Error("got a port that may be opened again at once, want a pause")
		}
	})
	t.Run("an acknowledgement of no whole register", func(t *testing.T) {
		u := newUnit()
		p := mustOpen(t, mustAt(t, "tcp://"+u.serveTCP(t), three()))
		if n, err := p.Write([]byte{0, 200, 0}); n != 0 || err == nil || len(u.log()) != 0 {
			t.Errorf("got %d, %v, want nothing written", n, err)
		}
	})
}

// A line that is disturbed for a moment costs a question, and never an answer that belongs to another one.
func TestPort_Disturbed(t *testing.T) {
	for _, c := range []struct {
		rule  string
		spoil func([]byte) []byte
	}{
		{"a flipped bit", func(b []byte) []byte { b[4] ^= 1; return b }},
		{"nothing", func([]byte) []byte { return nil }},
		{"half an answer", func(b []byte) []byte { return b[:len(b)/2] }},
		{"one byte", func(b []byte) []byte { return b[:1] }},
		{"noise before the answer", func(b []byte) []byte { return append([]byte{0xFF, 0x00, 0x55}, b...) }},
		{"a whole answer too much", func(b []byte) []byte { return append(b, b...) }},
		{"an endless answer", func(b []byte) []byte { return bytes.Repeat([]byte{0x55}, 3000) }},
		{"another unit", func(b []byte) []byte {
			b = append([]byte{9}, b[1:len(b)-2]...)
			return append(b, crc(b)...)
		}},
		{"an answer to another question", func(b []byte) []byte {
			b = []byte{b[0], 3, 2, 0, 7}
			return append(b, crc(b)...)
		}},
		{"a function that does not exist", func(b []byte) []byte {
			b = []byte{b[0], 0x41, 2, 0, 7}
			return append(b, crc(b)...)
		}},
	} {
		t.Run(c.rule, func(t *testing.T) {
			t.Parallel()
			u, s := newUnit(), plugtest.New(t)
			u.set(100, 41, 5, 5)
			no := 0
			u.plug(s, func(b []byte) []byte {
				if no++; no%3 != 1 { // of three answers the second and third are good
					return b
				}
				return c.spoil(b)
			})
			p := mustOpen(t, hasty(mustAt(t, s.Path, three())))
			expect(t, p, 41, 5, 5)
			for n := uint16(42); n < 45; n++ {
				u.set(100, n, n, n)
				expect(t, p, n, n, n)
				if _, err := p.Write([]byte{0, 200, 0, byte(n)}); err != nil {
					t.Fatal(err)
				}
			}
			if got, want := u.log(), []string{"200=42", "200=43", "200=44"}; !slices.Equal(slices.Compact(got), want) {
				t.Errorf("got %q written, want %q", got, want)
			}
		})
	}
}

// An RTU answer has no number: one that comes too late must not be taken for that of the question after it.
func TestPort_LateAnswer(t *testing.T) {
	u, s := newUnit(), plugtest.New(t)
	u.set(100, 41, 5, 5)
	var held []byte
	no := 0
	u.plug(s, func(b []byte) []byte {
		switch no++; no {
		case 2: // the read after the one of Open
			held = bytes.Clone(b)
			return nil
		case 3:
			return append(held, b...)
		}
		return b
	})
	p := mustOpen(t, hasty(mustAt(t, s.Path, three())))
	expect(t, p, 41, 5, 5)
	for n := uint16(42); n < 45; n++ {
		if _, err := p.Write([]byte{0, 200, 0, byte(n)}); err != nil {
			t.Fatalf("got %v, want every question answered by its own answer", err)
		}
	}
}

// What nobody asked for costs no question: it is not there any more when the next one is put.
func TestWire_DropsWhatNobodyAskedFor(t *testing.T) {
	u, s := newUnit(), plugtest.New(t)
	u.plug(s, nil)
	p := mustOpen(t, mustAt(t, s.Path, three())).(*Port)
	p.wire.hear([]byte("\x01\x03noise"))
	if _, err := p.read(); err != nil {
		t.Fatal(err)
	}
	u.mu.Lock()
	defer u.mu.Unlock()
	if u.reads != 2 { // one of Open
		t.Errorf("got %d reads, want 2", u.reads)
	}
}

// counting counts what is written.
type counting struct {
	net.Conn
	n int
}

func (c *counting) Write(b []byte) (int, error) {
	c.n += len(b)
	return len(b), nil
}

func TestWire_BoundsAnAnswer(t *testing.T) {
	near := &counting{}
	w := &wire{near: near}
	w.admit(longest)
	for range 10 {
		w.hear(make([]byte, 300))
	}
	if near.n != longest {
		t.Errorf("got %d bytes passed on, want %d", near.n, longest)
	}
}

// What does not come back is gone after a bounded time, and people are told what to look at.
func TestPort_Gone(t *testing.T) {
	for _, c := range []struct {
		rule  string
		spoil func([]byte) []byte
		says  string
	}{
		{"it is switched off", func([]byte) []byte { return nil }, "does not answer: switch the wrench on"},
		{"every answer is spoiled", func(b []byte) []byte { b[4] ^= 1; return b }, "answers what is no Modbus"},
		{"another unit answers", func(b []byte) []byte {
			b = append([]byte{9}, b[1:len(b)-2]...)
			return append(b, crc(b)...)
		}, "another unit answers in place of unit 1"},
		{"an exception that does not exist", func(b []byte) []byte {
			b = []byte{b[0], 0x83, 0x77}
			return append(b, crc(b)...)
		}, "answers what is no Modbus"},
	} {
		t.Run(c.rule, func(t *testing.T) {
			t.Parallel()
			u, s := newUnit(), plugtest.New(t)
			u.set(100, 41, 5, 5)
			spoiled := make(chan struct{})
			u.plug(s, func(b []byte) []byte {
				select {
				case <-spoiled:
					return c.spoil(b)
				default:
					return b
				}
			})
			place := hasty(mustAt(t, s.Path, three()))
			p := mustOpen(t, place)
			expect(t, p, 41, 5, 5)
			close(spoiled)
			n, err := p.Read(make([]byte, 6))
			if n != 0 || err == nil || !strings.Contains(err.Error(), c.says) || errors.Is(err, port.ErrClosed) {
				t.Errorf("got %d, %v, want an error that says %q", n, err, c.says)
			}
			if err := p.Close(); err != nil {
				t.Fatal(err)
			}
			for range 2 { // the second finds the port given back
				if p, err := place.Open(t.Context()); p != nil || err == nil || !strings.Contains(err.Error(), c.says) {
					t.Errorf("opened again: got %v, %v, want no port and the same sentence", p, err)
				}
			}
		})
	}
	for _, scheme := range []string{"tcp://", "rtu+tcp://"} {
		t.Run("a server that is half open at "+scheme, func(t *testing.T) {
			t.Parallel()
			p, err := hasty(mustAt(t, scheme+answerTCP(t, silence), three())).Open(t.Context())
			if p != nil || !errors.Is(err, port.ErrUnplugged) || !strings.Contains(err.Error(), "does not answer") {
				t.Errorf("got %v, %v, want to be told that it does not answer", p, err)
			}
		})
	}
	t.Run("a server that hangs up", func(t *testing.T) {
		t.Parallel()
		for _, scheme := range []string{"tcp://", "rtu+tcp://"} {
			p, err := mustAt(t, scheme+answerTCP(t, func(net.Conn) {}), three()).Open(t.Context())
			if p != nil || !errors.Is(err, port.ErrUnplugged) {
				t.Errorf("%s: got %v, %v, want %v", scheme, p, err, port.ErrUnplugged)
			}
		}
	})
	t.Run("a server of something else", func(t *testing.T) {
		t.Parallel()
		for _, said := range []string{"HTTP/1.1 400 Bad Request\r\n\r\n", strings.Repeat("\x00", 64), strings.Repeat("\xff", 64)} {
			addr := answerTCP(t, func(c net.Conn) {
				b := make([]byte, 64)
				for {
					if _, err := c.Read(b); err != nil {
						return
					}
					fmt.Fprint(c, said)
				}
			})
			p, err := hasty(mustAt(t, "tcp://"+addr, three())).Open(t.Context())
			if p != nil || err == nil || !strings.Contains(err.Error(), "unit 1 at tcp://"+addr) {
				t.Errorf("%q: got %v, %v, want a sentence that names the unit", said, p, err)
			}
		}
	})
}
