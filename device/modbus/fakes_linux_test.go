package modbus

import (
	"encoding/binary"
	"fmt"
	"io"
	"log"
	"net"
	"os"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/simonvetter/modbus"
	"go.uber.org/goleak"
	"witnessmark/device/port"
	"witnessmark/device/port/plugtest"
	"witnessmark/device/profile"
)

func TestMain(m *testing.M) {
	if addr := os.Getenv(stranger); addr != "" {
		call(addr)
		return
	}
	goleak.VerifyTestMain(m)
}

// unit is a wrench with registers, whatever asks for them.
type unit struct {
	id uint8

	mu      sync.Mutex
	holding []uint16
	input   []uint16
	reads   int
	written []string     // register=value
	before  func(no int) // called before the read of this number, from 1, with mu held; nil: nothing
	deny    error        // answers every question so; nil: as it should
	fresh   chan struct{}
}

// newUnit has 300 registers of each kind, all zero.
func newUnit() *unit {
	return &unit{id: 1, holding: make([]uint16, 300), input: make([]uint16, 300), fresh: make(chan struct{}, 1)}
}

// set writes registers from the first on, as the wrench itself does: all at once.
func (u *unit) set(first int, values ...uint16) {
	u.mu.Lock()
	defer u.mu.Unlock()
	copy(u.holding[first:], values)
}

// polls waits until the registers were read so many times more.
func (u *unit) polls(more int) {
	u.mu.Lock()
	until := u.reads + more
	u.mu.Unlock()
	u.await(func() bool { return u.reads >= until })
}

// tells waits until so many registers were written.
func (u *unit) tells(all int) { u.await(func() bool { return len(u.written) >= all }) }

// await waits until is, which is called with mu held.
func (u *unit) await(is func() bool) {
	u.mu.Lock()
	defer u.mu.Unlock()
	for !is() {
		u.mu.Unlock()
		<-u.fresh
		u.mu.Lock()
	}
}

func (u *unit) wake() {
	select {
	case u.fresh <- struct{}{}:
	default:
	}
}

func (u *unit) log() []string {
	u.mu.Lock()
	defer u.mu.Unlock()
	return slices.Clone(u.written)
}

func (u *unit) read(table []uint16, from, count uint16) ([]uint16, error) {
	u.mu.Lock()
	defer u.mu.Unlock()
	u.reads++
	u.wake()
	if u.before != nil {
		u.before(u.reads)
	}
	if u.deny != nil {
		return nil, u.deny
	}
	if int(from)+int(count) > len(table) {
		return nil, modbus.ErrIllegalDataAddress
	}
	return slices.Clone(table[from : from+count]), nil
}

func (u *unit) write(register, value uint16) error {
	u.mu.Lock()
	defer u.mu.Unlock()
	if int(register) >= len(u.holding) {
		return modbus.ErrIllegalDataAddress
	}
	u.holding[register] = value
	u.wake()
	u.written = append(u.written, fmt.Sprintf("%d=%d", register, value))
	return nil
}

// What follows makes it a handler of the library's server.

func (u *unit) HandleCoils(*modbus.CoilsRequest) ([]bool, error) {
	return nil, modbus.ErrIllegalFunction
}

func (u *unit) HandleDiscreteInputs(*modbus.DiscreteInputsRequest) ([]bool, error) {
	return nil, modbus.ErrIllegalFunction
}

func (u *unit) HandleHoldingRegisters(r *modbus.HoldingRegistersRequest) ([]uint16, error) {
	if r.UnitId != u.id {
		return nil, modbus.ErrGWTargetFailedToRespond
	}
	if r.IsWrite {
		return nil, u.write(r.Addr, r.Args[0])
	}
	return u.read(u.holding, r.Addr, r.Quantity)
}

func (u *unit) HandleInputRegisters(r *modbus.InputRegistersRequest) ([]uint16, error) {
	return u.read(u.input, r.Addr, r.Quantity)
}

// serveTCP is the unit behind the library's own server; it gives host:port.
func (u *unit) serveTCP(t testing.TB) string {
	t.Helper()
	for {
		addr := freeAddr(t)
		s, err := modbus.NewServer(&modbus.ServerConfiguration{URL: "tcp://" + addr, Logger: log.New(io.Discard, "", 0)}, u)
		if err != nil {
			t.Fatal(err)
		}
		if s.Start() == nil { // else another program was quicker
			t.Cleanup(func() { s.Stop() })
			return addr
		}
	}
}

func freeAddr(t testing.TB) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().String()
}

// crc is the check of RTU bit by bit, as "MODBUS over Serial Line Specification and Implementation Guide V1.02",
// 6.2.2, tells to compute it: CRC-16/MODBUS in the catalogue.
func crc(b []byte) []byte {
	sum := uint16(0xFFFF)
	for _, c := range b {
		sum ^= uint16(c)
		for range 8 {
			low := sum & 1
			if sum >>= 1; low != 0 {
				sum ^= 0xA001
			}
		}
	}
	return []byte{byte(sum), byte(sum >> 8)} // low byte first on the wire
}

