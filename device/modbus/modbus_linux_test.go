package modbus

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"witnessmark/device/port"
	"witnessmark/device/port/plugtest"
	"witnessmark/device/profile"
)

// form is a profile that reads registers.
func form(t *testing.T, serial string, unit int) *profile.Profile {
	t.Helper()
	p, err := profile.Parse("form.yaml", []byte(`format: witnessmark/wrench/1
name: registers
version: "1"
`+serial+`
registers: {unit: `+fmt.Sprint(unit)+`, table: holding, from: 100, count: 3, every: 20 ms, changes: count, accepted: {register: 200, value: counter}}
fields:
  binary: true
  list:
    - {name: count, kind: counter, at: 0, as: u16}
    - {name: final torque, kind: torque, at: 2, as: i16, scale: 0.1, unit: N·m}
    - {name: final angle, kind: angle, at: 4, as: i16, unit: deg}
`))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func TestAt(t *testing.T) {
	const (
		device, network = "/dev/ttyUSB0", "tcp://127.0.0.1:502"
		common          = "serial: {baud: 9600, bits: 8, parity: even, stop: 1}"
	)
	for _, c := range []struct {
		rule   string
		spec   string
		serial string
		unit   int
		says   string // empty: it is taken
	}{
		{"a path", device, common, 1, ""},
		{"Modbus TCP", network, "", 1, ""},
		{"a serial server", "rtu+" + network, common, 247, ""},
		{"a serial server whose line the profile does not know", "rtu+" + network, "", 1, ""},
		{"a capture of blocks", "capture:///srv/one.capture", "", 1, ""},
		{"a unit of a gateway", network, "", 255, ""},
		{"unit 0 over TCP", network, "", 0, ""},
		{"a broadcast on a line", device, common, 0, "found unit 0, write 1 to 247 on a serial line"},
		{"a unit beyond a line", "rtu+" + network, common, 255, "found unit 255, write 1 to 247"},
		{"a path that the profile cannot set", device, "", 1, "write serial there"},
		{"7 bits", device, "serial: {baud: 9600, bits: 7, parity: even, stop: 1}", 1, "found 7 data bits, Modbus RTU needs 8"},
		{"a slow line", device, "serial: {baud: 300, bits: 8, parity: even, stop: 1}", 1, "found 300 baud, Modbus RTU needs 1200"},
		{"a slow line behind a server", "rtu+" + network, "serial: {baud: 300, bits: 8, parity: even, stop: 1}", 1, "found 300 baud"},
		{"a relative path", "ttyUSB0", common, 1, "write an absolute path"},
		{"a wrench that calls", "tcp-listen://:502", "", 1, "because the profile reads registers"},
		{"a serial server that calls", "rtu+tcp-listen://:502", "", 1, "because the profile reads registers"},
		{"a serial port through a serial server", "rtu+/dev/ttyUSB0", common, 1, "because the profile reads registers"},
		{"no host", "tcp://:502", "", 1, "write the host to dial"},
	} {
		t.Run(c.rule, func(t *testing.T) {
			_, err := At(c.spec, form(t, c.serial, c.unit))
			if c.says == "" && err != nil {
				t.Errorf("got %v, want it taken", err)
			}
			if c.says != "" && (err == nil || !strings.Contains(err.Error(), c.says)) {
				t.Errorf("got %v, want an error that says %q", err, c.says)
			}
		})
	}
}

// The bytes of an RTU question and its answer. The frame is that of "MODBUS over Serial Line Specification and
// Implementation Guide V1.02", 2.5.1; question and answer from the function code to the last register are the example
// of "MODBUS Application Protocol Specification V1.1b3", 6.3, registers 108 to 110 (numbered from 107 on the wire) at
// unit 17. All from memory, as is the check of that question, 76 87.
func TestPort_PublishedExample(t *testing.T) {
	if got := crc([]byte("123456789")); got[0] != 0x37 || got[1] != 0x4B {
		t.Fatalf("got check bytes % X, want 37 4B: the check value of CRC-16/MODBUS in the catalogue is 4B37", got)
	}
	const question = "\x11\x03\x00\x6B\x00\x03\x76\x87"
	answer := "\x11\x03\x06\x02\x2B\x00\x00\x00\x64"
	answer += string(crc([]byte(answer)))
	s := plugtest.New(t)
	s.Plug()
	r := profile.Registers{Unit: 17, From: 107, Count: 3, Every: time.Millisecond}
	r.Changes.Size = 2
	type opened struct {
		p   port.Port
		err error
	}
	place := mustAt(t, s.Path, r)
	done := make(chan opened)
	go func() {
		p, err := place.Open(t.Context())
		done <- opened{p, err}
	}()
	s.Expect(question)
	s.Send(answer)
	o := <-done
	if o.err != nil {
		t.Fatal(o.err)
	}
	defer o.p.Close()
	told := make(chan struct{})
	go func() {
		defer close(told)
		expect(t, o.p, 0x022B, 0x0000, 0x0064)
	}()
	for range 2 { // the poll, and once more for a block that was half written
		s.Expect(question)
		s.Send(answer)
	}
	<-told
}

func TestPlace_OpenEndsWithContext(t *testing.T) {
	for _, scheme := range []string{"tcp://", "rtu+tcp://"} {
		asked := make(chan struct{}, 1)
		place := mustAt(t, scheme+answerTCP(t, func(c net.Conn) {
			c.Read(make([]byte, 64))
			asked <- struct{}{}
			silence(c)
		}), three())
		ctx, cancel := context.WithCancel(t.Context())
		go func() { <-asked; cancel() }()
		if p, err := place.Open(ctx); p != nil || !errors.Is(err, context.Canceled) {
			t.Errorf("%s: got %v, %v, want %v", scheme, p, err, context.Canceled)
		}
	}
}

// empty is a place with nothing in it.
type empty struct{}

var errEmpty = errors.New("nothing is plugged in")

func (empty) Open(context.Context) (port.Port, error) { return nil, errEmpty }
func (empty) Close() error                            { return nil }

func TestPlace_PausesForAmends(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := &place{last: &Port{}}
		p.inner = empty{}
		for _, c := range []struct {
			misfit bool
			want   time.Duration
		}{{false, 0}, {true, amends}} {
			p.last = &Port{}
			p.last.misfit.Store(c.misfit)
			began := time.Now()
			for range 2 { // once is enough
				if _, err := p.Open(t.Context()); err != errEmpty {
					t.Errorf("got %v, want %v", err, errEmpty)
				}
			}
			if took := time.Since(began); took != c.want {
				t.Errorf("misfit %v: got a pause of %s, want %s", c.misfit, took, c.want)
			}
		}
	})
}

