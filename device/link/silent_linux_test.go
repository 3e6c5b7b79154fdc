package link

import (
	"bufio"
	"bytes"
	"fmt"
	"net"
	"os"
	"os/exec"
	"strings"
	"syscall"
	"testing"
	"time"

	"go.uber.org/goleak"
	"golang.org/x/sys/unix"
	"witnessmark/device/port"
	"witnessmark/device/port/plugtest"
	"witnessmark/device/profile"
)

// TestMain is a wrench instead of the tests where the binary was re-executed for that.
func TestMain(m *testing.M) {
	if os.Getenv(asWrench) != "" {
		fmt.Fprintln(os.Stderr, answerAll())
		os.Exit(1)
	}
	goleak.VerifyTestMain(m)
}

// asked is a form whose wrench is asked for readings twenty times a second.
func asked(t testing.TB) *profile.Profile {
	t.Helper()
	const file = "../profile/builtin/labelled-text-sum.yaml"
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	p, err := profile.Parse(file, bytes.Replace(text, []byte("every: 500 ms"), []byte("every: 50 ms"), 1))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func is(p Phase) func(State) bool { return func(s State) bool { return s.Phase == p } }

func TestF04_DevicePresentButSilent(t *testing.T) {
	s := plugtest.New(t)
	s.Plug()
	b := start(t, s.Path, func(l *Link) { l.Profile = asked(t) })
	s.Expect("ECHO OFF\r\nFORMAT LONG\r\n")
	for range 5 {
		s.Expect("READ?\r\n")
		s.Send("--\r\n") // nothing new
	}
	b.until(is(Fresh))
	stale := b.until(is(Stale))
	gone := b.until(is(Gone))
	for _, st := range []State{stale, gone} {
		if !st.Up || !strings.Contains(st.Reason, "nothing has come for") || !st.Since.After(st.Seen) {
			t.Errorf("got %+v, want it open, silent for a time that is told, and when it was heard last", st)
		}
	}
	if gone.Seen != stale.Seen {
		t.Errorf("got it seen at %s and then at %s, want nothing in between", stale.Seen, gone.Seen)
	}
	s.Send("--\r\n")
	if back := b.until(is(Fresh)); back.Reason != "" {
		t.Errorf("got reason %q of a wrench that answers again, want none", back.Reason)
	}
}

// What a re-executed test binary is told by its environment.
const (
	asWrench   = "WITNESSMARK_TEST_WRENCH" // set: be a wrench on TCP that answers whenever it is asked
	inANetwork = "WITNESSMARK_TEST_NETWORK"
)

// answerAll is a wrench in a process of its own. It says where it is, and ends with its input.
func answerAll() error {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return err
	}
	fmt.Println(l.Addr())
	go func() {
		_, _ = os.Stdin.Read(make([]byte, 1)) // it ends when the test does
		os.Exit(0)
	}()
	for {
		conn, err := l.Accept()
		if err != nil {
			return err
		}
		go func() {
			for lines := bufio.NewScanner(conn); lines.Scan(); {
				if _, err := conn.Write([]byte("--\r\n")); err != nil {
					return
				}
			}
		}()
	}
}

// A peer whose program hangs answers the network's questions all the same: only its silence shows it.
func TestF10_StoppedPeer(t *testing.T) {
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	wrench := exec.Command(self)
	wrench.Env = append(os.Environ(), asWrench+"=1")
	in, err := wrench.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	out, err := wrench.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := wrench.Start(); err != nil {
		t.Fatal(err)
	}
	tell := func(sig syscall.Signal) {
		if err := wrench.Process.Signal(sig); err != nil {
			t.Fatal(err)
		}
	}
	t.Cleanup(func() { tell(syscall.SIGCONT); in.Close(); _ = wrench.Wait() })
	addr, err := bufio.NewReader(out).ReadString('\n')
	if err != nil {
		t.Fatal(err)
	}
	b := start(t, "tcp://"+strings.TrimSpace(addr), func(l *Link) { l.Profile, l.Reopen = asked(t), true })
	b.until(func(s State) bool { return s.Phase == Fresh && !s.Seen.IsZero() })
	tell(syscall.SIGSTOP)
	b.until(is(Stale))
	b.until(is(Gone))
	if st := b.until(down); !strings.Contains(st.Reason, errSilent.Error()) {
		t.Errorf("got reason %q, want the silent connection given up", st.Reason)
	}
	if st := b.until(up); st.Phase != Gone { // the system of a stopped peer takes the new connection
		t.Errorf("got it %s as soon as it was dialled again, want it gone until it says something", st.Phase)
	}
	tell(syscall.SIGCONT)
	b.until(is(Fresh))
}

// TestF10_DeadNetwork takes the network away under a connection, in a network of its own.
func TestF10_DeadNetwork(t *testing.T) {
	if os.Getenv(inANetwork) != "" {
		deadNetwork(t)
		return
	}
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	again := exec.Command(self, "-test.run=^TestF10_DeadNetwork$", "-test.v", "-test.timeout=2m")
	again.Env = append(os.Environ(), inANetwork+"=1")
	again.SysProcAttr = &syscall.SysProcAttr{Cloneflags: syscall.CLONE_NEWNET}
	if os.Geteuid() != 0 { // an ordinary user may have a network where it is root
		again.SysProcAttr.Cloneflags |= syscall.CLONE_NEWUSER
		again.SysProcAttr.UidMappings = []syscall.SysProcIDMap{{ContainerID: 0, HostID: os.Getuid(), Size: 1}}
		again.SysProcAttr.GidMappings = []syscall.SysProcIDMap{{ContainerID: 0, HostID: os.Getgid(), Size: 1}}
	}
	out, err := again.CombinedOutput()
	if started := again.Process != nil; !started {
		t.Skipf("this computer gives no network of our own: %v", err)
	}
	if err != nil || !strings.Contains(string(out), "--- PASS: TestF10_DeadNetwork") {
		t.Errorf("got %v, want the test to pass there", err)
	}
	t.Logf("%s", out)
}

func deadNetwork(t *testing.T) {
	network(t, true)
	l, err := port.Listen("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	place, err := port.At("tcp://"+l.Addr(), port.Mode{}, port.Idle(port.MinIdle))
	if err != nil {
		t.Fatal(err)
	}
	b := start(t, "tcp://"+l.Addr(), func(l *Link) { l.Place = place })
	for n := int64(1); n <= 2; n++ {
		wrench, err := l.Accept(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		tell(t, wrench, n)
		b.until(up)
		network(t, false)
		began := time.Now()
		st := b.until(down)
		t.Logf("gone %s after the network, because of: %s", time.Since(began).Round(time.Millisecond), st.Reason)
		if !strings.Contains(st.Reason, port.ErrUnplugged.Error()) {
			t.Errorf("got reason %q, want the wrench unplugged", st.Reason)
		}
		wrench.Close()
		network(t, true)
	}
	b.expect(t, "reading 1", "reading 2")
}

// network switches the loopback of our own network.
func network(t *testing.T, on bool) {
	t.Helper()
	s, err := unix.Socket(unix.AF_INET, unix.SOCK_DGRAM|unix.SOCK_CLOEXEC, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer unix.Close(s)
	lo, err := unix.NewIfreq("lo")
	if err != nil {
		t.Fatal(err)
	}
	if on {
		lo.SetUint16(unix.IFF_UP)
	}
	if err := unix.IoctlIfreq(s, unix.SIOCSIFFLAGS, lo); err != nil {
		t.Fatal(err)
	}
}
