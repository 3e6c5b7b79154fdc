package daemon

import (
	"bufio"
	"context"
	"fmt"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"go.uber.org/goleak"

	"witnessmark/cmd/witnessmark/internal/tend"
)

// What a re-executed test binary is told by its environment.
const (
	childData = "WITNESSMARK_TEST_DATA" // the data folder; set: run a daemon in it
	childPort = "WITNESSMARK_TEST_PORT" // where its wrench is, or its wrenches, with blanks between
	childDies = "WITNESSMARK_TEST_DIES" // an entry: the process is killed when that is on disk and nobody was told
)

// TestMain runs the daemon instead of the tests where the binary was re-executed for that.
func TestMain(m *testing.M) {
	if data := os.Getenv(childData); data != "" {
		os.Exit(child(data))
	}
	clockEvery = 100 * time.Millisecond
	code := m.Run()
	if code == 0 {
		if err := goleak.Find(); err != nil {
			fmt.Fprintln(os.Stderr, err)
			code = 1
		}
	}
	os.Exit(code)
}

// child runs a daemon until it is told to stop, and says on its output when it works and how far the database is.
func child(data string) int {
	o, know, err := options(data, shopFile(strings.Fields(os.Getenv(childPort))...), os.Stderr)
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 2
	}
	ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGTERM)
	defer stop()
	d, err := New(o)
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 2
	}
	know(d)
	if last, err := strconv.ParseUint(os.Getenv(childDies), 10, 64); err == nil {
		d.opt.Clock = dieAt(d, last)
	}
	if err := d.Start(ctx); err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	fmt.Println("works")
	go tellPosition(d)
	go tellFootprint()
	tending, rest := context.WithCancel(context.Background())
	defer rest()
	go tend.Run(tending, d, d.opt.Log) // as the service does; without a manager it does nothing
	select {
	case <-ctx.Done():
	case <-d.Done():
	}
	err = d.Err()
	if stopped := d.Stop(context.Background()); err == nil {
		err = stopped
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	return 0
}

// dieAt is the daemon's clock, which kills the process when it is read while the journal ends at an entry. A link reads
// the clock between the entry and its acknowledgement, so that one never goes out.
func dieAt(d *Daemon, last uint64) func() time.Time {
	clock := d.opt.Clock
	return func() time.Time {
		if d.journal != nil && d.journal.Last() == last {
			_ = syscall.Kill(os.Getpid(), syscall.SIGKILL)
			select {}
		}
		return clock()
	}
}

// tellFootprint says on SIGUSR1 what the process needs once the collector has been.
func tellFootprint() {
	asked := make(chan os.Signal, 1)
	signal.Notify(asked, syscall.SIGUSR1)
	for range asked {
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		fmt.Println("footprint", m.HeapAlloc, runtime.NumGoroutine())
	}
}

func tellPosition(d *Daemon) {
	for {
		at, moved := d.writer.look()
		fmt.Println("position", at.position)
		select {
		case <-moved:
		case <-d.life.Done():
			return
		}
	}
}

// program is a daemon in a process of its own.
type program struct {
	t     *testing.T
	cmd   *exec.Cmd
	lines chan string
}

func launch(t *testing.T, data, port string, more ...string) *program {
	t.Helper()
	p := begin(t, nil, data, port, more...)
	p.until(func(line string) bool { return line == "works" })
	return p
}

// begin starts a daemon, by a tracer or the like where one is given.
func begin(t *testing.T, by []string, data, port string, more ...string) *program {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	by = append(by, self)
	p := &program{t: t, cmd: exec.Command(by[0], by[1:]...), lines: make(chan string, 1024)}
	p.cmd.Env = append(append(os.Environ(), childData+"="+data, childPort+"="+port), more...)
	log, err := os.OpenFile(filepath.Join(data, "..", "log"), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		t.Fatal(err)
	}
	p.cmd.Stderr = log
	out, err := p.cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := p.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	if err := log.Close(); err != nil {
		t.Error(err)
	}
	go func() {
		defer close(p.lines)
		for sc := bufio.NewScanner(out); sc.Scan(); {
			p.lines <- sc.Text()
		}
	}()
	t.Cleanup(func() { _ = p.cmd.Process.Kill() }) // an error means that it has ended already
	return p
}

// until reads what the program says until it has said the right thing.
func (p *program) until(right func(string) bool) {
	p.t.Helper()
	late := time.After(time.Minute)
	for {
		select {
		case line, ok := <-p.lines:
			if !ok {
				p.t.Fatalf("the daemon ended too early: %s", p.log())
			}
			if right(line) {
				return
			}
		case <-late:
			p.t.Fatalf("the daemon does not get there: %s", p.log())
		}
	}
}

func (p *program) log() string {
	data := ""
	for _, kv := range p.cmd.Env {
		if v, ok := strings.CutPrefix(kv, childData+"="); ok {
			data = v
		}
	}
	text, _ := os.ReadFile(filepath.Join(data, "..", "log"))
	return string(text)
}

// kill ends the program as a power cut would, as far as a process can tell.
func (p *program) kill() {
	p.t.Helper()
	if err := p.cmd.Process.Kill(); err != nil {
		p.t.Fatal(err)
	}
	p.drain()
	_ = p.cmd.Wait() // it was killed; that is no news
}

func (p *program) signal(s os.Signal) {
	p.t.Helper()
	if err := p.cmd.Process.Signal(s); err != nil {
		p.t.Fatal(err)
	}
}

// stop ends the program in good order.
func (p *program) stop() {
	p.t.Helper()
	p.signal(syscall.SIGTERM)
	p.drain()
	if err := p.cmd.Wait(); err != nil {
		p.t.Errorf("stop: %v: %s", err, p.log())
	}
}

func (p *program) drain() {
	for range p.lines {
	}
}

// position waits until the database holds entry n.
func (p *program) position(n uint64) {
	p.t.Helper()
	p.until(func(line string) bool {
		var at uint64
		_, err := fmt.Sscanf(line, "position %d", &at)
		return err == nil && at >= n
	})
}