// found is a place that knows which rule found the port.
type found struct{ port.Place }

func (found) Where() string { return "the USB serial number" }

func TestOver_Where(t *testing.T) {
	inner, err := port.At("/dev/null", fast)
	if err != nil {
		t.Fatal(err)
	}
	where := func(p port.Place) string { return p.(interface{ Where() string }).Where() }
	p := form(t, "", 1)
	if got := where(over(found{inner}, "/dev/null", port.Mode(p.Mode()), *p.Registers())); got != "the USB serial number" {
		t.Errorf("got %q, want what the place below says", got)
	}
	if got := where(over(inner, "/dev/null", port.Mode(p.Mode()), *p.Registers())); got != "" {
		t.Errorf("got %q, want nothing of a place that says nothing", got)
	}
}

// stranger makes this test binary another program that calls the address and waits until it is sent away.
const stranger = "WITNESSMARK_TEST_CALL"

// call is what that program does.
func call(addr string) {
	conn, err := net.Dial("tcp", addr)
	if err != nil {
		fmt.Println(err)
		return
	}
	defer conn.Close()
	fmt.Println("called")
	silence(conn)
}

func TestAccept_OursAlone(t *testing.T) {
	listener, err := net.ListenTCP("tcp4", &net.TCPAddr{IP: net.IPv4(127, 0, 0, 1)})
	if err != nil {
		t.Fatal(err)
	}
	defer listener.Close()
	c := exec.Command(os.Args[0])
	c.Env = append(os.Environ(), stranger+"="+listener.Addr().String())
	out, err := c.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	if said, err := bufio.NewReader(out).ReadString('\n'); said != "called\n" { // before us
		t.Fatalf("the other program: got %q, %v, want it to have called", said, err)
	}
	ours, err := net.Dial("tcp4", listener.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	defer ours.Close()
	near, err := accept(listener)
	if err != nil {
		t.Fatal(err)
	}
	defer near.Close()
	if got, want := near.RemoteAddr().String(), ours.LocalAddr().String(); got != want {
		t.Errorf("got the connection of %s, want ours, %s", got, want)
	}
	if err := c.Wait(); err != nil {
		t.Errorf("the other program: got %v, want it sent away", err)
	}
}
