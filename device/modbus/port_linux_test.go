package modbus

import (
	"bytes"
	"errors"
	"os"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

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
