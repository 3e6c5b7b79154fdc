package scanner_test

import (
	"context"
	"errors"
	"fmt"
	"net"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"witnessmark/device/evidence"
	"witnessmark/device/label"
	"witnessmark/device/port"
	"witnessmark/device/port/plugtest"
	"witnessmark/device/scanner"
)

var forms = label.Forms{
	{Kind: label.Engine, Prefix: "E:", Check: label.None},
	{Kind: label.Badge, Prefix: "B:", Check: label.None},
}

// desk is a scanner at work and what came of it.
type desk struct {
	t      *testing.T
	scans  chan scanner.Scan
	states chan scanner.State
	stop   func() error

	mu  sync.Mutex
	now time.Time
}

// patience is how long a test waits for what should come; only one that fails waits so long.
const patience = 10 * time.Second

// start runs a scanner at spec until the test ends.
func start(t *testing.T, spec string, change ...func(*scanner.Scanner)) *desk {
	t.Helper()
	place, err := port.At(spec, scanner.Mode)
	if err != nil {
		t.Fatal(err)
	}
	d := &desk{t: t, scans: make(chan scanner.Scan, 4096), states: make(chan scanner.State, 4096), now: time.Unix(1_800_000_000, 0)}
	s := scanner.Scanner{Place: place, Labels: forms, Clock: d.clock, Notice: func(st scanner.State) { d.states <- st },
		Take: func(_ context.Context, s scanner.Scan) error { d.scans <- s; return nil }}
	for _, c := range change {
		c(&s)
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- scanner.Run(ctx, s) }()
	d.stop = sync.OnceValue(func() error { cancel(); return <-done })
	t.Cleanup(func() {
		if err := d.stop(); err != nil {
			t.Errorf("got %v, want no error at the end", err)
		}
	})
	return d
}

func (d *desk) clock() time.Time {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.now
}

func (d *desk) pass(by time.Duration) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.now = d.now.Add(by)
}

// next is the next scan in words.
func (d *desk) next() string {
	d.t.Helper()
	select {
	case s := <-d.scans:
		return shown(s)
	case <-time.After(patience):
		d.t.Fatal("no scan came")
	}
	return ""
}

func shown(s scanner.Scan) string {
	if s.Refused != "" {
		return fmt.Sprintf("refused %q +%d: %s", s.Text, s.More, s.Refused)
	}
	return fmt.Sprintf("%s %s", s.Label.Kind, s.Label.Value)
}

// until waits for a state.
func (d *desk) until(is func(scanner.State) bool) scanner.State {
	d.t.Helper()
	deadline := time.After(patience)
	for {
		select {
		case st := <-d.states:
			if is(st) {
				return st
			}
		case <-deadline:
			d.t.Fatal("the state did not come")
		}
	}
}

func up(st scanner.State) bool   { return st.Up }
func down(st scanner.State) bool { return !st.Up }

// expect takes the next scans; a refusal is wanted by its beginning.
func (d *desk) expect(want ...string) {
	d.t.Helper()
	for _, w := range want {
		if got := d.next(); !strings.HasPrefix(got, w) {
			d.t.Errorf("got %s, want %s", got, w)
		}
	}
}

func TestRun_LabelsOfASerialPort(t *testing.T) {
	s := plugtest.New(t)
	s.Plug()
	d := start(t, s.Path)
	d.until(up)
	s.Send("B:7\rE:1\nE:2\r\nE:")
	s.Send("3\r\n\r\nE:3\r\n")
	d.expect("badge 7", "engine 1", "engine 2", "engine 3", "engine 3")
	s.Send("X:1\r\n" + "E:\x001\r\n" + "E:" + strings.Repeat("9", 200) + "\r\n" + "E:\xe4\r\n" + "E:4\r\n")
	d.expect(`refused "X:1" +0: no kind of label`, `refused "E:\\x001" +0: the scanner sent noise`,
		`refused "E:`+strings.Repeat("9", 126)+`" +0: the scanner sent no end`, `refused "E:\\xe4" +0: the label holds characters`, "engine 4")
	if st := d.until(func(st scanner.State) bool { return st.Refused == 4 }); st.Seen.IsZero() {
		t.Errorf("got %+v, want it seen", st)
	}
}

