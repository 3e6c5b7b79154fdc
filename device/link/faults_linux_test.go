package link

// The first eleven rows of the fault table, what is promised, and the tests that hold it:
//
//	F01 cable pulled in the middle of a line: kept as evidence and never judged; gone within 2 s, back within 5 s
//	    device/link TestF01_CablePulledMidLine TestF01_GoneAndBackInTime
//	F02 cable pulled with a line still in the kernel: it may be lost, and the counter tells
//	    device/link TestF02_LineInTheKernelWhenTheCableIsPulled
//	F03 node renumbered: the same wrench with the same history
//	    device/link TestF03_NodeRenumbered
//	    cmd/witnessmark/internal/daemon TestF03_TwoEqualAdapters
//	F04 device present but silent: fresh, stale, gone by age; it is shown for how long
//	    device/link TestF04_DevicePresentButSilent
//	    cmd/witnessmark TestWrenches_Attention
//	F05 noise, NUL, wrong speed, merged or endless lines: bounded memory, kept as evidence, the next good line is read
//	    device/link TestF05_GoodLinesAmongGarbage
//	    device/frame TestFramer_MemoryIsBounded
//	    cmd/witnessmark/internal/daemon TestF05_WrenchThatTalksNoise
//	F06 second program on the port: refused, and ours keeps reading
//	    device/link TestF06_SecondProgramOnThePort
//	    device/port TestSerial_OneProgram
//	F07 descriptor of 1024 or more: no panic (and, as the bytes go over a descriptor of our own, no refusal either)
//	    device/port TestF07_HighDescriptor
//	F08 use after close: an error, and no byte written anywhere
//	    device/port TestF08_UseAfterClose
//	F09 close hangs: the end within 10 s, and named in the log
//	    device/link TestF09_CloseHangs
//	    device/port TestLine_CloseHangs
//	    cmd/witnessmark/internal/daemon TestF09_StuckPortIsNamed
//	F10 half-open network connection: gone within the idle limit that the user sets
//	    device/link TestF10_StoppedPeer TestF10_DeadNetwork
//	    device/port TestTCP_LimitsSilence
//	F11 wrench sends its memory again: nothing twice, nothing lost, nothing at the wrong step
//	    cmd/witnessmark/internal/daemon TestF11_MemorySentAgain
//	    device/link TestRun_Resent

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"golang.org/x/sys/unix"
	"pgregory.net/rapid"
	"witnessmark/device"
	"witnessmark/device/port"
	"witnessmark/device/port/plugtest"
)

func TestF01_CablePulledMidLine(t *testing.T) {
	s := plugtest.New(t)
	s.Plug()
	b := start(t, s.Path)
	line := pull(t, 1)
	s.Send(line[:9])
	b.until(func(st State) bool { return !st.Seen.IsZero() })
	s.Unplug()
	if st := b.until(down); st.Phase != Gone {
		t.Errorf("got %s after the cable was pulled, want it gone at once", st.Phase)
	}
	torn := fmt.Sprintf("refusal torn %q", line[:9])
	b.expect(t, torn)
	s.Plug()
	if st := b.until(up); st.Phase != Fresh {
		t.Errorf("got %s after the return, want it fresh", st.Phase)
	}
	s.Send(line)
	s.Expect(ack(1))
	b.expect(t, torn, "reading 1")
}

// However long the wrench was away, it is back within the longest pause; and a lost plug is told without any pause.
func TestF01_GoneAndBackInTime(t *testing.T) {
	const gone, back = 2 * time.Second, 5 * time.Second
	for _, away := range []time.Duration{time.Millisecond, time.Second, time.Minute, 40*time.Minute + time.Millisecond} {
		synctest.Test(t, func(t *testing.T) {
			d := newDiary()
			first, second := newFakePort(d), newFakePort(d)
			returned := make(chan struct{})
			opened := 0
			var told []State
			r := run(t, fakePlace(func(context.Context) (port.Port, error) {
				if opened++; opened == 1 {
					return first, nil
				}
				select {
				case <-returned:
					return second, nil
				default:
					return nil, errors.New("nothing is plugged in")
				}
			}), d, func(s State) { told = append(told, s) })
			synctest.Wait()
			pulled := time.Now()
			close(first.in)
			time.Sleep(away)
			close(returned)
			replugged := time.Now()
			second.in <- pull(t, 1)
			synctest.Wait()
			lost := slices.IndexFunc(told, down)
			found := lost + slices.IndexFunc(told[lost:], up)
			if took := told[lost].Since.Sub(pulled); took > gone {
				t.Errorf("away for %s: got it gone after %s, want within %s", away, took, gone)
			}
			if took := told[found].Since.Sub(replugged); took > back {
				t.Errorf("away for %s: got it back after %s, want within %s", away, took, back)
			}
			if err := r.over(); err != nil {
				t.Error(err)
			}
		})
	}
}