// serveRTU answers on a line until it ends. Every question that we put has eight bytes:
//
//	unit function register register value value crc crc
//
// spoil may change an answer; nil: answers go out as they are.
func (u *unit) serveRTU(line io.ReadWriter, spoil func(answer []byte) []byte) {
	question := make([]byte, 8)
	for {
		if _, err := io.ReadFull(line, question); err != nil {
			return
		}
		if question[0] != u.id || !slices.Equal(crc(question[:6]), question[6:]) {
			continue // another unit is meant, or the line is disturbed: nobody answers
		}
		answer := append([]byte{u.id}, u.answer(question[1], question[2:6])...)
		answer = append(answer, crc(answer)...)
		if spoil != nil {
			answer = spoil(answer)
		}
		if _, err := line.Write(answer); err != nil {
			return
		}
	}
}

// answer gives the answer to a question, both from the function code on (MODBUS Application Protocol V1.1b3, 6.3, 6.4
// and 6.6).
func (u *unit) answer(function byte, body []byte) []byte {
	first, second := binary.BigEndian.Uint16(body), binary.BigEndian.Uint16(body[2:])
	table := u.holding
	if function == 4 {
		table = u.input
	}
	if function == 6 {
		if err := u.write(first, second); err != nil {
			return []byte{function | 0x80, codes[err]}
		}
		return append([]byte{function}, body...)
	}
	values, err := u.read(table, first, second)
	if err != nil {
		return []byte{function | 0x80, codes[err]}
	}
	answer := []byte{function, byte(2 * len(values))}
	for _, v := range values {
		answer = binary.BigEndian.AppendUint16(answer, v)
	}
	return answer
}

// codes are those of MODBUS Application Protocol V1.1b3, 7.
var codes = map[error]byte{
	modbus.ErrIllegalFunction: 1, modbus.ErrIllegalDataAddress: 2, modbus.ErrIllegalDataValue: 3,
	modbus.ErrServerDeviceFailure: 4, modbus.ErrAcknowledge: 5, modbus.ErrServerDeviceBusy: 6,
	modbus.ErrMemoryParityError: 8, modbus.ErrGWPathUnavailable: 10, modbus.ErrGWTargetFailedToRespond: 11,
}

// plug is the unit in a socket for serial ports; it is unplugged with the socket.
func (u *unit) plug(s *plugtest.Socket, spoil func([]byte) []byte) {
	s.Plug()
	go u.serveRTU(s.Wire(), spoil)
}

// answerTCP listens, lets answer have every connection, and closes it; it gives host:port.
func answerTCP(t testing.TB, answer func(net.Conn)) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	var all sync.WaitGroup
	all.Go(func() {
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			all.Go(func() {
				defer conn.Close()
				answer(conn)
			})
		}
	})
	t.Cleanup(func() { l.Close(); all.Wait() })
	return l.Addr().String()
}

// silence reads whatever comes and says nothing.
func silence(conn net.Conn) { io.Copy(io.Discard, conn) }

// ways runs a test over each way to a unit.
func ways(t *testing.T, test func(t *testing.T, u *unit, spec string)) {
	t.Run("Modbus TCP", func(t *testing.T) {
		u := newUnit()
		test(t, u, "tcp://"+u.serveTCP(t))
	})
	t.Run("RTU on a serial port", func(t *testing.T) {
		u, s := newUnit(), plugtest.New(t)
		u.plug(s, nil)
		test(t, u, s.Path)
	})
	t.Run("RTU through a serial server", func(t *testing.T) {
		u := newUnit()
		test(t, u, "rtu+tcp://"+answerTCP(t, func(c net.Conn) { u.serveRTU(c, nil) }))
	})
}

var fast = port.Mode{Baud: 115200, DataBits: 8, Parity: "even", StopBits: "1"}

// three is registers 100 to 102, the first of them the counter.
func three() profile.Registers {
	r := profile.Registers{Unit: 1, From: 100, Count: 3, Every: time.Millisecond}
	r.Changes.Size = 2
	return r
}

// mustAt is a place that waits for an answer for so long that a test only passes where something else ends the wait, and
// that a computer with much to do breaks no test.
func mustAt(t testing.TB, spec string, r profile.Registers) port.Place {
	t.Helper()
	p, err := at(spec, fast, r)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { p.Close() })
	p.(*place).line.answer = time.Hour
	return p
}

// hasty waits for an answer no longer than in earnest.
func hasty(p port.Place) port.Place {
	p.(*place).line.answer = thinking
	return p
}

func mustOpen(t testing.TB, place port.Place) port.Port {
	t.Helper()
	p, err := place.Open(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { p.Close() })
	return p
}

// expect reads a block.
func expect(t testing.TB, p port.Port, want ...uint16) {
	t.Helper()
	b := make([]byte, 4096)
	n, err := p.Read(b)
	if err != nil {
		t.Fatalf("got %v, want registers %04X", err, want)
	}
	var got []uint16
	for i := 0; i+1 < n; i += 2 {
		got = append(got, binary.BigEndian.Uint16(b[i:]))
	}
	if n != 2*len(want) || !slices.Equal(got, want) {
		t.Fatalf("got %d bytes, registers %04X, want %04X", n, got, want)
	}
}
