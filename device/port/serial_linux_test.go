package port

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/sys/unix"
	"witnessmark/device/port/plugtest"
)

// plugged is a socket with a wrench in it, and its port.
func plugged(t *testing.T) (*plugtest.Socket, Port) {
	t.Helper()
	s := plugtest.New(t)
	s.Plug()
	p, err := OpenSerial(t.Context(), s.Path, nine600)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { p.Close() })
	return s, p
}

func TestSerial_BothWays(t *testing.T) {
	s, p := plugged(t)
	s.Send("#1\r\n")
	expect(t, p, "#1\r\n")
	if n, err := p.Write([]byte("=1\r\n")); n != 4 || err != nil {
		t.Fatalf("got %d, %v, want 4 bytes written", n, err)
	}
	s.Expect("=1\r\n")
}

func TestSerial_KeepsWhatCameBefore(t *testing.T) {
	s := plugtest.New(t)
	s.Plug()
	s.Send("#1\r\n")
	p, err := OpenSerial(t.Context(), s.Path, nine600)
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	expect(t, p, "#1\r\n")
}

func TestSerial_SetsTheLine(t *testing.T) {
	s := plugtest.New(t)
	s.Plug()
	before := s.Settings()
	before.Iflag |= unix.ICRNL | unix.IXON
	before.Lflag |= unix.ICANON | unix.ECHO
	slave, err := os.OpenFile(s.Device(), os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer slave.Close()
	if err := unix.IoctlSetTermios(int(slave.Fd()), unix.TCSETS, before); err != nil {
		t.Fatal(err)
	}
	p, err := OpenSerial(t.Context(), s.Path, Mode{Baud: 4800, DataBits: 8, Parity: "none", StopBits: "2"})
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	got := s.Settings()
	if got.Iflag&(unix.ICRNL|unix.IXON) != 0 || got.Lflag&(unix.ICANON|unix.ECHO) != 0 {
		t.Errorf("got input flags %#x and local flags %#x, want a raw line", got.Iflag, got.Lflag)
	}
	if got.Cflag&unix.CBAUD != unix.B4800 || got.Cflag&unix.CSTOPB == 0 {
		t.Errorf("got control flags %#x, want 4800 baud and two stop bits", got.Cflag)
	}
}

func TestSerial_Ends(t *testing.T) {
	t.Run("a pulled plug is told", func(t *testing.T) {
		s, p := plugged(t)
		ended := ends(p)
		s.Unplug()
		if err := <-ended; !errors.Is(err, ErrUnplugged) || errors.Is(err, ErrClosed) {
			t.Errorf("got %v, want %v", err, ErrUnplugged)
		}
		if n, err := p.Write([]byte("=1\r\n")); n != 0 || !errors.Is(err, ErrUnplugged) {
			t.Errorf("write: got %d, %v, want %v", n, err, ErrUnplugged)
		}
	})
	t.Run("our own close is told", func(t *testing.T) {
		_, p := plugged(t)
		ended := ends(p)
		if err := p.Close(); err != nil {
			t.Error(err)
		}
		if err := <-ended; !errors.Is(err, ErrClosed) || errors.Is(err, ErrUnplugged) {
			t.Errorf("got %v, want %v", err, ErrClosed)
		}
		if err := p.Close(); err != nil {
			t.Errorf("second close: got %v, want nothing", err)
		}
	})
}

func TestF08_UseAfterClose(t *testing.T) {
	_, p := plugged(t)
	if err := p.Close(); err != nil {
		t.Fatal(err)
	}
	// These files take the descriptors that the port gave back.
	dir := t.TempDir()
	for i := range 32 {
		f, err := os.Create(filepath.Join(dir, fmt.Sprint(i)))
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
	}
	if n, err := p.Write([]byte("=1\r\n")); n != 0 || !errors.Is(err, ErrClosed) {
		t.Errorf("write: got %d, %v, want %v", n, err, ErrClosed)
	}
	if n, err := p.Read(make([]byte, 8)); n != 0 || !errors.Is(err, ErrClosed) {
		t.Errorf("read: got %d, %v, want %v", n, err, ErrClosed)
	}
	for i := range 32 {
		if fi, err := os.Stat(filepath.Join(dir, fmt.Sprint(i))); err != nil || fi.Size() != 0 {
			t.Errorf("file %d: got %v, %v, want it empty", i, fi, err)
		}
	}
}

func TestF07_HighDescriptor(t *testing.T) {
	var low []*os.File
	defer func() {
		for _, f := range low {
			f.Close()
		}
	}()
	for fd := uintptr(0); fd < 1100; {
		f, err := os.Open(os.DevNull)
		if err != nil {
			t.Skipf("this computer gives no descriptor above 1023: %v", err)
		}
		low, fd = append(low, f), f.Fd()
	}
	s, p := plugged(t)
	s.Send("#1\r\n")
	expect(t, p, "#1\r\n")
	if _, err := p.Write([]byte("=1\r\n")); err != nil {
		t.Fatal(err)
	}
	s.Expect("=1\r\n")
	ended := ends(p)
	s.Unplug()
	if err := <-ended; !errors.Is(err, ErrUnplugged) {
		t.Errorf("got %v, want %v", err, ErrUnplugged)
	}
}

func TestSerial_OneProgram(t *testing.T) {
	s, p := plugged(t)
	if _, err := OpenSerial(t.Context(), s.Path, Mode{4800, 8, "none", "1"}); err == nil || !strings.Contains(err.Error(), "this program has "+s.Path+" open already") {
		t.Errorf("second opener: got %v, want to be told that it is ourselves", err)
	}
	if exclusive := s.Exclusive(); !exclusive {
		t.Error("got a port that takes other openers, want it to be ours")
	}
	if got := s.Settings().Cflag & unix.CBAUD; got != unix.B9600 {
		t.Errorf("got speed code %#o after a refused second opener, want that of 9600 baud", got)
	}
	s.Send("#1\r\n")
	expect(t, p, "#1\r\n")
	if err := p.Close(); err != nil {
		t.Fatal(err)
	}
	again, err := OpenSerial(t.Context(), s.Path, nine600)
	if err != nil {
		t.Fatalf("got %v, want the port free after its close", err)
	}
	again.Close()
}

// descriptors lists our own that show the device, and how many of them a program that we start would inherit.
func descriptors(t *testing.T, device string) (all, inherited int) {
	t.Helper()
	entries, err := os.ReadDir("/proc/self/fd")
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if name, err := os.Readlink("/proc/self/fd/" + e.Name()); err != nil || name != device {
			continue
		}
		var fd int
		if _, err := fmt.Sscan(e.Name(), &fd); err != nil {
			t.Fatal(err)
		}
		flags, err := unix.FcntlInt(uintptr(fd), unix.F_GETFD, 0)
		if err != nil {
			t.Fatal(err)
		}
		all++
		if flags&unix.FD_CLOEXEC == 0 {
			inherited++
		}
	}
	return all, inherited
}