// busy is Evidence that keeps the reader away from the port for a while.
type busy struct{ entered, leave chan struct{} }

func (b busy) Took(time.Time, []byte) { b.entered <- struct{}{}; <-b.leave }
func (busy) Gone(time.Time)           {}

func TestF02_LineInTheKernelWhenTheCableIsPulled(t *testing.T) {
	s := plugtest.New(t)
	s.Plug()
	e := busy{make(chan struct{}), make(chan struct{})}
	var mu sync.Mutex
	var kept []device.Reading
	b := start(t, s.Path, func(l *Link) {
		l.Evidence = e
		l.Sink = readings{l.Sink, func(r device.Reading) { mu.Lock(); kept = append(kept, r); mu.Unlock() }}
	})
	s.Send(pull(t, 1))
	<-e.entered
	s.Send(pull(t, 2)) // the reader is away: it stays in the kernel, and goes with the plug
	s.Unplug()
	e.leave <- struct{}{}
	b.until(down)
	s.Plug()
	s.Send(pull(t, 3))
	<-e.entered
	e.leave <- struct{}{}
	s.Expect(ack(3))
	b.expect(t, "reading 1", "reading 3")
	mu.Lock()
	defer mu.Unlock()
	if kept[0].Skipped != 0 || kept[1].Skipped != 1 {
		t.Errorf("got %d and %d skipped counts, want none and the one that was lost", kept[0].Skipped, kept[1].Skipped)
	}
}

// readings is a Sink that shows the readings as they came.
type readings struct {
	Sink
	show func(device.Reading)
}

func (s readings) Reading(ctx context.Context, r device.Reading, came time.Time) (uint64, error) {
	s.show(r)
	return s.Sink.Reading(ctx, r, came)
}

func TestF03_NodeRenumbered(t *testing.T) {
	s := plugtest.New(t)
	s.Plug()
	b := start(t, s.Path)
	s.Send(pull(t, 1))
	s.Expect(ack(1))
	first := s.Device()
	for s.Device() == first {
		other := plugtest.New(t)
		s.Unplug()
		other.Plug() // takes the number that was given back, unless another process was quicker
		s.Plug()
	}
	s.Send(pull(t, 1) + pull(t, 2)) // the history stayed with the wrench: the first is known
	s.Expect(ack(1) + ack(2))
	b.expect(t, "reading 1", "reading 2")
}

// Whatever stands between them, every line that begins where a line begins comes out, in order, and everything that
// came is evidence.
func TestF05_GoodLinesAmongGarbage(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		var stream []byte
		var want []string
		count := int64(0)
		for range rapid.IntRange(1, 12).Draw(rt, "pieces") {
			if rapid.Bool().Draw(rt, "good") {
				count++
				if len(stream) == 0 || strings.HasSuffix(string(stream), "\r\n") {
					want = append(want, fmt.Sprintf("reading %d", count), "write "+ack(count))
				}
				stream = append(stream, pull(t, count)...)
				continue
			}
			noise := rapid.SliceOfN(rapid.SampledFrom([]byte("\x00\xff\r\n;*1Nm.\x7f")), 0, 700).Draw(rt, "garbage")
			stream = append(stream, noise...)
			if rapid.Bool().Draw(rt, "ended") {
				stream = append(stream, "\r\n"...)
			}
		}
		cuts := rapid.SliceOfN(rapid.IntRange(0, len(stream)), 0, 20).Draw(rt, "cuts")
		if got := goodOf(t, stream, cuts); !slices.Equal(got, want) {
			rt.Fatalf("got %q, want %q", got, want)
		}
	})
}

// goodOf sends a stream in pieces to a link and gives what it said of readings.
func goodOf(t *testing.T, stream []byte, cuts []int) (good []string) {
	synctest.Test(t, func(t *testing.T) {
		d := newDiary()
		p := newFakePort(d)
		var e tape
		r := run(t, inTurn(p), d, nil, func(l *Link) { l.Evidence = &e })
		slices.Sort(cuts)
		from := 0
		for _, to := range append(cuts, len(stream)) {
			for from < to {
				n := min(to-from, 4096)
				p.in <- string(stream[from : from+n])
				from += n
			}
		}
		synctest.Wait()
		if err := r.over(); err != nil {
			t.Error(err)
		}
		if kept := strings.Join(e.got[:len(e.got)-1], ""); kept != string(stream) {
			t.Errorf("got %d bytes of evidence, want the %d that came", len(kept), len(stream))
		}
		for _, line := range d.read() {
			if !strings.HasPrefix(line, "refusal ") {
				good = append(good, line)
			}
		}
	})
	return good
}

