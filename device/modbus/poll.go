package modbus

import (
	"bytes"
	"errors"
	"slices"
	"time"

	"github.com/simonvetter/modbus"
)

// A block is taken when two reads in a row agree. The wrench may be writing its registers while it is read, in any
// order and a register at a time: the counter first, so that to read it once more after the block would prove nothing.
// A block that was read half written differs from the next read, because a wrench needs far less than apart to write
// its registers. Where a register beside the reading never stands still, such as a running clock, two reads never
// agree; then it is enough that the counter stood through steady reads. A counter that never does that is none.
const (
	apart    = 20 * time.Millisecond
	steady   = 5
	patience = 4 * steady
)

// read asks for the block once.
func (p *Port) read() ([]byte, error) {
	table := modbus.HOLDING_REGISTER
	if p.registers.Input {
		table = modbus.INPUT_REGISTER
	}
	var got []byte
	err := p.ask(time.Time{}, func(c *modbus.ModbusClient) (err error) {
		got, err = c.ReadRawBytes(p.registers.From, 2*p.registers.Count, table)
		return err
	})
	if err != nil {
		return nil, p.because(err, p.absent(err))
	}
	return got, nil
}

// poll gives the block if it holds a new reading.
func (p *Port) poll() ([]byte, error) {
	b, err := p.read()
	if err != nil || p.known(b) {
		return nil, err
	}
	if b, err = p.settle(b); err != nil || p.known(b) {
		return nil, err
	}
	nothing := p.nothing(b)
	p.last = b
	if nothing {
		return nil, nil
	}
	return b, nil
}

// known says whether the counter is that of the last block.
func (p *Port) known(b []byte) bool {
	return p.last != nil && bytes.Equal(p.counter(b), p.counter(p.last))
}

// nothing says whether the block holds no reading at all: the counter is zero, and it was met so, or there is nothing
// else either, or all that changed is the counter, which a person has set back.
func (p *Port) nothing(b []byte) bool {
	if !zero(p.counter(b)) {
		return false
	}
	if p.last == nil || zero(b) {
		return true
	}
	back := bytes.Clone(p.last)
	clear(p.counter(back))
	return bytes.Equal(back, b)
}

// settle reads the block again until it is certain that it was not read half written.
func (p *Port) settle(b []byte) ([]byte, error) {
	stood := 0
	for range patience {
		if !pause(p.closed, min(apart, p.registers.Every)) {
			return nil, p.shut()
		}
		again, err := p.read()
		if err != nil || bytes.Equal(again, b) {
			return again, err
		}
		if stood++; !bytes.Equal(p.counter(again), p.counter(b)) {
			stood = 0
		}
		if b = again; stood == steady {
			return b, nil
		}
	}
	return nil, p.because(errRestless, "")
}

var errRestless = errors.New("the counter does not stand still")

func (p *Port) counter(b []byte) []byte {
	return b[p.registers.Changes.Offset:][:p.registers.Changes.Size]
}

func zero(b []byte) bool { return !slices.ContainsFunc(b, func(c byte) bool { return c != 0 }) }