func TestRun_UnpluggedAndBack(t *testing.T) {
	s := plugtest.New(t)
	d := start(t, s.Path)
	d.until(down)
	s.Plug()
	d.until(up)
	s.Send("E:1\rE:ha")
	d.expect("engine 1")
	d.until(func(st scanner.State) bool { return !st.Seen.IsZero() })
	s.Unplug()
	d.until(down)
	s.Plug()
	d.until(up)
	s.Send("E:2\r")
	for got := d.next(); got != "engine 2"; got = d.next() { // the half label was heard, or lost with the plug
		if !strings.HasPrefix(got, `refused "E:ha" +0: the scanner was unplugged`) {
			t.Fatalf("got %s, want the half label refused, or engine 2", got)
		}
	}
}

func TestRun_OverTheNetwork(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	d := start(t, "tcp://"+l.Addr().String())
	for _, half := range []string{"E:1\r\nE:ha", "E:2\r\n"} {
		conn, err := l.Accept()
		if err != nil {
			t.Fatal(err)
		}
		if _, err := conn.Write([]byte(half)); err != nil {
			t.Fatal(err)
		}
		if err := conn.Close(); err != nil {
			t.Fatal(err)
		}
	}
	d.expect("engine 1", `refused "E:ha" +0: the scanner was unplugged`, "engine 2")
}

func TestRun_NoiseIsToldNowAndThen(t *testing.T) {
	s := plugtest.New(t)
	s.Plug()
	d := start(t, s.Path)
	d.until(up)
	s.Send(strings.Repeat("?\r", 100))
	for range evidence.Free {
		d.expect(`refused "?" +0`)
	}
	d.until(func(st scanner.State) bool { return st.Refused == 100 })
	d.pass(evidence.Every)
	s.Send("?\r?\rE:1\r")
	d.expect(`refused "?" +80`, `refused "?" +0`, "engine 1") // the good one ends the row, and what it held back
	s.Send(strings.Repeat("?\r", 30))
	for range evidence.Free {
		d.expect(`refused "?" +0`)
	}
	d.until(func(st scanner.State) bool { return st.Refused == 132 })
	s.Unplug()
	d.expect(`refused "?" +9`)
}

func TestRun_EndsWithTheErrorOfTake(t *testing.T) {
	s := plugtest.New(t)
	s.Plug()
	sunk := errors.New("the disk is full")
	ended := make(chan error, 1)
	place, err := port.At(s.Path, scanner.Mode)
	if err != nil {
		t.Fatal(err)
	}
	var taken []string
	go func() {
		ended <- scanner.Run(t.Context(), scanner.Scanner{Place: place, Labels: forms, Clock: time.Now,
			Take: func(_ context.Context, s scanner.Scan) error { taken = append(taken, shown(s)); return sunk }})
	}()
	s.Send("E:1\rE:2\rE:half")
	select {
	case err := <-ended:
		if !errors.Is(err, sunk) || !slices.Equal(taken, []string{"engine 1"}) {
			t.Errorf("got %v after %q, want the error of Take after the first scan, and none taken behind it", err, taken)
		}
	case <-time.After(patience):
		t.Fatal("it went on")
	}
}

func TestRun_EndsWithoutErrorWhileTaking(t *testing.T) {
	s := plugtest.New(t)
	s.Plug()
	began := make(chan bool)
	d := start(t, s.Path, func(sc *scanner.Scanner) {
		sc.Take = func(ctx context.Context, _ scanner.Scan) error {
			close(began)
			<-ctx.Done()
			return ctx.Err()
		}
	})
	s.Send("E:1\r")
	<-began
	if err := d.stop(); err != nil {
		t.Errorf("got %v, want nil: it was told to end", err)
	}
}
