package finder

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"go.uber.org/goleak"
	"witnessmark/device/checksum"
	"witnessmark/device/port"
	"witnessmark/device/port/plugtest"
	"witnessmark/device/profile"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// speaking is a form whose lines say who speaks: #7;45.2;TW-7.
const speaking = `format: witnessmark/wrench/1
name: %s
version: "1"
serial: {baud: %d, bits: 8, parity: none, stop: 1}
frame: {end: CRLF, max: 64}
fields:
  lead: "%s"
  separator: ";"
  list:
    - {name: count, kind: counter}
    - {name: final torque, kind: torque, unit: N·m}
    - {name: serial, kind: serial, optional: true}
`

// form is made anew for each wrench, as a configuration does it.
func form(t testing.TB) *profile.Profile { return formOf(t, "plain", 9600, "#") }

func formOf(t testing.TB, name string, baud int, lead string) *profile.Profile {
	t.Helper()
	p, err := profile.Parse(name, fmt.Appendf(nil, speaking, name, baud, lead))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// board is a Board of a computer, closed with the test after all that was opened.
type board struct {
	*Board
	*plugtest.Computer
	t testing.TB
}

func newBoard(t testing.TB) board {
	t.Helper()
	c := plugtest.NewComputer(t)
	b := NewBoard(c.Root)
	t.Cleanup(func() {
		if err := b.Close(); err != nil {
			t.Error(err)
		}
	})
	return board{b, c, t}
}

// at is a path of the computer.
func (b board) at(name string) string { return filepath.Join(b.Root, name) }

// open opens a place as a link does it: again and again until its wrench is there.
func (b board) open(p *Place) port.Port {
	b.t.Helper()
	got, err := openSoon(b.t, p)
	return mine(b.t, got, err)
}

func mine(t testing.TB, p port.Port, err error) port.Port {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { p.Close() })
	return p
}

func openSoon(t testing.TB, p *Place) (port.Port, error) {
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	for {
		got, err := p.Open(ctx)
		if err == nil || ctx.Err() != nil {
			return got, err
		}
	}
}

// searches waits until a place is being opened, and a little more: it is to wait by then.
func (b board) searches() {
	for waits := 0; waits == 0; time.Sleep(20 * time.Millisecond) {
		b.mu.Lock()
		waits = b.waits
		b.mu.Unlock()
	}
}

// expect reads until as many bytes have come and compares them.
func expect(t testing.TB, p port.Port, want string) {
	t.Helper()
	got := make([]byte, 0, len(want))
	for len(got) < len(want) {
		n, err := p.Read(got[len(got):cap(got)])
		got = got[:len(got)+n]
		if err != nil {
			t.Fatalf("got %q and then %v, want %q", got, err, want)
		}
	}
	if string(got) != want {
		t.Fatalf("got %q, want %q", got, want)
	}
}

// lost reads what is left until the port is gone and gives why.
func lost(t testing.TB, p port.Port) (rest string, err error) {
	t.Helper()
	buf := make([]byte, 64)
	for {
		n, err := p.Read(buf)
		rest += string(buf[:n])
		if err != nil {
			return rest, err
		}
	}
}

// fails wants the next Open to say why there is no wrench.
func fails(t testing.TB, p *Place, says ...string) {
	t.Helper()
	for _, say := range says {
		for {
			got, err := p.Open(t.Context())
			if got != nil || err == nil {
				t.Fatalf("got a port, want an error that says %q", say)
			}
			if strings.Contains(err.Error(), say) {
				break
			}
			t.Logf("not yet %q: %v", say, err)
		}
	}
}

const twin = "Plain Works" // adapters that only their sockets tell apart

