package modbus

import (
	"bytes"
	"errors"
	"fmt"
	"net"
	"os"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/simonvetter/modbus"
	"witnessmark/device/port"
	"witnessmark/device/port/plugtest"
)

func TestPort_NewReadings(t *testing.T) {
	ways(t, func(t *testing.T, u *unit, spec string) {
		u.set(100, 41, 0x01C4, 31)
		p := mustOpen(t, mustAt(t, spec, three()))
		expect(t, p, 41, 0x01C4, 31) // the present one, once
		next := make(chan struct{})
		go func() {
			defer close(next)
			u.polls(5) // nothing is new
			u.set(100, 42, 0x01C5, 30)
		}()
		expect(t, p, 42, 0x01C5, 30)
		<-next
		u.set(100, 43, 0x01C5, 30) // the same pull once more
		expect(t, p, 43, 0x01C5, 30)
		if n, err := p.Write([]byte{0, 200, 0, 43, 0, 201, 0, 1}); n != 8 || err != nil {
			t.Fatalf("got %d, %v, want two registers written", n, err)
		}
		if got, want := u.log(), []string{"200=43", "201=1"}; !slices.Equal(got, want) {
			t.Errorf("got %q written, want %q", got, want)
		}
	})
}

func TestPort_InputRegisters(t *testing.T) {
	ways(t, func(t *testing.T, u *unit, spec string) {
		u.set(100, 1, 1, 1)
		copy(u.input[100:], []uint16{2, 2, 2})
		r := three()
		r.Input = true
		expect(t, mustOpen(t, mustAt(t, spec, r)), 2, 2, 2)
	})
}

func TestPort_AsksAsOftenAsItIsTold(t *testing.T) {
	u := newUnit()
	u.set(100, 41, 5, 5)
	r := three()
	r.Every = time.Hour
	p := mustOpen(t, mustAt(t, "tcp://"+u.serveTCP(t), r))
	expect(t, p, 41, 5, 5)
	err := closeDuringRead(t, p, func() {
		for range 50 { // time enough for many a poll
			if _, err := p.Write([]byte{0, 200, 0, 41}); err != nil {
				t.Error(err)
			}
		}
	})
	if !errors.Is(err, port.ErrClosed) {
		t.Errorf("got %v, want %v", err, port.ErrClosed)
	}
	if u.reads != 3 { // of Open, the first poll, and once more for a block that was half written
		t.Errorf("got %d reads, want 3", u.reads)
	}
}

func TestPort_SmallReads(t *testing.T) {
	u := newUnit()
	u.set(100, 0x0102, 0x0304, 0x0506)
	p := mustOpen(t, mustAt(t, "tcp://"+u.serveTCP(t), three()))
	var got []byte
	for len(got) < 6 {
		b := make([]byte, 4)
		n, err := p.Read(b)
		if err != nil || n == 0 {
			t.Fatalf("got %d, %v, want bytes", n, err)
		}
		got = append(got, b[:n]...)
	}
	if want := []byte{1, 2, 3, 4, 5, 6}; !bytes.Equal(got, want) {
		t.Errorf("got % X, want % X", got, want)
	}
	if n, err := p.Read(nil); n != 0 || err != nil {
		t.Errorf("got %d, %v of a read of nothing, want 0 and no error", n, err)
	}
}

