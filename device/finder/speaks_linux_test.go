package finder

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"strings"
	"sync"
	"testing"
	"time"

	"golang.org/x/sys/unix"
	"witnessmark/device/port"
	"witnessmark/device/port/plugtest"
	"witnessmark/device/profile"
)

// twins are two adapters that nothing but their sockets tells apart.
func (b board) twins() (one, two *plugtest.Socket) {
	b.t.Helper()
	one = b.Plug(plugtest.Adapter{Node: "ttyUSB0", Socket: "1-2:1.0", Maker: twin})
	return one, b.Plug(plugtest.Adapter{Node: "ttyUSB1", Socket: "1-3:1.0", Maker: twin})
}

// opening opens a place in the background, as a link does it.
func (b board) opening(p *Place) func() port.Port {
	type outcome struct {
		port port.Port
		err  error
	}
	found := make(chan outcome, 1)
	go func() {
		got, err := openSoon(b.t, p)
		found <- outcome{got, err}
	}()
	return func() port.Port {
		b.t.Helper()
		o := <-found
		return mine(b.t, o.port, o.err)
	}
}

// listens waits until a port is open and listened at.
func (b board) listens(s *plugtest.Socket) {
	b.t.Helper()
	until(b.t, "listen at "+s.Path, b.waiting, func() bool {
		b.mu.Lock()
		defer b.mu.Unlock()
		tap := b.taps[s.Path]
		return tap != nil && tap.port != nil
	})
}

func until(t testing.TB, what string, news func() <-chan struct{}, is func() bool) {
	t.Helper()
	limit := time.After(20 * time.Second)
	for {
		next := news()
		if is() {
			return
		}
		select {
		case <-next:
		case <-limit:
			t.Fatalf("did not %s", what)
		}
	}
}

// waiting gives a channel that is closed at the next news.
func (b board) waiting() <-chan struct{} {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.news
}

func line(n int, serial string) string { return fmt.Sprintf("#%d;45.2;%s\r\n", n, serial) }

func TestSpeaks_WhoeverIsInWhicheverSocket(t *testing.T) {
	b := newBoard(t)
	one := b.Place("TW-1", Rule{Speaks: "S1"}, form(t))
	two := b.Place("TW-2", Rule{Speaks: "S2"}, form(t))
	first, second := b.opening(one), b.opening(two)
	left, right := b.twins()
	b.listens(left)
	b.listens(right)
	left.Send("\x00noise\r\n" + line(1, "S2") + "#2;5")
	p2 := second()
	left.Send("0;S2\r\n")
	expect(t, p2, "\x00noise\r\n"+line(1, "S2")+"#2;50;S2\r\n") // no byte of it is lost
	if _, err := p2.Write([]byte("=1\r\n")); err != nil {
		t.Fatal(err)
	}
	left.Expect("=1\r\n")
	right.Send(line(1, "S1"))
	p1 := first()
	expect(t, p1, line(1, "S1"))
	if got, want := two.Where(), "by the serial number it speaks, at "+left.Path; got != want {
		t.Errorf("got it %s, want %s", got, want)
	}

	// Both are pulled out and come back the other way round.
	for _, s := range []struct {
		socket *plugtest.Socket
		port   port.Port
	}{{left, p2}, {right, p1}} {
		s.socket.Unplug()
		lost(t, s.port)
		s.port.Close()
	}
	first, second = b.opening(one), b.opening(two)
	left, right = b.twins()
	b.listens(left)
	b.listens(right)
	right.Send(line(2, "S2"))
	left.Send(line(3, "S1"))
	expect(t, second(), line(2, "S2"))
	expect(t, first(), line(3, "S1"))
}