func TestPlace_ByWhatIsPluggedIn(t *testing.T) {
	for rule, tc := range map[string]struct {
		rule  Rule
		where string
	}{
		"by the USB serial number":          {Rule{USBSerial: "A100"}, "by the USB serial number A100, at "},
		"by the socket with its interface":  {Rule{USBSocket: "1-3:1.0"}, "by the USB socket 1-3:1.0, at "},
		"by the socket":                     {Rule{USBSocket: "1-3"}, "by the USB socket 1-3, at "},
		"by the name after the socket":      {Rule{USBSocket: "pci-0000:00:14.0-usb-0:3:1.0-port0"}, "by the USB socket pci-0000"},
		"by its path too":                   {Rule{USBSocket: "/dev/serial/by-path/pci-0000:00:14.0-usb-0:3:1.0-port0"}, "by the USB socket /dev"},
		"by the node":                       {Rule{Node: "dev/ttyUSB1"}, "by the name "},
		"by a link to the node":             {Rule{Node: "dev/bench-1"}, "by the name "},
		"the first rule that fits is named": {Rule{USBSerial: "A100", USBSocket: "1-3", Node: "dev/ttyUSB0"}, "by the USB serial number A100, at "},
		"or the next where that is nowhere": {Rule{USBSerial: "none", USBSocket: "1-3", Node: "dev/ttyUSB0"}, "by the USB socket 1-3, at "},
		"or the last":                       {Rule{USBSerial: "none", USBSocket: "1-9", Node: "dev/ttyUSB1"}, "by the name "},
	} {
		t.Run(rule, func(t *testing.T) {
			b := newBoard(t)
			b.Plug(plugtest.Adapter{Node: "ttyUSB0", Socket: "1-2:1.0", Serial: "A101", Maker: twin})
			s := b.Plug(plugtest.Adapter{Node: "ttyUSB1", Socket: "1-3:1.0", Serial: "A100", Maker: twin})
			b.Link("dev/bench-1", "ttyUSB1")
			if tc.rule.Node != "" {
				tc.rule.Node = b.at(tc.rule.Node)
			}
			place := b.Place("TW-1", tc.rule, form(t))
			p := b.open(place)
			s.Send("hello")
			expect(t, p, "hello")
			if _, err := p.Write([]byte("=1\r\n")); err != nil {
				t.Fatal(err)
			}
			s.Expect("=1\r\n")
			if got := place.Where(); !strings.HasPrefix(got, tc.where) || !strings.HasSuffix(got, ", at "+s.Path) {
				t.Errorf("got %q, want %q and %s", got, tc.where, s.Path)
			}
			s.Unplug()
			if rest, err := lost(t, p); rest != "" || !errors.Is(err, port.ErrUnplugged) {
				t.Errorf("got %q, %v, want it unplugged", rest, err)
			}
			if p.Close(); place.Where() != "" {
				t.Errorf("got %q, want nothing of a wrench that is not there", place.Where())
			}
		})
	}
}

func TestPlace_ComesBack(t *testing.T) {
	b := newBoard(t)
	b.every = time.Hour // what is plugged in is news, and needs no look
	place := b.Place("TW-1", Rule{USBSerial: "A100"}, form(t))
	fails(t, place, "looked for the USB serial number A100; nothing is plugged in")
	for _, a := range []plugtest.Adapter{
		{Node: "ttyUSB0", Socket: "1-2:1.0", Serial: "A100"},
		{Node: "ttyUSB4", Socket: "1-2:1.0", Serial: "A100"},   // another number
		{Node: "ttyUSB1", Socket: "1-4.1:1.0", Serial: "A100"}, // another socket
	} {
		found := b.opening(place) // which waits, as a link does
		b.searches()
		s := b.Plug(a)
		p := found()
		s.Send(a.Node)
		expect(t, p, a.Node)
		s.Unplug()
		lost(t, p)
		p.Close()
	}
}

// A name that is none of /dev is no news there: the next look finds it.
func TestPlace_ByANameElsewhere(t *testing.T) {
	b := newBoard(t)
	s := plugtest.New(t)
	place := b.Place("TW-1", Rule{Node: s.Path}, form(t))
	fails(t, place, "looked for the name "+s.Path)
	found := b.opening(place)
	b.searches()
	s.Plug()
	p := found()
	s.Send("hello")
	expect(t, p, "hello")
	if got, want := place.Where(), "by the name "+s.Path+", at "+s.Path; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}

func TestPlace_TheBetterClaimWins(t *testing.T) {
	one := plugtest.Adapter{Node: "ttyUSB0", Socket: "1-2:1.0", Serial: "A100"}
	two := plugtest.Adapter{Node: "ttyUSB1", Socket: "1-3:1.0", Serial: "A101"}
	for rule, tc := range map[string]struct {
		first, second Rule
		plugs         []plugtest.Adapter
		want          [2]string // node, or what is said
	}{
		"adapters with serial numbers are told apart when they swap sockets": {
			Rule{USBSerial: "A100", USBSocket: "1-3"}, Rule{USBSerial: "A101", USBSocket: "1-2"}, []plugtest.Adapter{one, two}, [2]string{"ttyUSB0", "ttyUSB1"}},
		"and one that is alone is not taken for the other": {
			Rule{USBSerial: "A100", USBSocket: "1-3"}, Rule{USBSerial: "A101", USBSocket: "1-2"}, []plugtest.Adapter{two}, [2]string{"was not found", "ttyUSB1"}},
		"equal adapters are told apart by their sockets": {
			Rule{USBSocket: "1-2"}, Rule{USBSocket: "1-3"}, []plugtest.Adapter{
				{Node: "ttyUSB0", Socket: "1-3:1.0", Maker: twin}, {Node: "ttyUSB1", Socket: "1-2:1.0", Maker: twin}}, [2]string{"ttyUSB1", "ttyUSB0"}},
		"the ports of one adapter are told apart by their interfaces": {
			Rule{USBSerial: "A100", USBSocket: "1-2:1.0"}, Rule{USBSerial: "A100", USBSocket: "1-2:1.1"}, []plugtest.Adapter{
				{Node: "ttyUSB0", Socket: "1-2:1.1", Serial: "A100"}, {Node: "ttyUSB1", Socket: "1-2:1.0", Serial: "A100"}}, [2]string{"ttyUSB1", "ttyUSB0"}},
		"two plugs that fit alike are named": {
			Rule{USBSerial: "0001"}, Rule{USBSocket: "1-9"}, []plugtest.Adapter{
				{Node: "ttyUSB0", Socket: "1-2:1.0", Serial: "0001"}, {Node: "ttyUSB1", Socket: "1-3:1.0", Serial: "0001"}},
			[2]string{"could be at /ttyUSB0 or at /ttyUSB1, which are alike by the USB serial number 0001", "was not found"}},
		"a replaced adapter is found by its socket": {
			Rule{USBSerial: "A100", USBSocket: "1-2"}, Rule{USBSerial: "A101"}, []plugtest.Adapter{
				{Node: "ttyUSB0", Socket: "1-2:1.0", Serial: "A777"}, two}, [2]string{"ttyUSB0", "ttyUSB1"}},
	} {
		t.Run(rule, func(t *testing.T) {
			b := newBoard(t)
			for _, a := range tc.plugs {
				b.Plug(a)
			}
			places := []*Place{b.Place("TW-1", tc.first, form(t)), b.Place("TW-2", tc.second, form(t))}
			for i, want := range tc.want {
				p, err := places[i].Open(t.Context())
				if err != nil {
					said := strings.ReplaceAll(err.Error(), b.at("dev"), "")
					if !strings.Contains(said, want) {
						t.Errorf("wrench %d: got %s, want %s", i+1, said, want)
					}
					continue
				}
				defer p.Close()
				if got := places[i].Where(); !strings.HasSuffix(got, "/"+want) {
					t.Errorf("wrench %d: got it %s, want it at %s", i+1, got, want)
				}
			}
		})
	}
}