// The registers at one poll after the other, and what is given; given counts from what is expected, so that a block
// that should not have been given comes in place of the next one.
func TestPort_Given(t *testing.T) {
	type block []uint16
	for _, c := range []struct {
		rule  string
		polls []block
		given []block
	}{
		{"what is there on opening is given", []block{{7, 5, 5}}, []block{{7, 5, 5}}},
		{"nothing was pulled yet", []block{{0, 0, 0}, {1, 5, 5}}, []block{{1, 5, 5}}},
		{"nothing was pulled yet, though the battery is told", []block{{0, 0, 98}, {1, 5, 98}}, []block{{1, 5, 98}}},
		{"a wrench that was switched off and on has nothing", []block{{7, 5, 5}, {0, 0, 0}, {1, 6, 6}}, []block{{7, 5, 5}, {1, 6, 6}}},
		{"the first pull after that may have the count from before", []block{{1, 5, 5}, {0, 0, 0}, {1, 5, 5}}, []block{{1, 5, 5}, {1, 5, 5}}},
		{"a counter comes round to zero", []block{{65535, 5, 5}, {0, 6, 6}, {1, 7, 7}}, []block{{65535, 5, 5}, {0, 6, 6}, {1, 7, 7}}},
		{"a counter that was set back has nothing", []block{{7, 5, 5}, {0, 5, 5}, {1, 6, 6}}, []block{{7, 5, 5}, {1, 6, 6}}},
		{"a counter that goes back is news", []block{{7, 5, 5}, {3, 6, 6}}, []block{{7, 5, 5}, {3, 6, 6}}},
		{"what changes beside the counter is no news", []block{{7, 5, 5}, {7, 6, 6}, {8, 7, 7}}, []block{{7, 5, 5}, {8, 7, 7}}},
	} {
		t.Run(c.rule, func(t *testing.T) {
			u := newUnit()
			// Read 1 is that of Open; after it every block stands for a few reads, as long as one poll takes at most.
			u.before = func(no int) {
				i := min((no-1)/4, len(c.polls)-1)
				copy(u.holding[100:], c.polls[i])
			}
			p := mustOpen(t, mustAt(t, "tcp://"+u.serveTCP(t), three()))
			for _, want := range c.given {
				expect(t, p, want...)
			}
		})
	}
}

func TestPort_Torn(t *testing.T) {
	for _, c := range []struct {
		rule  string
		reads []func(r []uint16) // what the wrench writes before each read after the first block was taken
		want  []uint16
	}{
		{"the counter is written first", []func([]uint16){
			func(r []uint16) { r[0] = 42 },
			func(r []uint16) { r[1] = 6 },
			func(r []uint16) { r[2] = 7 },
		}, []uint16{42, 6, 7}},
		{"the counter is written last", []func([]uint16){
			func(r []uint16) { r[1] = 6 },
			func(r []uint16) { r[2] = 7 },
			func(r []uint16) { r[0] = 42 },
		}, []uint16{42, 6, 7}},
		{"another pull comes while the first is read", []func([]uint16){
			func(r []uint16) { r[0], r[1] = 42, 6 },
			func(r []uint16) { r[0], r[2] = 43, 7 },
			func(r []uint16) { r[1] = 8 },
		}, []uint16{43, 8, 7}},
	} {
		t.Run(c.rule, func(t *testing.T) {
			u := newUnit()
			u.set(100, 41, 5, 5)
			p := mustOpen(t, mustAt(t, "tcp://"+u.serveTCP(t), three()))
			expect(t, p, 41, 5, 5)
			u.mu.Lock()
			u.before = func(int) {
				if len(c.reads) > 0 {
					c.reads[0](u.holding[100:])
					c.reads = c.reads[1:]
				}
			}
			u.mu.Unlock()
			expect(t, p, c.want...)
		})
	}
}

func TestPort_NeverStill(t *testing.T) {
	t.Run("a clock beside the reading does not keep it back", func(t *testing.T) {
		u := newUnit()
		u.set(100, 41, 5, 0)
		u.before = func(no int) { u.holding[102] = uint16(no) }
		p := mustOpen(t, mustAt(t, "tcp://"+u.serveTCP(t), three()))
		b := make([]byte, 6)
		if n, err := p.Read(b); n != 6 || err != nil || !bytes.Equal(b[:4], []byte{0, 41, 0, 5}) {
			t.Errorf("got % X, %v, want 00 29 00 05 and a clock", b[:n], err)
		}
	})
	t.Run("a counter that never stands still is none", func(t *testing.T) {
		u := newUnit()
		u.before = func(no int) { u.holding[100] = uint16(no) }
		p := mustOpen(t, mustAt(t, "tcp://"+u.serveTCP(t), three()))
		if n, err := p.Read(make([]byte, 6)); n != 0 || err == nil || !strings.Contains(err.Error(), "let changes name the counter of readings") {
			t.Errorf("got %d, %v, want to be told which field to name", n, err)
		}
	})
}

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

