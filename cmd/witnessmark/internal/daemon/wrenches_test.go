package daemon

import (
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"witnessmark/audit"
)

// TestDaemon_DeadPortDelaysNoOther puts a good wrench behind dead ones of every kind.
func TestDaemon_DeadPortDelaysNoOther(t *testing.T) {
	p, at := newPeer(t, "semicolon-xor")
	mute, muteAt := newPeer(t, "semicolon-xor")
	gone, goneAt := newPeer(t, "semicolon-xor")
	gone.l.Close()
	ports := []string{
		"/dev/serial/by-id/nowhere", // is not there
		goneAt,                      // refuses
		"tcp://" + deaf(t),          // does not answer at all
		"tcp-listen://127.0.0.1:0",  // waits for a peer that never comes
		muteAt,                      // takes the connection and says nothing
	}
	file := away(shopFile(at))
	ids := []string{"TW-01"}
	for i, spec := range ports {
		id := fmt.Sprintf("TW-1%d", i)
		ids = append([]string{id}, ids...)
		file = strings.Replace(file, "wrenches:\n", "wrenches:\n  - {id: "+id+", port: \""+spec+"\", profile: semicolon-xor}\n", 1)
	}
	file = strings.Replace(file, "[TW-01]", "["+strings.Join(ids, ", ")+"]", 1)
	d := start(t, t.TempDir(), file)
	t.Run("at the start", func(t *testing.T) {
		p.accept()
		p.send(p.line(1, 30, 40, ""))
		p.expect("=1\r\n")
	})
	t.Run("and later", func(t *testing.T) {
		mute.accept()
		mute.hangUp()
		for n := int64(2); n < 5; n++ {
			p.accept() // it was unplugged
			p.send(p.line(n, 30, 40, ""))
			p.expect(fmt.Sprintf("=%d\r\n", n))
		}
	})
	up := map[string]bool{}
	for _, w := range d.Wrenches() {
		up[w.ID] = w.State == "fresh"
		if w.State != "fresh" && w.Reason == "" {
			t.Errorf("%s: got no reason why it is %s", w.ID, w.State)
		}
	}
	if !up["TW-01"] || up["TW-10"] || up["TW-11"] || up["TW-12"] || up["TW-13"] {
		t.Errorf("got the fresh ones %v, want TW-01", up)
	}
}

// deaf is an address that takes no more connections and refuses none: its queue is full.
func deaf(t *testing.T) string {
	t.Helper()
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	fd, err := syscall.Socket(syscall.AF_INET, syscall.SOCK_STREAM|syscall.SOCK_CLOEXEC, 0)
	must(err)
	t.Cleanup(func() { must(syscall.Close(fd)) })
	must(syscall.Bind(fd, &syscall.SockaddrInet4{Addr: [4]byte{127, 0, 0, 1}}))
	must(syscall.Listen(fd, 0))
	at, err := syscall.Getsockname(fd)
	must(err)
	addr := fmt.Sprintf("127.0.0.1:%d", at.(*syscall.SockaddrInet4).Port)
	conn, err := net.Dial("tcp", addr) // the one that there is room for
	must(err)
	t.Cleanup(func() { must(conn.Close()) })
	return addr
}

func TestDaemon_SkippedCountsAreTold(t *testing.T) {
	p, at := newPeer(t, "semicolon-xor")
	d := start(t, t.TempDir(), away(shopFile(at)))
	p.accept()
	for _, n := range []int64{1, 4, 5, 8} {
		p.send(p.line(n, 30, 40, ""))
		p.expect(fmt.Sprintf("=%d\r\n", n))
	}
	if got := d.Wrenches()[0].Skipped; got != 4 {
		t.Errorf("got %d counts told that never came, want 2, 3, 6 and 7", got)
	}
	if want := "witnessmark_skipped_readings_total{wrench=\"TW-01\"} 4\n"; !strings.Contains(metricsOf(t, d), want) {
		t.Errorf("the metrics lack %s", want)
	}
}

// lines are what a log has said.
type lines chan string

func (l lines) Write(b []byte) (int, error) {
	l <- string(b)
	return len(b), nil
}