func TestSerial_Descriptors(t *testing.T) {
	s, p := plugged(t)
	// The socket itself holds one.
	if all, inherited := descriptors(t, s.Device()); all != 2 || inherited != 0 {
		t.Errorf("open: got %d descriptors of ours, %d of them inherited, want 1 and 0", all-1, inherited)
	}
	if flags := s.Settings(); flags.Lflag&unix.ICANON != 0 {
		t.Errorf("got local flags %#x, want a raw line", flags.Lflag)
	}
	if err := p.Close(); err != nil {
		t.Fatal(err)
	}
	if all, _ := descriptors(t, s.Device()); all != 1 {
		t.Errorf("closed: got %d descriptors of ours, want 0", all-1)
	}
}

func TestSerial_Refuses(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	dangling := filepath.Join(dir, "dangling")
	if err := os.Symlink(filepath.Join(dir, "pulled"), dangling); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ rule, path, says string }{
		{"nothing plugged in", filepath.Join(dir, "absent"), "nothing is plugged in at " + filepath.Join(dir, "absent")},
		{"a name whose device is gone", dangling, "nothing is plugged in at " + dangling},
		{"a file", file, file + " is no serial port"},
		{"a device that is no terminal", os.DevNull, os.DevNull + " is no serial port"},
		{"a folder", dir, dir + " is a folder"},
	} {
		t.Run(c.rule, func(t *testing.T) {
			p, err := OpenSerial(t.Context(), c.path, nine600)
			if p != nil || err == nil || !strings.Contains(err.Error(), c.says) {
				t.Fatalf("got %v, %v, want an error that says %q", p, err, c.says)
			}
			if n := strings.Count(err.Error(), c.path); n != 1 {
				t.Errorf("got %q, want the path named once", err)
			}
		})
	}
}

func TestSerial_NobodyTakes(t *testing.T) {
	t.Parallel()
	_, p := plugged(t)
	n, err := p.Write(make([]byte, 1<<20))
	if n == 1<<20 || !errors.Is(err, os.ErrDeadlineExceeded) {
		t.Fatalf("got %d, %v, want %v", n, err, os.ErrDeadlineExceeded)
	}
	if err := p.Close(); err != nil {
		t.Errorf("close: got %v, want nothing", err)
	}
}

func TestAwait_HangingDriver(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	back, closed := make(chan struct{}), make(chan struct{})
	cancel()
	p, err := await(ctx, func() (*line, error) {
		<-back
		return newLine("hung", &fakeChannel{}, func() { close(closed) }), nil
	})
	if p != nil || !errors.Is(err, context.Canceled) {
		t.Fatalf("got %v, %v, want %v", p, err, context.Canceled)
	}
	close(back)
	<-closed // or the test hangs: a port that came late must be given back
}