// The adapters stay plugged in while the wrenches at their other ends are swapped.
func TestSpeaks_SwappedBehindTheAdapters(t *testing.T) {
	b := newBoard(t)
	one := b.Place("TW-1", Rule{Speaks: "S1", USBSocket: "1-2"}, form(t))
	two := b.Place("TW-2", Rule{Speaks: "S2", USBSocket: "1-3"}, form(t))
	left, right := b.twins()
	p1, p2 := b.open(one), b.open(two)
	if got, want := one.Where(), "by the USB socket 1-2, at "+left.Path; got != want {
		t.Errorf("got it %s, want %s", got, want)
	}
	left.Send(line(1, "S1"))
	expect(t, p1, line(1, "S1"))
	if got, want := one.Where(), "by the serial number it speaks, at "+left.Path; got != want {
		t.Errorf("once it has spoken: got it %s, want %s", got, want)
	}

	left.Send(line(7, "S2") + "#8;1")
	for _, had := range []port.Port{p1, p2} {
		rest, err := lost(t, had)
		if rest != "" || !errors.Is(err, port.ErrUnplugged) || !strings.Contains(err.Error(), "wrench TW-2 speaks at "+left.Path) {
			t.Errorf("got %q, %v, want nothing of the other wrench", rest, err)
		}
		if _, err := had.Write([]byte("=9\r\n")); err == nil {
			t.Error("got no error, want nothing sent to the other wrench")
		}
		had.Close()
	}
	p2 = b.open(two)
	expect(t, p2, line(7, "S2")+"#8;1")
	found := b.opening(one)
	right.Send(line(2, "S1"))
	p1 = found()
	expect(t, p1, line(2, "S1"))
	for _, w := range []struct {
		place *Place
		at    *plugtest.Socket
	}{{one, right}, {two, left}} {
		if got, want := w.place.Where(), "by the serial number it speaks, at "+w.at.Path; got != want {
			t.Errorf("got it %s, want %s", got, want)
		}
	}
}

func TestSpeaks_Strangers(t *testing.T) {
	b := newBoard(t)
	place := b.Place("TW-1", Rule{Speaks: "S1"}, form(t))
	told := make(chan Stranger, 10)
	b.Heard = func(s Stranger) { told <- s }
	found := b.opening(place)
	left, right := b.twins()
	b.listens(left)
	b.listens(right)
	left.Send(line(1, "S9") + line(2, "S9"))
	until(t, "report the stranger", b.waiting, func() bool { return len(b.Strangers()) == 1 })
	if got, want := <-told, (Stranger{left.Path, "S9"}); got != want {
		t.Errorf("got %+v told, want %+v", got, want)
	}
	if got, want := b.Strangers()[0], (Stranger{left.Path, "S9"}); got != want {
		t.Errorf("got %+v, want %+v", got, want)
	}
	right.Send(line(1, "S1"))
	expect(t, found(), line(1, "S1"))
	if len(told) != 0 {
		t.Error("got the stranger told twice, want it once")
	}
	if b.mu.Lock(); b.taps[left.Path] == nil {
		t.Error("got the stranger's port closed, want it left open")
	}
	b.mu.Unlock()
	t.Run("a wrench that is missing says so", func(t *testing.T) {
		b := newBoard(t)
		place := b.Place("TW-1", Rule{Speaks: "S1"}, form(t))
		found := b.opening(place)
		left, right := b.twins()
		b.listens(left)
		b.listens(right)
		left.Send(line(1, "S9"))
		until(t, "report the stranger", b.waiting, func() bool { return len(b.Strangers()) == 1 })
		right.Send(line(1, "S1"))
		found().Close()
		left.Unplug()
		fails(t, place, "looked for a wrench that says the serial number S1; ")
		until(t, "forget the stranger", b.waiting, func() bool { return len(b.Strangers()) == 0 })
	})
}

