package daemon

import (
	"bytes"
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"strings"
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