func TestPort_UnplugAndReplug(t *testing.T) {
	u, s := newUnit(), plugtest.New(t)
	place := mustAt(t, s.Path, three())
	if _, err := place.Open(t.Context()); err == nil || !strings.Contains(err.Error(), "nothing is plugged in at "+s.Path) {
		t.Fatalf("got %v, want to be told what to plug in", err)
	}
	before := -1
	for n := uint16(1); n < 5; n++ {
		u.set(100, n, n, n)
		u.plug(s, nil)
		p := mustOpen(t, place)
		expect(t, p, n, n, n)
		s.Unplug()
		if k, err := p.Read(make([]byte, 6)); k != 0 || !errors.Is(err, port.ErrUnplugged) || !strings.Contains(err.Error(), s.Path) {
			t.Fatalf("got %d, %v, want %v", k, err, port.ErrUnplugged)
		}
		if _, err := p.Write([]byte{0, 200, 0, 1}); !errors.Is(err, port.ErrUnplugged) {
			t.Errorf("write: got %v, want %v", err, port.ErrUnplugged)
		}
		if err := p.Close(); err != nil {
			t.Fatal(err)
		}
		switch now := descriptors(t); {
		case before < 0:
			before = now
		case now != before:
			t.Errorf("plug %d: got %d descriptors, want %d as after the first", n, now, before)
		}
	}
}

// descriptors counts those of this process.
func descriptors(t *testing.T) int {
	t.Helper()
	open, err := os.ReadDir("/proc/self/fd")
	if err != nil {
		t.Fatal(err)
	}
	return len(open)
}

func TestPort_OneProgram(t *testing.T) {
	u, s := newUnit(), plugtest.New(t)
	u.set(100, 41, 5, 5)
	u.plug(s, nil)
	p := mustOpen(t, mustAt(t, s.Path, three()))
	if _, err := mustAt(t, s.Path, three()).Open(t.Context()); !errors.Is(err, syscall.EWOULDBLOCK) {
		t.Errorf("second opener: got %v, want %v", err, syscall.EWOULDBLOCK)
	}
	if !s.Exclusive() {
		t.Error("got a port that takes other openers, want it to be ours")
	}
	expect(t, p, 41, 5, 5)
}

func TestPort_Close(t *testing.T) {
	t.Run("ends a read between two polls", func(t *testing.T) {
		ways(t, func(t *testing.T, u *unit, spec string) {
			r := three()
			r.Every = time.Hour
			p := mustOpen(t, mustAt(t, spec, r))
			if err := closeDuringRead(t, p, func() { u.polls(1) }); !errors.Is(err, port.ErrClosed) || errors.Is(err, port.ErrUnplugged) {
				t.Errorf("got %v, want %v", err, port.ErrClosed)
			}
		})
	})
	t.Run("ends a question that is not answered", func(t *testing.T) {
		ways(t, func(t *testing.T, u *unit, spec string) {
			p := mustOpen(t, mustAt(t, spec, three()))
			hang := make(chan struct{})
			u.mu.Lock()
			asked := make(chan struct{})
			u.before = func(int) { close(asked); <-hang; u.before = nil }
			u.mu.Unlock()
			if err := closeDuringRead(t, p, func() { <-asked }); !errors.Is(err, port.ErrClosed) {
				t.Errorf("got %v, want %v", err, port.ErrClosed)
			}
			close(hang)
			if _, err := p.Write([]byte{0, 200, 0, 1}); !errors.Is(err, port.ErrClosed) {
				t.Errorf("write: got %v, want %v", err, port.ErrClosed)
			}
			if len(u.log()) != 0 {
				t.Errorf("got %q written after the close, want nothing", u.log())
			}
		})
	})
}

// closeDuringRead closes the port after when, and gives the error of a Read that was under way.
func closeDuringRead(t *testing.T, p port.Port, when func()) error {
	t.Helper()
	ended := make(chan error, 1)
	go func() {
		_, err := p.Read(make([]byte, 6))
		ended <- err
	}()
	when()
	if err := p.Close(); err != nil {
		t.Errorf("close: got %v, want nothing", err)
	}
	if err := p.Close(); err != nil {
		t.Errorf("second close: got %v, want nothing", err)
	}
	return <-ended
}

func TestPort_Answered(t *testing.T) {
	u := newUnit()
	p := mustOpen(t, mustAt(t, "tcp://"+u.serveTCP(t), three()))
	heard := make(chan struct{}, 3)
	p.(*Port).Answered(func() {
		select {
		case heard <- struct{}{}:
		default:
		}
	})
	ended := make(chan error, 1)
	go func() {
		_, err := p.Read(make([]byte, 6))
		ended <- err
	}()
	for range cap(heard) { // though no reading is new
		<-heard
	}
	p.Close()
	<-ended
}