// Ports that somebody claims, the console, and what is used by another program are left alone.
func TestSpeaks_ListensOnlyAtFreePorts(t *testing.T) {
	b := newBoard(t)
	var opened diary
	opened.keep(b.Board)
	b.Place("TW-2", Rule{USBSerial: "A100"}, form(t))
	b.Plug(plugtest.Adapter{Node: "ttyUSB0", Socket: "1-2:1.0", Serial: "A100"})
	b.Plug(plugtest.Adapter{Node: "ttyUSB1", Socket: "1-3:1.0", Serial: "A101"})
	b.Link("dev/scanner", "ttyUSB1")
	b.Keep(b.at("dev/scanner"))
	b.Keep("tcp://192.0.2.7:4001")
	b.Builtin("ttyS0", "4")
	b.File("sys/class/tty/console/active", "ttyS0\n")
	used := b.Plug(plugtest.Adapter{Node: "ttyUSB2", Socket: "1-4:1.0", Serial: "A102"})
	holder := exec.Command("sleep", "60")
	slave, err := os.Open(used.Device())
	if err != nil {
		t.Fatal(err)
	}
	holder.Stdin = slave
	if err := holder.Start(); err != nil {
		t.Fatal(err)
	}
	slave.Close()
	defer func() { holder.Process.Kill(); holder.Wait() }()

	place := b.Place("TW-1", Rule{Speaks: "S1"}, form(t))
	fails(t, place, fmt.Sprintf("%s cannot be listened at: sleep (process %d) has it open", used.Path, holder.Process.Pid))
	free := b.Plug(plugtest.Adapter{Node: "ttyUSB3", Socket: "1-5:1.0", Serial: "A103"})
	fails(t, place, "listening at "+free.Path+", so pull its trigger once")
	if got := opened.read(); len(got) != 1 || got[0] != free.Path {
		t.Errorf("got %v opened, want %s alone", got, free.Path)
	}
}

// diary is what was opened, in order.
type diary struct {
	mu    sync.Mutex
	nodes []string
}

func (d *diary) read() []string {
	d.mu.Lock()
	defer d.mu.Unlock()
	return append([]string(nil), d.nodes...)
}

// keep notes what a board opens from now on.
func (d *diary) keep(b *Board) {
	open := b.open
	b.open = func(ctx context.Context, node string, p *profile.Profile) (port.Port, error) {
		d.mu.Lock()
		d.nodes = append(d.nodes, node)
		d.mu.Unlock()
		return open(ctx, node, p)
	}
}

func TestSpeaks_DeadPortDelaysNobody(t *testing.T) {
	b := newBoard(t)
	real := b.Board.open
	hung := make(chan struct{})
	b.Board.open = func(ctx context.Context, node string, p *profile.Profile) (port.Port, error) {
		if strings.HasSuffix(node, "ttyUSB0") {
			close(hung)
			<-ctx.Done() // as port.OpenSerial does with a driver that hangs
			return nil, ctx.Err()
		}
		return real(ctx, node, p)
	}
	place := b.Place("TW-1", Rule{Speaks: "S1"}, form(t))
	found := b.opening(place)
	_, right := b.twins()
	<-hung
	b.listens(right)
	right.Send(line(1, "S1"))
	expect(t, found(), line(1, "S1"))
}

func TestSpeaks_BoundedMemory(t *testing.T) {
	b := newBoard(t)
	place := b.Place("TW-1", Rule{Speaks: "S1"}, form(t))
	found := b.opening(place)
	left, _ := b.twins()
	b.listens(left)
	noise := strings.Repeat("\xff", 4096)
	for range 40 { // 160 KiB
		left.Send(noise)
	}
	left.Send("\r\n" + line(1, "S1"))
	p := found()
	b.mu.Lock()
	held, dropped := len(place.lease.bytes), place.lease.tap.dropped
	b.mu.Unlock()
	if held > keepAtMost || int(dropped)+held != 40*4096+2+len(line(1, "S1")) {
		t.Errorf("got %d bytes held and %d dropped, want at most %d held and all counted", held, dropped, keepAtMost)
	}
	p.Close()
}

