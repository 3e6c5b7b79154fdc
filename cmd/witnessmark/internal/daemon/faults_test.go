package daemon

import (
	"bytes"
	"context"
	"fmt"
	"math/rand/v2"
	"net"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"syscall"
	"testing"

	"github.com/rs/zerolog"

	"witnessmark/audit"
	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/device"
	"witnessmark/device/capture"
	"witnessmark/device/evidence"
	"witnessmark/device/link"
	"witnessmark/device/port"
)

func TestF05_WrenchThatTalksNoise(t *testing.T) {
	const frames = 3000
	p, at := newPeer(t, "semicolon-xor")
	data := t.TempDir()
	d := start(t, data, away(shopFile(at)))
	p.accept()
	noise := rand.New(rand.NewPCG(5, 5))
	var sent strings.Builder
	for range frames {
		for range 38 {
			sent.WriteByte("~\xff#;*1x"[noise.IntN(7)])
		}
		sent.WriteString("\r\n")
	}
	good := p.line(7, 30, 40, "09:41:07")
	sent.WriteString(good)
	p.send(sent.String())
	p.expect("=7\r\n")
	if err := d.live.await(t.Context(), d.life, d.journal.Last()); err != nil {
		t.Fatal(err)
	}
	entries, err := d.journal.Read(1, frames)
	if err != nil {
		t.Fatal(err)
	}
	t.Run("the journal grows by a few entries", func(t *testing.T) {
		// The declaration, the reading, the first in a row, and then of each reason one a second and one at the end.
		if most := 2 + evidence.Free + len(device.Reasons())*60; len(entries) > most || len(entries) < 2+evidence.Free {
			t.Errorf("got %d entries, want %d to %d", len(entries), 2+evidence.Free, most)
		}
	})
	t.Run("all frames are counted", func(t *testing.T) {
		var kept int64
		for _, e := range entries {
			if r, is := e.Event.(audit.FrameRefused); is {
				kept += 1 + r.More
			}
		}
		h := d.links.health("TW-01")
		var told int64
		for _, n := range h.refused {
			told += n
		}
		if kept != frames || told != frames {
			t.Errorf("got %d in the journal and %d told, want %d", kept, told, frames)
		}
		for reason, n := range h.refused {
			if want := fmt.Sprintf("witnessmark_refused_frames_total{reason=%q,wrench=\"TW-01\"} %d\n", reason, n); !strings.Contains(metricsOf(t, d), want) {
				t.Errorf("the metrics lack %s", want)
			}
		}
	})
	t.Run("the next good line is a reading", func(t *testing.T) {
		last, is := entries[len(entries)-1].Event.(audit.ReadingTaken)
		if !is || string(last.Raw) != good {
			t.Errorf("got %+v, want the reading", entries[len(entries)-1])
		}
	})
	t.Run("everything that came is kept", func(t *testing.T) {
		stopDaemon(t, d)
		if got := onTape(t, Folder(data).Evidence(), "TW-01"); got != sent.String() {
			t.Errorf("got %d bytes of evidence, want the %d that were sent", len(got), sent.Len())
		}
	})
}

// onTape is what lies in the evidence of a wrench.
func onTape(t *testing.T, folder, wrench string) string {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(folder, wrench, "*.capture"))
	if err != nil {
		t.Fatal(err)
	}
	var all []byte
	for _, name := range files { // their names are in order
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		c, err := capture.Read(bytes.NewReader(text))
		if err != nil {
			t.Fatal(err)
		}
		for _, chunk := range c.Chunks {
			all = append(all, chunk.Bytes...)
		}
	}
	return string(all)
}

// stuck is a place whose port the system does not let go of.
type stuck struct{ closed chan struct{} }

func (s stuck) Open(context.Context) (port.Port, error) { return s, nil }
func (s stuck) Read([]byte) (int, error)                { <-s.closed; return 0, port.ErrClosed }
func (s stuck) Write(p []byte) (int, error)             { return len(p), nil }

func (s stuck) Close() error {
	select {
	case <-s.closed:
	default:
		close(s.closed)
	}
	return fmt.Errorf("close /dev/tw: %w", port.ErrStuck)
}

