package modbus

import (
	"encoding/binary"
	"fmt"
	"sync"
	"sync/atomic"
	"time"

	"github.com/simonvetter/modbus"
	"witnessmark/device/port"
	"witnessmark/device/profile"
)

// Port is a wrench that is polled. It keeps what a port.Port promises.
type Port struct {
	name      string
	registers profile.Registers
	wire      *wire
	tell      func() // nil: nobody wants to know

	misfit atomic.Bool // the profile was found not to fit

	reading sync.Mutex // held through Read; guards what follows
	polled  time.Time  // when the last poll began
	last    []byte     // the block with the last counter that is known; nil: none is
	rest    []byte     // of a block that was given in part

	closed chan struct{}
	once   sync.Once
	result error // of Close
}

func newPort(inner port.Port, name string, r profile.Registers, l line) *Port {
	return &Port{name: name, registers: r, wire: newWire(inner, l, r.Unit), closed: make(chan struct{})}
}

// Answered has tell called whenever the wrench answered a question, with a new reading or without one: it is there.
// It is to be called before Read and Write are, and tell must return at once.
func (p *Port) Answered(tell func()) { p.tell = tell }

// Read polls until there is a new reading and gives its block; one call gives all of it if b has room. Where the
// wrench does not answer any more the error wraps port.ErrUnplugged.
func (p *Port) Read(b []byte) (int, error) {
	p.reading.Lock()
	defer p.reading.Unlock()
	for len(p.rest) == 0 && len(b) > 0 {
		if !pause(p.closed, p.registers.Every-time.Since(p.polled)) {
			return 0, p.shut()
		}
		p.polled = time.Now()
		fresh, err := p.poll()
		if err != nil {
			return 0, err
		}
		p.rest = fresh
	}
	n := copy(b, p.rest)
	p.rest = p.rest[n:]
	return n, nil
}

func (p *Port) shut() error { return fmt.Errorf("read %s: %w", p.name, port.ErrClosed) }

// Write sets registers, one after the other: two bytes of the register's number and two of its value for each, the
// high one first. The last of them may be waited for as long as one question takes.
func (p *Port) Write(b []byte) (int, error) {
	if len(b)%4 != 0 {
		return 0, fmt.Errorf("write %s: found %d bytes, expected four for each register", p.name, len(b))
	}
	until := time.Now().Add(port.WriteWithin)
	for n := 0; n < len(b); n += 4 {
		register, value := binary.BigEndian.Uint16(b[n:]), binary.BigEndian.Uint16(b[n+2:])
		err := p.ask(until, func(c *modbus.ModbusClient) error { return c.WriteRegister(register, value) })
		if err != nil {
			return n, p.because(err, fmt.Sprintf("does not let %d be written to register %d: correct accepted, pass or fail", value, register))
		}
	}
	return len(b), nil
}

// Close ends a Read and a Write under way.
func (p *Port) Close() error {
	p.once.Do(func() {
		close(p.closed)
		p.result = p.wire.close()
	})
	return p.result
}

// A question that brought no answer, or one that cannot be understood, is put again after a breath.
const (
	tries  = 3
	breath = 100 * time.Millisecond
)

// ask puts a question, again where that may help: as often as tries, or until then if that is not the zero time. The
// error is for because.
func (p *Port) ask(until time.Time, question func(*modbus.ModbusClient) error) error {
	for try := 1; ; try++ {
		err := p.wire.ask(question)
		if err == nil {
			if p.tell != nil {
				p.tell()
			}
			return nil
		}
		late := !until.IsZero() && time.Until(until) < p.wire.line.answer
		if try == tries || late || illegal(err) || p.wire.gone() != nil || !p.breathe() {
			return err
		}
	}
}

// breathe lets a late answer pass by, and says whether the port is still open.
func (p *Port) breathe() bool {
	for range tries {
		if !pause(p.closed, breath) {
			return false
		}
		if p.wire.silent() >= breath {
			break
		}
	}
	return true
}