// What is taken is not pushed out: the port waits for its reader, and then nothing is missing.
func TestLease_SlowReader(t *testing.T) {
	b := newBoard(t)
	s := b.Plug(plugtest.Adapter{Node: "ttyUSB0", Socket: "1-2:1.0"})
	p := b.open(b.Place("TW-1", Rule{USBSocket: "1-2"}, form(t)))
	const pieces = 40
	sent := make(chan struct{})
	go func() {
		defer close(sent)
		for i := range pieces {
			s.Send(strings.Repeat(string(rune('A'+i)), 4096))
		}
	}()
	select {
	case <-sent:
		t.Error("got everything taken, want the port to wait for its reader")
	case <-time.After(time.Second): // a wait that is too short passes, and never fails
	}
	for i := range pieces {
		expect(t, p, strings.Repeat(string(rune('A'+i)), 4096))
	}
}

// What it said before it was plugged in elsewhere comes along, if nobody has taken it.
func TestSpeaks_MovedBeforeItWasTaken(t *testing.T) {
	b := newBoard(t)
	place := b.Place("TW-1", Rule{Speaks: "S1"}, form(t))
	fails(t, place, "nothing is plugged in")
	left, right := b.twins()
	fails(t, place, "listening at "+left.Path+", "+right.Path)
	for i, s := range []*plugtest.Socket{left, right} {
		s.Send(line(i, "S1"))
		until(t, "hear it", b.waiting, func() bool {
			b.mu.Lock()
			defer b.mu.Unlock()
			return place.lease != nil && place.lease.tap.node == s.Path
		})
	}
	expect(t, b.open(place), line(0, "S1")+line(1, "S1"))
}

// A wrench that speaks and is pulled out before anybody took its port loses nothing that it said.
func TestSpeaks_PulledOutAtOnce(t *testing.T) {
	b := newBoard(t)
	place := b.Place("TW-1", Rule{Speaks: "S1"}, form(t))
	left, _ := b.twins()
	fails(t, place, "listening at "+left.Path)
	left.Send(line(1, "S1"))
	until(t, "hear it", b.waiting, func() bool {
		b.mu.Lock()
		defer b.mu.Unlock()
		return place.lease != nil
	})
	left.Unplug()
	until(t, "see it pulled out", b.waiting, func() bool {
		b.mu.Lock()
		defer b.mu.Unlock()
		return b.taps[left.Path] == nil
	})
	rest, err := lost(t, b.open(place))
	if rest != line(1, "S1") || !errors.Is(err, port.ErrUnplugged) {
		t.Errorf("got %q, %v, want what it said and then unplugged", rest, err)
	}
}

func TestSpeaks_SettingsTakeTurns(t *testing.T) {
	b := newBoard(t)
	slow := b.Place("TW-1", Rule{Speaks: "S1"}, formOf(t, "slow", 4800, "#"))
	fast := b.Place("TW-2", Rule{Speaks: "S2"}, formOf(t, "fast", 19200, "!"))
	fails(t, slow, "nothing is plugged in") // the first one has the first turn
	fails(t, fast, "nothing is plugged in")
	first, second := b.opening(slow), b.opening(fast)
	left, right := b.twins()
	for _, tc := range []struct {
		at    *plugtest.Socket
		speed uint32
		text  string
		found func() port.Port
	}{
		{left, unix.B19200, "!1;45.2;S2\r\n", second},
		{right, unix.B4800, line(1, "S1"), first},
	} {
		// Of this wrench nothing is understood until the line is set for it: it is pulled again and again.
		for tc.at.Settings().Cflag&unix.CBAUD != tc.speed {
			tc.at.Send("\xf7\xe2")
			<-b.waiting()
		}
		tc.at.Send("\r\n" + tc.text) // after the rest of what was misheard
		p := tc.found()
		expect(t, tail(t, p, tc.text), tc.text)
	}
}

// tail passes over what came before the text.
func tail(t *testing.T, p port.Port, text string) port.Port {
	t.Helper()
	one := make([]byte, 1)
	for {
		l := p.(*lease)
		l.tap.board.mu.Lock()
		at := strings.HasPrefix(string(l.bytes), text)
		l.tap.board.mu.Unlock()
		if at {
			return p
		}
		if _, err := p.Read(one); err != nil {
			t.Fatal(err)
		}
	}
}

