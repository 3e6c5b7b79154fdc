// Package plugtest is the far end of a serial port for tests: a pseudo-terminal under a stable name, as the names
// under /dev/serial/by-id are, that can be plugged in and pulled out. A pseudo-terminal has no speed, no parity and no
// overruns: bytes that nobody reads make the sender wait, where a real wire loses them.
package plugtest

import (
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"github.com/creack/pty"
	"golang.org/x/sys/unix"
)

// patience is how long a test waits for bytes that should come; only a test that fails waits so long.
const patience = 10 * time.Second

// Socket is where a wrench can be plugged in. It belongs to the goroutine of the test.
type Socket struct {
	Path   string // the stable name; there while something is plugged in
	t      testing.TB
	master *os.File
	slave  *os.File
	hide   func() // takes away what shows it beside Path; nil: nothing does
}

// New makes a socket with nothing plugged in.
func New(t testing.TB) *Socket {
	t.Helper()
	s := &Socket{Path: filepath.Join(t.TempDir(), "wrench"), t: t}
	t.Cleanup(s.Unplug)
	return s
}

// Plug plugs in a fresh device, set raw: what is sent before anybody opens it would else be echoed back.
func (s *Socket) Plug() {
	s.t.Helper()
	master, slave, err := pty.Open()
	s.must(err)
	s.slave = slave
	s.master = s.wakeable(master)
	t, err := unix.IoctlGetTermios(int(slave.Fd()), unix.TCGETS)
	s.must(err)
	t.Iflag, t.Oflag, t.Lflag = 0, 0, 0
	t.Cc[unix.VMIN], t.Cc[unix.VTIME] = 1, 0
	s.must(unix.IoctlSetTermios(int(slave.Fd()), unix.TCSETS, t))
	s.must(os.Symlink(slave.Name(), s.Path))
}

// wakeable gives the file under a descriptor whose reads have a deadline.
func (s *Socket) wakeable(f *os.File) *os.File {
	fd, err := unix.FcntlInt(f.Fd(), unix.F_DUPFD_CLOEXEC, 0)
	s.must(err)
	s.must(syscall.SetNonblock(fd, true))
	s.must(f.Close())
	return os.NewFile(uintptr(fd), f.Name())
}

// Unplug pulls the plug. Bytes that the other side has not read yet may be lost. Without a plug it does nothing.
func (s *Socket) Unplug() {
	s.t.Helper()
	if s.master == nil {
		return
	}
	s.must(os.Remove(s.Path))
	if s.hide != nil {
		s.hide()
	}
	s.must(s.master.Close())
	s.must(s.slave.Close())
	s.master, s.slave = nil, nil
}

// Device is the node that the stable name shows at present.
func (s *Socket) Device() string { return s.slave.Name() }

// Settings are those of the line.
func (s *Socket) Settings() *unix.Termios {
	s.t.Helper()
	t, err := unix.IoctlGetTermios(int(s.slave.Fd()), unix.TCGETS)
	s.must(err)
	return t
}

// Exclusive says whether the system refuses another opener, root excepted.
func (s *Socket) Exclusive() bool {
	s.t.Helper()
	on, err := unix.IoctlGetInt(int(s.slave.Fd()), unix.TIOCGEXCL)
	s.must(err)
	return on != 0
}

// Send sends as the wrench does.
func (s *Socket) Send(text string) {
	s.t.Helper()
	s.must(s.master.SetWriteDeadline(time.Now().Add(patience)))
	_, err := s.master.WriteString(text)
	s.must(err)
}

// Wire is the wrench's own end, for one that answers by itself; its reads end when it is unplugged.
func (s *Socket) Wire() *os.File { return s.master }

// Expect reads what was sent to the wrench and fails the test where it is not this text.
func (s *Socket) Expect(want string) {
	s.t.Helper()
	s.must(s.master.SetReadDeadline(time.Now().Add(patience)))
	got := make([]byte, 0, len(want))
	for len(got) < len(want) {
		n, err := s.master.Read(got[len(got):cap(got)])
		got = got[:len(got)+n]
		if err != nil {
			s.t.Fatalf("got %q and then %v, want the wrench to be sent %q", got, err, want)
		}
	}
	if string(got) != want {
		s.t.Fatalf("got %q, want the wrench to be sent %q", got, want)
	}
}

func (s *Socket) must(err error) {
	if err != nil {
		s.t.Helper()
		s.t.Fatal(err)
	}
}