func TestF09_StuckPortIsNamed(t *testing.T) {
	_, at := newPeer(t, "semicolon-xor")
	d := start(t, t.TempDir(), away(shopFile(at)))
	var log bytes.Buffer
	ctx, cancel := context.WithCancel(t.Context())
	s := stuck{make(chan struct{})}
	up := make(chan struct{}, 1)
	cancelWhenUp := func(now link.State) {
		if now.Up {
			up <- struct{}{}
		}
	}
	go func() { <-up; cancel() }()
	d.hold(ctx, link.Link{Wrench: "TW-09", Place: s, Profile: d.opt.Config.Wrenches[0].Profile, Notice: cancelWhenUp},
		zerolog.New(&log).With().Str("wrench", "TW-09").Logger())
	if got := log.String(); !strings.Contains(got, "TW-09") || !strings.Contains(got, "/dev/tw") || !strings.Contains(got, port.ErrStuck.Error()) {
		t.Errorf("got the log %q, want the wrench and its port named", got)
	}
	if err := d.Err(); err != nil {
		t.Errorf("got %v, want the daemon to end in good order", err)
	}
}

// TestF11_MemorySentAgain has a wrench send all that is in its memory whenever it pleases: in order, shuffled, after
// restarts of the daemon, and after its counter began anew.
func TestF11_MemorySentAgain(t *testing.T) {
	t.Parallel()
	p, at := newPeer(t, "semicolon-xor")
	data := t.TempDir()
	shuffle := rand.New(rand.NewPCG(11, 11))
	var memory []pulled
	var d *Daemon
	var said []string
	file := away(shopFile(at))
	begin := func() {
		d = start(t, data, file)
		p.accept()
	}
	restart := func() { stopDaemon(t, d); begin() }
	pull := func(count, torque int64, clock string) {
		updates, stop, err := d.Watch("1")
		if err != nil {
			t.Fatal(err)
		}
		defer stop()
		<-updates
		one := pulled{p.line(count, torque, 40, clock), fmt.Sprintf("=%d\r\n", count)}
		p.send(one.line)
		p.expect(one.ack)
		memory = append(memory, one)
		said = append(said, marksOf([]control.Update{<-updates})...)
	}
	again := func(order string, list []pulled) {
		before := d.journal.Last()
		for _, one := range list {
			p.send(one.line)
			p.expect(one.ack)
		}
		if got := d.journal.Last(); got != before {
			t.Errorf("%s: got %d new entries, want none", order, got-before)
		}
	}
	shuffled := func() []pulled {
		list := append([]pulled(nil), memory...)
		shuffle.Shuffle(len(list), func(i, j int) { list[i], list[j] = list[j], list[i] })
		return list
	}

	begin()
	onBench(t, client(t, d))
	for n := range int64(4) {
		pull(n+1, 30, fmt.Sprintf("09:41:%02d", n))
		again("the last one", memory[n:])
	}
	again("in order", memory)
	again("shuffled", shuffled())
	restart()
	again("shuffled after a restart", shuffled())
	if _, err := client(t, d).Answer(t.Context(), "1", control.Answer{Check: "end-float", Value: "0.12 mm", Yes: true, Person: "Ada Holt"}); err != nil {
		t.Fatal(err)
	}
	for n := range int64(4) {
		pull(n+1, 60, fmt.Sprintf("10:15:%02d", n)) // a fresh battery: it counts from 1
		again("shuffled, from both sides of the reset", shuffled())
	}
	if want := "witnessmark_wrench_epochs_total{wrench=\"TW-01\"} 1\n"; !strings.Contains(metricsOf(t, d), want) {
		t.Errorf("the metrics lack %s", want)
	}
	file = shopFile(at) // only now there is a database
	restart()
	again("shuffled at the end", shuffled())
	committed(t, d)
	stopDaemon(t, d)

	want := []string{"snug 1 pass", "snug 2 pass", "snug 3 pass", "snug 4 pass", "seat 1 pass", "seat 2 pass", "seat 3 pass", "seat 4 pass"}
	if !reflect.DeepEqual(said, want) {
		t.Errorf("got %q, want %q", said, want)
	}
	rows := 0
	for row := range strings.Lines(dump(t, data)) {
		if strings.HasPrefix(row, "reading ") {
			rows++
		}
	}
	if rows != len(memory) {
		t.Errorf("got %d readings in the database, want %d", rows, len(memory))
	}
}

// pulled is a line in a wrench's memory, and what makes the wrench forget it.
type pulled struct{ line, ack string }

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
