package daemon

import (
	"errors"
	"net"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"witnessmark/cmd/witnessmark/internal/control"
)

// TestF14_Frozen stops the daemon's process under load, as a suspended computer does, and lets it go on: the watchdog hears
// nothing meanwhile. The last time it is not let go on but killed, as the watchdog would.
func TestF14_Frozen(t *testing.T) {
	t.Parallel()
	tries, frozen := faultTries(t, 2), 2*time.Second
	if os.Getenv("WITNESSMARK_FAULT_TRIES") != "" {
		frozen = time.Minute
	}
	w, port := newWrench(t)
	data := folder(t)
	m := newManager(t)
	p := launch(t, data, port, "NOTIFY_SOCKET="+m.path, "WATCHDOG_USEC=400000")
	drain(p)
	l := newLoad(t, w)
	c := control.NewClient(Folder(data).Socket())
	defer c.Close()
	for try := range tries {
		before := status(t, c, "some readings", func(st control.Status) bool { return st.Entries > uint64(5+try) })
		m.pinged()
		p.freeze()
		m.silentFor(frozen)
		if try == tries-1 {
			break
		}
		p.signal(syscall.SIGCONT)
		m.pinged()
		status(t, c, "more readings", func(st control.Status) bool { return st.Entries > before.Entries+5 })
	}
	p.kill()
	settled(t, "F14", tries, data, port, l)
}

// freeze stops the process and returns when each of its threads stands still.
func (p *program) freeze() {
	p.t.Helper()
	p.signal(syscall.SIGSTOP)
	var how syscall.WaitStatus
	if _, err := syscall.Wait4(p.cmd.Process.Pid, &how, syscall.WUNTRACED, nil); err != nil || !how.Stopped() {
		p.t.Fatalf("got %v, %v, want it stopped", how, err)
	}
}

// manager is a service manager that a daemon tells how it fares.
type manager struct {
	t    *testing.T
	path string
	conn *net.UnixConn
}

func newManager(t *testing.T) *manager {
	t.Helper()
	path := filepath.Join(t.TempDir(), "notify")
	conn, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: path, Net: "unixgram"})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { conn.Close() })
	return &manager{t, path, conn}
}

// hear is what was told next; empty: nothing within the time.
func (m *manager) hear(within time.Duration) string {
	m.t.Helper()
	if err := m.conn.SetReadDeadline(time.Now().Add(within)); err != nil {
		m.t.Fatal(err)
	}
	b := make([]byte, 4096)
	n, err := m.conn.Read(b)
	if err != nil && !errors.Is(err, os.ErrDeadlineExceeded) {
		m.t.Fatal(err)
	}
	return string(b[:n])
}

// forget takes what lies in the socket, however little time that may take.
func (m *manager) forget() {
	m.t.Helper()
	raw, err := m.conn.SyscallConn()
	if err == nil {
		err = raw.Control(func(fd uintptr) {
			for took := error(nil); took == nil; {
				_, _, took = syscall.Recvfrom(int(fd), make([]byte, 4096), syscall.MSG_DONTWAIT)
			}
		})
	}
	if err != nil {
		m.t.Fatal(err)
	}
}

// pinged waits until the watchdog is told to wait.
func (m *manager) pinged() {
	m.t.Helper()
	for {
		switch told := m.hear(time.Minute); {
		case told == "":
			m.t.Fatal("got no ping of the watchdog within a minute")
		case strings.Contains(told, "WATCHDOG=1"):
			return
		}
	}
}

// silentFor lets that much time pass and makes sure that a stopped process tells nothing more than what was on its way.
func (m *manager) silentFor(d time.Duration) {
	m.t.Helper()
	m.forget() // what was told before it was stopped
	if told := m.hear(d); told != "" {
		m.t.Errorf("got %q from a process that is stopped", told)
	}
}
