package sim

import (
	"context"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"log"
	"net"
	"slices"
	"sync"

	"github.com/simonvetter/modbus"

	"witnessmark/device"
	"witnessmark/device/profile"
)

// Slave is a wrench whose registers are polled over Modbus TCP at host:port, and its form there. A reading stands in
// the registers until the next one; the frame comes there as a whole, so that no fault but a flipped bit shows.
func Slave(addr string, p *profile.Profile) (Line, Form, error) {
	if _, port, err := net.SplitHostPort(addr); err != nil || port == "0" {
		return nil, nil, fmt.Errorf("serve Modbus at %s: write host:port, with a port above 0", addr)
	}
	return slave{addr, *p.Registers()}, registers{p}, nil
}

// registers is the form of a slave. What is written to a register is heard as a line: its number and value in hex.
type registers struct{ *profile.Profile }

func (r registers) Ack(reading device.Reading) []byte {
	return hex.AppendEncode(nil, r.Profile.Ack(reading))
}

type slave struct {
	addr string
	r    profile.Registers
}

// Open serves from now on, with all registers zero.
func (s slave) Open(context.Context) (io.ReadWriteCloser, error) {
	b := &bank{r: s.r, values: make([]uint16, s.r.Count)}
	b.said, b.heard = io.Pipe()
	var err error
	b.server, err = modbus.NewServer(&modbus.ServerConfiguration{URL: "tcp://" + s.addr, Logger: log.New(io.Discard, "", 0)}, b)
	if err == nil {
		err = b.server.Start()
	}
	if err != nil {
		return nil, fmt.Errorf("serve Modbus at %s: %w", s.addr, err)
	}
	return b, nil
}

// atOnce: registers are there before anybody asks for them.
func (slave) atOnce() {}

// Addr is the address served at.
func (s slave) Addr() string { return s.addr }

// Close has nothing to give up: the server went with the connection.
func (slave) Close() error { return nil }

// bank is the registers of a slave between plug and unplug.
type bank struct {
	r      profile.Registers
	server *modbus.ModbusServer
	said   *io.PipeReader // what was written to registers, as lines
	heard  *io.PipeWriter

	mu     sync.Mutex // guards values
	values []uint16
}

func (b *bank) Read(p []byte) (int, error) { return b.said.Read(p) }

// Write puts a frame into the registers. Bytes that are none change nothing.
func (b *bank) Write(frame []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for i := range b.values {
		if len(frame) == 2*len(b.values) {
			b.values[i] = binary.BigEndian.Uint16(frame[2*i:])
		}
	}
	return len(frame), nil
}

func (b *bank) Close() error { return errors.Join(b.heard.Close(), b.said.Close(), b.server.Stop()) }

// HandleHoldingRegisters answers functions 3, 6 and 16.
func (b *bank) HandleHoldingRegisters(q *modbus.HoldingRegistersRequest) ([]uint16, error) {
	if q.IsWrite {
		return nil, b.take(q)
	}
	return b.give(!b.r.Input, q.UnitId, q.Addr, q.Quantity)
}

// HandleInputRegisters answers function 4.
func (b *bank) HandleInputRegisters(q *modbus.InputRegistersRequest) ([]uint16, error) {
	return b.give(b.r.Input, q.UnitId, q.Addr, q.Quantity)
}

// HandleCoils refuses: a wrench has none.
func (*bank) HandleCoils(*modbus.CoilsRequest) ([]bool, error) {
	return nil, modbus.ErrIllegalFunction
}

// HandleDiscreteInputs refuses as well.
func (*bank) HandleDiscreteInputs(*modbus.DiscreteInputsRequest) ([]bool, error) {
	return nil, modbus.ErrIllegalFunction
}

func (b *bank) give(here bool, unit uint8, from, count uint16) ([]uint16, error) {
	switch first := int(from) - int(b.r.From); {
	case unit != b.r.Unit:
		return nil, modbus.ErrGWTargetFailedToRespond
	case !here || first < 0 || first+int(count) > len(b.values):
		return nil, modbus.ErrIllegalDataAddress
	default:
		b.mu.Lock()
		defer b.mu.Unlock()
		return slices.Clone(b.values[first : first+int(count)]), nil
	}
}

// take hears what is written to one of the registers for answers.
func (b *bank) take(q *modbus.HoldingRegistersRequest) error {
	known := func(w *profile.RegisterWrite) bool { return w != nil && w.Register == q.Addr }
	if q.UnitId != b.r.Unit {
		return modbus.ErrGWTargetFailedToRespond
	}
	if len(q.Args) != 1 || !slices.ContainsFunc([]*profile.RegisterWrite{b.r.Accepted, b.r.Pass, b.r.Fail}, known) {
		return modbus.ErrIllegalDataAddress
	}
	_, err := fmt.Fprintf(b.heard, "%04x%04x\n", q.Addr, q.Args[0])
	return err
}