func TestF06_SecondProgramOnThePort(t *testing.T) {
	s := plugtest.New(t)
	s.Plug()
	ours := start(t, s.Path)
	ours.until(up)
	t.Run("one that looks at locks is refused", func(t *testing.T) {
		theirs := start(t, s.Path)
		if st := theirs.until(down); !strings.Contains(st.Reason, s.Path+" open already") {
			t.Errorf("got reason %q, want to be told that it is in use", st.Reason)
		}
	})
	t.Run("one of another user is refused by the system", func(t *testing.T) {
		if err := openAs(t, nobody, s.Device()); !errors.Is(err, syscall.EBUSY) {
			t.Errorf("got %v, want %v", err, syscall.EBUSY)
		}
	})
	t.Run("one of root is not refused", func(t *testing.T) { // by the system: TIOCEXCL holds off ordinary users only
		if os.Geteuid() != 0 {
			t.Skip("only root can try it")
		}
		if err := openAs(t, 0, s.Device()); err != nil {
			t.Errorf("got %v, want root to get in, as documented", err)
		}
	})
	s.Send(pull(t, 1))
	s.Expect(ack(1))
	ours.expect(t, "reading 1")
}

const nobody = 65534

// openAs opens a device on a thread that runs as another user, where we may become that.
func openAs(t *testing.T, user int, device string) error {
	t.Helper()
	if os.Geteuid() == 0 {
		if err := os.Chown(device, user, -1); err != nil {
			t.Fatal(err)
		}
	}
	result := make(chan error, 1)
	go func() {
		runtime.LockOSThread() // never unlocked: the thread ends with this goroutine
		if os.Geteuid() == 0 {
			if _, _, errno := unix.RawSyscall(unix.SYS_SETRESUID, uintptr(user), uintptr(user), uintptr(user)); errno != 0 {
				result <- errno
				return
			}
		}
		fd, err := unix.Open(device, unix.O_RDWR|unix.O_NOCTTY|unix.O_CLOEXEC, 0)
		if err == nil {
			err = unix.Close(fd)
		}
		result <- err
	}()
	return <-result
}

// A port that the system does not let go of holds up neither the end nor what is said of it.
func TestF09_CloseHangs(t *testing.T) {
	const shutdown = 10 * time.Second
	synctest.Test(t, func(t *testing.T) {
		d := newDiary()
		d.before = func(ctx context.Context) error { time.Sleep(time.Second); return ctx.Err() }
		p := hanging{newFakePort(d)}
		r := run(t, fakePlace(func(context.Context) (port.Port, error) { return p, nil }), d, nil)
		p.in <- pull(t, 1)
		synctest.Wait()
		began := time.Now()
		if err := r.over(); !errors.Is(err, port.ErrStuck) {
			t.Errorf("got %v, want %v", err, port.ErrStuck)
		}
		if took := time.Since(began); took > shutdown {
			t.Errorf("got the end after %s, want within %s", took, shutdown)
		}
		d.expect(t, "reading 1", "write "+ack(1))
	})
}

// hanging is a port that the system does not let go of, as the contract of Close has it.
type hanging struct{ *fakePort }

func (p hanging) Close() error {
	p.fakePort.Close()
	time.Sleep(port.CloseWithin)
	return fmt.Errorf("close wrench: %w", port.ErrStuck)
}

// Every test that the table above names is there.
func TestFaultTable(t *testing.T) {
	text, err := os.ReadFile("faults_linux_test.go")
	if err != nil {
		t.Fatal(err)
	}
	rows := map[string]int{}
	row := ""
	for line := range strings.Lines(string(text)) {
		entry, inTable := strings.CutPrefix(line, "//\t")
		words := strings.Fields(entry)
		switch {
		case !inTable || len(words) == 0:
		case !strings.HasPrefix(entry, " "):
			row = words[0]
		default:
			for _, name := range words[1:] {
				rows[row]++
				if !defined(t, filepath.Join("../..", words[0]), name) {
					t.Errorf("%s: got no %s in %s", row, name, words[0])
				}
			}
		}
	}
	for n := range 11 {
		if row := fmt.Sprintf("F%02d", n+1); rows[row] == 0 {
			t.Errorf("got no test of %s in the table", row)
		}
	}
}

// defined looks for a test in the files of a package.
func defined(t *testing.T, folder, name string) bool {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(folder, "*_test.go"))
	if err != nil {
		t.Fatal(err)
	}
	return slices.ContainsFunc(files, func(file string) bool {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		return strings.Contains(string(text), "\nfunc "+name+"(t *testing.T)")
	})
}