func TestDaemon_SilentWrench(t *testing.T) {
	p, at := newPeer(t, "semicolon-xor")
	log := make(lines, 1024)
	d := startTelling(t, t.TempDir(), strings.Replace(away(shopFile(at)), "{id: TW-01,", "{id: TW-01, stale: 100 ms,", 1), log)
	p.accept()
	for line := range log {
		if strings.Contains(line, "wrench is silent") && strings.Contains(line, `"wrench":"TW-01"`) && strings.Contains(line, `"state":"stale"`) {
			break
		}
	}
	w := d.Wrenches()[0]
	if w.State != "stale" || !w.Up || w.Since.IsZero() || !strings.Contains(w.Reason, "nothing has come for 100ms") {
		t.Errorf("got %+v, want it stale, and why", w)
	}
	for phase, want := range map[string]int{"fresh": 0, "stale": 1, "gone": 0} {
		if line := fmt.Sprintf("witnessmark_wrench_state{state=%q,wrench=\"TW-01\"} %d\n", phase, want); !strings.Contains(metricsOf(t, d), line) {
			t.Errorf("the metrics lack %s", line)
		}
	}
}

func TestDaemon_TellsTheVerdict(t *testing.T) {
	const builtin = "../../../../device/profile/builtin/stx-lrc-columns.yaml"
	text, err := os.ReadFile(builtin)
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "form.yaml")
	whole, _, _ := strings.Cut(string(text), "send:") // it would be asked now and then whether it is there
	if err := os.WriteFile(file, []byte(whole), 0o600); err != nil {
		t.Fatal(err)
	}
	p, at := newPeer(t, file)
	d := start(t, t.TempDir(), strings.Replace(away(shopFile(at)), "semicolon-xor", file, 1))
	p.accept()
	const ack, green, red = "\x06", "\x16G", "\x16R"
	pull := func(torque, angle int64, want string) {
		t.Helper()
		p.send(p.line(0, torque, angle, ""))
		p.expect(want)
	}
	pull(31, 40, ack) // nobody can say: there is no joint on the bench
	onBench(t, client(t, d))
	pull(30, 40, ack+green)
	pull(25, 34, ack+red)
	pull(30, 8, ack+green)
}

func TestLive_VerdictIsOfTheNewestReading(t *testing.T) {
	l := newLive(newPages(0))
	l.said["TW-01"] = audit.Mark{Reading: 7, Verdict: audit.Pass}
	l.said["TW-02"] = audit.Mark{Reading: 8, Verdict: audit.NotJudged}
	for _, c := range []struct {
		rule   string
		wrench string
		seq    uint64
		want   audit.Verdict
		known  bool
	}{
		{"that was judged", "TW-01", 7, audit.Pass, true},
		{"that is newer than the one judged", "TW-01", 9, audit.Pass, false},
		{"that belongs to no step", "TW-02", 8, audit.NotJudged, false},
		{"of a wrench that is not known", "TW-03", 7, "", false},
	} {
		t.Run(c.rule, func(t *testing.T) {
			if got, known := l.verdict(c.wrench, c.seq); got != c.want || known != c.known {
				t.Errorf("got %q, %v, want %q, %v", got, known, c.want, c.known)
			}
		})
	}
}

func TestDaemon_TellsAnUncalibratedWrench(t *testing.T) {
	w, port := newWrench(t)
	log := make(lines, 1024)
	file := strings.Replace(shopFile(port), "range: 10..200 N·m", "range: 10..200 N·m, cycles: 5000, permissible: 4 %, deviation: -5.2 %", 1)
	d := startTelling(t, t.TempDir(), file, log)
	const why = "it deviates by -5.2 %, and its class permits 4 %"
	for line := range log {
		if strings.Contains(line, "wrench is out of calibration") && strings.Contains(line, why) {
			break
		}
	}
	updates, stop, err := d.Watch("1")
	if err != nil {
		t.Fatal(err)
	}
	defer stop()
	<-updates
	w.pull(t, 30, 40)
	<-updates // acknowledged is not yet applied
	if got := d.Wrenches()[0]; got.Cycles != 5000 || got.Pulls != 1 || !strings.Contains(got.Uncalibrated, why) {
		t.Errorf("got %+v, want one of 5000 readings taken, and why they are flagged", got)
	}
}