func TestPlace_SaysWhatIsThere(t *testing.T) {
	b := newBoard(t)
	b.Plug(plugtest.Adapter{Node: "ttyUSB0", Socket: "1-2:1.0", Serial: "A101", Maker: "Plain Works", Title: "Serial"})
	b.Builtin("ttyS0", "4") // nobody plugged it in
	other := b.Place("TW-2", Rule{USBSerial: "A101"}, form(t))
	place := b.Place("TW-1", Rule{USBSerial: "A100", USBSocket: "1-9", Node: "/dev/none"}, form(t))
	b.open(other)
	fails(t, place, fmt.Sprintf("wrench TW-1 was not found: looked for the USB serial number A100 or the USB socket 1-9 or the name /dev/none; "+
		"plugged in: %s (Plain Works Serial, USB serial number A101, USB socket 1-2:1.0, wrench TW-2). Plug it in, or", b.at("dev/ttyUSB0")))
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error)
	go func() { _, err := place.Open(ctx); ended <- err }()
	select {
	case err := <-ended:
		t.Errorf("got %v, want a wait: nothing has changed", err)
	case <-time.After(50 * time.Millisecond): // a wait that is too short passes, and never fails
	}
	cancel()
	if err := <-ended; !errors.Is(err, context.Canceled) {
		t.Errorf("got %v, want the wait to end with its context", err)
	}
}

// registers is a wrench that keeps its readings in registers, the question that it is asked and its answer.
func registers(t *testing.T) (p *profile.Profile, question, answer string) {
	t.Helper()
	p, err := profile.Builtin("registers-swapped-floats")
	if err != nil {
		t.Fatal(err)
	}
	crc, _ := checksum.Named("CRC-16/MODBUS")
	guarded := func(b []byte) string {
		sum := crc.Sum(b)
		return string(append(b, byte(sum), byte(sum>>8)))
	}
	r := p.Registers()
	const readHolding = 3 // Modbus Application Protocol V1.1b3, 6.3
	question = guarded([]byte{r.Unit, readHolding, byte(r.From >> 8), byte(r.From), byte(r.Count >> 8), byte(r.Count)})
	return p, question, guarded(append([]byte{r.Unit, readHolding, byte(2 * r.Count)}, make([]byte, 2*r.Count)...))
}

func TestPlace_Registers(t *testing.T) {
	p, question, answer := registers(t)
	b := newBoard(t)
	s := b.Plug(plugtest.Adapter{Node: "ttyUSB0", Socket: "1-2:1.0"})
	place := b.Place("TW-1", Rule{USBSocket: "1-2"}, p)
	found := b.opening(place)
	s.Expect(question)
	s.Send(answer)
	found()
	if got, want := place.Where(), "by the USB socket 1-2, at "+s.Path; got != want {
		t.Errorf("got it %s, want %s", got, want)
	}
}

// A wrench whose registers nobody answers for does not keep the port from another one that speaks there.
func TestSpeaks_RegistersTakeTurns(t *testing.T) {
	p, question, _ := registers(t)
	b := newBoard(t)
	fails(t, b.Place("TW-1", Rule{Speaks: "S1"}, p), "nothing is plugged in") // it has the first turn
	found := b.opening(b.Place("TW-2", Rule{Speaks: "S2"}, form(t)))
	s := b.Plug(plugtest.Adapter{Node: "ttyUSB0", Socket: "1-2:1.0"})
	s.Expect(question)
	b.listens(s)
	s.Send("\r\n" + line(1, "S2"))
	expect(t, tail(t, found(), line(1, "S2")), line(1, "S2"))
}