// gap is a form whose frames end by a silence: what came before must not run into the frame.
const gap = `format: witnessmark/wrench/1
name: gap
version: "1"
serial: {baud: 9600, bits: 8, parity: none, stop: 1}
frame: {gap: 20 ms, max: 64}
fields:
  lead: "#"
  separator: ";"
  list:
    - {name: count, kind: counter}
    - {name: final torque, kind: torque, unit: N·m}
    - {name: serial, kind: serial}
`

func TestSpeaks_SilenceEndsAFrame(t *testing.T) {
	b := newBoard(t)
	p, err := profile.Parse("gap", []byte(gap))
	if err != nil {
		t.Fatal(err)
	}
	place := b.Place("TW-1", Rule{Speaks: "S1"}, p)
	found := b.opening(place)
	left, _ := b.twins()
	b.listens(left)
	left.Send("\x00")
	for paused := false; !paused; time.Sleep(time.Millisecond) {
		b.mu.Lock()
		paused = len(b.taps[left.Path].held.pauses) == 1
		b.mu.Unlock()
	}
	left.Send("#1;45.2;S1")
	got := found()
	for _, want := range []string{"\x00", "#1;45.2;S1"} {
		buf := make([]byte, 64)
		n, err := got.Read(buf)
		if err != nil || string(buf[:n]) != want {
			t.Errorf("got %q, %v, want %q by itself", buf[:n], err, want)
		}
	}
}

const polled = `format: witnessmark/wrench/1
name: polled
version: "1"
serial: {baud: 9600, bits: 8, parity: none, stop: 1}
frame: {end: CRLF, max: 64}
fields:
  lead: "?"
  separator: ";"
  list:
    - {name: final torque, kind: torque, unit: N·m}
    - {name: serial, kind: serial}
send:
  start: ["MODE 1"]
  poll: {text: "D", every: 50 ms}
`

// A wrench that only answers is asked, in a turn of its own: to another one the question would be noise.
func TestSpeaks_AskedSoThatItSpeaks(t *testing.T) {
	b := newBoard(t)
	p, err := profile.Parse("polled", []byte(polled))
	if err != nil {
		t.Fatal(err)
	}
	place := b.Place("TW-1", Rule{Speaks: "S1"}, p)
	found := b.opening(place)
	s := b.Plug(plugtest.Adapter{Node: "ttyUSB0", Socket: "1-2:1.0"})
	s.Expect("MODE 1\r\nD\r\nD\r\n")
	s.Send("?45.2;S1\r\n")
	got := found()
	expect(t, got, "?45.2;S1\r\n")
	if together(p, form(t)) || !together(form(t), formOf(t, "other", 9600, "!")) || together(form(t), formOf(t, "other", 4800, "!")) {
		t.Error("got a wrench that is asked together with another one, want only those together that just speak and have the same settings")
	}
}

func TestPieces(t *testing.T) {
	var p pieces
	p.pause() // before anything came
	p.bytes = append(p.bytes, "abc"...)
	p.pause()
	p.pause()
	p.add(pieces{[]byte("defgh"), []int{2, 5}})
	if n, pause := p.next(); n != 3 || !pause || fmt.Sprint(p.pauses) != "[3 5 8]" {
		t.Fatalf("got %d bytes to a pause and pauses at %v, want 3 and 3, 5, 8", n, p.pauses)
	}
	p.drop(4)
	if fmt.Sprint(string(p.bytes), p.pauses) != "efgh[1 4]" {
		t.Errorf("got %q with pauses at %v, want efgh with pauses at 1 and 4", p.bytes, p.pauses)
	}
	p.cut(2)
	if fmt.Sprint(string(p.bytes), p.pauses) != "ef[1]" {
		t.Errorf("got %q with pauses at %v, want ef with a pause at 1", p.bytes, p.pauses)
	}
	if p.cut(9); len(p.bytes) != 0 || len(p.pauses) != 0 {
		t.Errorf("got %q with pauses at %v, want nothing", p.bytes, p.pauses)
	}
}
